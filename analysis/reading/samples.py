"""Columns with their roles -> the arrays of a firing: zones in the register's order, set points and outputs matched."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray, OutputKind
from analysis.reading.names import plain, unit_of
from analysis.reading.roles import Column
from analysis.reading.units import to_celsius
from config.kiln import TemperatureUnit

_PERCENT_TOP = 106.0


@dataclass(slots=True)
class Samples:
    """Arrays of all rows of a file (see ``FiringLog`` for shapes and units), rows in the file's order.

    ``output_scale`` is how the output is written: in ``%``, ``0..1``, or not at all.
    """

    zone_c: FloatArray
    zone_names: tuple[str, ...]
    zone_columns: tuple[Column, ...]
    set_point_c: FloatArray | None = None
    output: FloatArray | None = None
    output_kind: OutputKind | None = None
    output_scale: str = ""
    volts: FloatArray | None = None
    amps: FloatArray | None = None
    room_c: FloatArray | None = None
    segment: FloatArray | None = None
    problems: list[str] = field(default_factory=list)


def zone_order(columns: Sequence[Column], zones: Sequence[str]) -> list[Column]:
    """Return the zone columns in the register's order where names or numbers tell it, else in the file's."""
    found = [column for column in columns if column.role == "zone"]
    bare = [plain(zone) for zone in zones]

    def rank(column: Column) -> float | None:
        for said in (column.place, column.name):
            if said and plain(said).strip() in bare:
                return bare.index(plain(said).strip())
        if column.place and column.place in bare:
            return bare.index(column.place)
        return None if column.number is None else column.number - 1

    ranks = [rank(column) for column in found]
    if all(r is not None for r in ranks) and len(set(ranks)) == len(found):
        return [column for _, column in sorted(zip(ranks, found, strict=True), key=lambda pair: pair[0] or 0.0)]
    return found


def gather(
    columns: Sequence[Column], zones: Sequence[str], unit: TemperatureUnit, keep: NDArray[np.intp] | None
) -> Samples:
    """Build the arrays from the columns; ``keep`` are the rows wanted, in order (None for all)."""
    order = zone_order(columns, zones)
    count = len(order)
    names = _zone_names(order, zones)
    zone_c = np.empty((count, _rows(order[0], keep))).T  # each zone's samples lie together: quicker by zone
    for z, column in enumerate(order):
        zone_c[:, z] = to_celsius(_kept(column, keep), _unit(column, unit))
    samples = Samples(zone_c, names, tuple(order))
    by_role: dict[str, list[Column]] = {}
    for column in columns:
        if column.values is not None:
            by_role.setdefault(column.role, []).append(column)
    # headers with nothing below them are as good as not there
    by_role = {role: found for role, found in by_role.items() if any(_holds_a_number(c) for c in found)}
    points = [(c, to_celsius(_kept(c, keep), _unit(c, unit))) for c in by_role.get("set point", [])]
    samples.set_point_c = _per_zone(points, order, "set point", samples)
    samples.output = _outputs(by_role.get("output", []), order, keep, samples)
    for role in ("volts", "segment"):
        if found := by_role.get(role):
            setattr(samples, role, _kept(found[0], keep))
    if amps := by_role.get("amps"):
        samples.amps = np.stack([_kept(c, keep) for c in amps], axis=1)
    if room := by_role.get("room"):
        samples.room_c = to_celsius(_kept(room[0], keep), _unit(room[0], unit))
    return samples


def _holds_a_number(column: Column) -> bool:
    return column.values is not None and not np.isnan(np.fmax.reduce(column.values))


def _zone_names(order: Sequence[Column], zones: Sequence[str]) -> tuple[str, ...]:
    if len(zones) == len(order):
        return tuple(zones)
    places = [column.place for column in order]
    if all(places) and len(set(places)) == len(order):
        return tuple(str(place) for place in places)
    return tuple(str(z + 1) for z in range(len(order)))


def _rows(column: Column, keep: NDArray[np.intp] | None) -> int:
    assert column.values is not None
    return column.values.size if keep is None else keep.size


def _kept(column: Column, keep: NDArray[np.intp] | None) -> FloatArray:
    assert column.values is not None
    return column.values if keep is None else column.values[keep]


def _unit(column: Column, unit: TemperatureUnit) -> str:
    return column.unit if column.unit in {"C", "F", "K"} else unit


def _outputs(
    found: Sequence[Column], order: Sequence[Column], keep: NDArray[np.intp] | None, samples: Samples
) -> FloatArray | None:
    if not found:
        return None
    values = [_kept(column, keep) for column in found]
    low = float(np.fmin.reduce([np.fmin.reduce(v) for v in values]))  # a column may be empty: NaN must not win
    top = float(np.fmax.reduce([np.fmax.reduce(v) for v in values]))
    if top > _PERCENT_TOP or low < -5:
        good = [(v >= -5) & (v <= _PERCENT_TOP) for v in values]
        count = sum(int(np.count_nonzero(~g & np.isfinite(v))) for g, v in zip(good, values, strict=True))
        samples.problems.append(f"{count} output value{'s' if count > 1 else ''} beyond 100 % left out")
        values = [np.where(g, v, np.nan) for g, v in zip(good, values, strict=True)]
        top = float(np.fmax.reduce([np.fmax.reduce(v) for v in values]))
    top = 0.0 if np.isnan(top) else top
    percent = top > 1.005 or (
        top > 0 and all(_is_percent(c) for c in found) and all(_whole(v) for v in values) and not _switches(values, top)
    )
    if percent:
        values = [v / 100.0 for v in values]
        top /= 100.0
    if top > 1.0:
        values = [np.minimum(v, 1.0) for v in values]
    samples.output_scale = "%" if percent else "0..1"
    samples.output_kind = "on-off" if _switches(values, 1.0) else "duty"
    return _per_zone(list(zip(found, values, strict=True)), order, "output", samples)


def _is_percent(column: Column) -> bool:
    return column.unit == "%" or unit_of(column.name) == "%"


def _whole(values: FloatArray) -> bool:
    return bool((values == np.rint(values))[np.isfinite(values)].all())


def _switches(values: Sequence[FloatArray], top: float) -> bool:
    """Tell whether all values are 0 or full, changing often enough to be a relay's state."""
    for v in values:
        for some in (v[:: v.size // 200 + 1], v):  # a few rows mostly tell
            if not ((some == 0) | (some == top) | np.isnan(some)).all():
                return False
    changes = sum(int(np.count_nonzero(np.diff(v))) for v in values)
    return changes > 4


def _per_zone(
    found: Sequence[tuple[Column, FloatArray]], order: Sequence[Column], what: str, samples: Samples
) -> FloatArray | None:
    """Match columns to zones by number, place or order; a single one is repeated for each zone."""
    count = len(order)
    if not found:
        return None
    if len(found) == count == 1:
        return found[0][1][:, None]
    if len(found) == 1 and (found[0][0].number or 1) == 1:  # one numbered 2 or more is that zone's alone
        return np.broadcast_to(found[0][1][:, None], (found[0][1].size, count))
    out = np.full((count, found[0][1].size), np.nan).T
    keys = [(column.number, column.place) for column, _ in found]
    zone_keys = [(column.number, column.place) for column in order]
    if len(set(keys)) == len(keys) and set(keys) == set(zone_keys):
        for key, (_, values) in zip(keys, found, strict=True):
            out[:, zone_keys.index(key)] = values
        return out
    if len(found) == count:
        numbered = all(column.number is not None for column, _ in found)
        ordered = sorted(found, key=lambda pair: pair[0].number or 0) if numbered else found
        for z, (_, values) in enumerate(ordered):
            out[:, z] = values
        return out
    matched = 0
    for column, values in found:
        at = next((z for z, key in enumerate(zone_keys) if column.number is not None and key[0] == column.number), None)
        if at is None and column.number is not None and column.number <= count:
            at = column.number - 1
        if at is not None:
            out[:, at] = values
            matched += 1
    samples.problems.append(f"{len(found)} {what} columns for {count} zones: {matched} of them matched by number")
    return out if matched else None

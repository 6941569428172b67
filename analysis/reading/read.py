"""The way through reading: bytes -> table -> roles -> time -> units -> repairs -> firings, with the account."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from analysis.reading.account import Reading, RowCount
from analysis.reading.clock_repairs import Straight, straighten
from analysis.reading.columns import hottest_logged, programme_logged, recognise
from analysis.reading.day_order import settle_day_order
from analysis.reading.describe import account_of
from analysis.reading.encoding import PlainText, plain_text
from analysis.reading.events import elapsed_at_rows, spike_problems, table_problems, what_is_said
from analysis.reading.firing_log import FiringLog, FloatArray, UnreadableLog
from analysis.reading.json_lines import json_table, looks_like_json, uniform_json_table
from analysis.reading.pair_rows import pair_grammar, pair_table
from analysis.reading.parts import part_firings, stretch
from analysis.reading.roles import Column
from analysis.reading.samples import gather
from analysis.reading.shown import shown
from analysis.reading.started import began, programme
from analysis.reading.table import Table, delimited_table
from analysis.reading.thermocouples import clean_zones
from analysis.reading.time_base import TimeBase, TimeKind, time_base
from analysis.reading.units import TemperatureUnitFound, temperature_unit, to_celsius
from config.kiln import Kiln

SIZE_LIMIT_BYTES = 200_000_000
_LEAST_ROWS = 3
_OF_THE_KILN = frozenset({"zone", "set point", "average"})


def read_log(
    data: bytes,
    *,
    name: str,
    kiln: Kiln | None = None,
    modified: datetime | None = None,
    size_limit_bytes: int = SIZE_LIMIT_BYTES,
) -> Reading:
    """Read one log file.

    Parameters
    ----------
    data : the file's bytes.
    name : its name (without folders), which may hold a date or the programme's name.
    kiln : the register's entry; its zones, time zone and ``[kiln.log]`` hints are used. Every hint is checked.
    modified : the file's date (aware), used for the start where nothing in the log tells.
    size_limit_bytes : larger files are refused.

    Raises
    ------
    UnreadableLog : the only error; says what is wrong and what would help.
    """
    kiln = kiln or Kiln(id="")
    if len(data) > size_limit_bytes:
        raise UnreadableLog(
            f"the file has {len(data) / 1e6:.0f} MB, more than the limit of {size_limit_bytes / 1e6:.0f} MB.",
            remedy="Split it, or raise the limit.",
        )
    zone = _time_zone(kiln)
    plain = plain_text(data, kiln.log.encoding)
    table = _table(plain, kiln)
    columns, texts = recognise(table, kiln)
    hottest = hottest_logged(columns)
    settle_day_order(texts, table.preamble, name, modified, kiln.log.time_zone or kiln.time_zone, table.names)
    base = time_base(columns, texts, kiln.log, hottest)
    usable, unused = _usable_rows(columns, base, hottest)
    newest_first = _newest_first(base.seconds[usable] if usable.size < table.n else base.seconds, base.kind)
    if newest_first:
        usable = usable[::-1]
    seconds = base.seconds
    if usable.size < table.n or newest_first:
        seconds, hottest = seconds[usable], hottest[usable]
    unit = _unit(table, columns, kiln, hottest)
    straight = straighten(seconds, base.kind, zone, lambda: _numbers(columns, usable), hottest)
    keep = usable[straight.order]
    whole = keep.size == table.n and not straight.moved and not newest_first
    if kiln.log.temperature_unit is not None:  # the register's word is for all columns but the room's
        columns = [replace(c, unit=unit.unit) if c.role in _OF_THE_KILN and c.unit != unit.unit else c for c in columns]
    samples = gather(columns, kiln.zones, unit.unit, None if whole else keep)
    zone_c, spikes = clean_zones(straight.elapsed_s, samples.zone_c, samples.set_point_c)
    first_s = float(base.seconds[keep[0]])
    start = began(table.preamble, name, modified, base, straight, first_s, zone, kiln.log.day_order)
    at_row = elapsed_at_rows(table.n, keep, straight.elapsed_s)
    said = what_is_said(plain, table, columns, unused, at_row)
    problems = (
        *unit.problems,
        *plain.problems,
        *table_problems(table, at_row),
        *said.problems,
        *(("the rows run from the newest to the oldest: put in the order of time",) if newest_first else ()),
        *start.problems,
        *straight.problems,
        *samples.problems,
        *spike_problems(spikes, samples.zone_names),
    )
    logged = programme_logged(table, columns, int(keep[0]))
    ran = programme(table.preamble, name, (kiln.id.lower(), kiln.name.lower()), logged)
    log = FiringLog(
        elapsed_s=straight.elapsed_s,
        zone_c=zone_c,
        set_point_c=samples.set_point_c,
        output=samples.output,
        zone_names=samples.zone_names,
        output_kind=samples.output_kind,
        volts=samples.volts,
        amps=samples.amps,
        room_c=samples.room_c,
        segment=samples.segment,
        started=start.started,
        started_from=start.source,
        programme=None if ran is None else shown(ran, 60),
        events=said.events,
        spikes=spikes,
        complete_tail=table.cut is None,
        problems=problems,
    )
    unchanged = whole and not spikes and all(c.unit in {None, unit.unit} for c in columns if c.role == "zone")
    firings = _parted(log, straight, to_celsius(hottest, unit.unit) if unchanged else _hottest_c(zone_c))
    rows = RowCount(
        lines=table.lines,
        used=keep.size,
        repeated=straight.repeated,
        blank=said.blank,
        text=said.text,
        headers=table.head_lines + len(table.repeated_headers),
        cut=int(table.cut is not None),
        damaged=said.damaged + straight.left_out,
        empty=table.empty,
    )
    account = account_of(plain, table, columns, samples, base, unit, start, straight, rows, name, len(data))
    return Reading(firings, account, problems if len(firings) == 1 else firings[0].problems)


def _table(plain: PlainText, kiln: Kiln) -> Table:
    if looks_like_json(plain):
        return uniform_json_table(plain) or json_table(plain)
    pairs = pair_grammar(plain, kiln.log)
    if pairs is not None and pairs.nearly_all and (table := pair_table(plain, pairs, kiln.log)) is not None:
        return table
    try:
        return delimited_table(plain, kiln.log)
    except UnreadableLog:
        if pairs is None or (table := pair_table(plain, pairs, kiln.log)) is None:
            raise
        return table


def _usable_rows(
    columns: Sequence[Column], base: TimeBase, hottest: FloatArray
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the rows with a time and a reading, and the others."""
    if hottest.size >= _LEAST_ROWS and np.isfinite(hottest.min() + base.seconds.min()):  # NaN would show
        return np.arange(hottest.size), np.empty(0, np.intp)
    some = np.isfinite(hottest)
    if not some.all():
        for c in columns:
            if c.values is not None and c.role in {"set point", "output", "amps", "volts"}:
                some |= np.isfinite(c.values)
    good = some & np.isfinite(base.seconds)
    usable = np.flatnonzero(good)
    readings = int(np.count_nonzero(np.isfinite(hottest[usable])))
    if readings < _LEAST_ROWS:
        raise UnreadableLog(
            f"only {readings} rows hold both a time and a temperature.", remedy="Wait until more has been written."
        )
    return usable, np.flatnonzero(~good)


def _newest_first(seconds: FloatArray, kind: TimeKind) -> bool:
    """Tell whether the rows are written backwards."""
    if seconds[0] <= seconds[-1] and kind != "clock":
        return False
    step = np.diff(seconds)
    return int(np.count_nonzero(step < 0)) > 0.9 * step.size


def _numbers(columns: Sequence[Column], rows: NDArray[np.intp]) -> FloatArray:
    table = np.column_stack([c.values for c in columns if c.values is not None and c.role != "ignore"])
    return table if rows.size == table.shape[0] and rows[0] <= rows[-1] else table[rows]


def _time_zone(kiln: Kiln) -> ZoneInfo | None:
    name = kiln.log.time_zone or kiln.time_zone
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError) as error:
        where = "[kiln.log] time_zone" if kiln.log.time_zone else "time_zone"
        raise UnreadableLog(
            f"{where} = {name!r} is no time zone known here.", remedy='Use a name such as "Europe/Dublin".'
        ) from error


def _unit(table: Table, columns: Sequence[Column], kiln: Kiln, hottest: FloatArray) -> TemperatureUnitFound:
    return temperature_unit(
        [c.unit for c in columns if c.role in {"zone", "set point"}],
        "\n".join((*table.preamble, *table.names)),
        kiln.log.temperature_unit,
        hottest,
        next((c.values for c in columns if c.role == "room"), None),
        kiln.thermocouple,
    )


def _hottest_c(zone_c: FloatArray) -> FloatArray:
    hottest = zone_c[:, 0]
    for z in range(1, zone_c.shape[1]):
        hottest = np.fmax(hottest, zone_c[:, z])
    return hottest


def _parted(log: FiringLog, straight: Straight, hottest_c: FloatArray) -> tuple[FiringLog, ...]:
    places = part_firings(log.elapsed_s, hottest_c, straight.cuts)
    if not places:
        return (log,)
    edges = [0, *places, log.elapsed_s.size]
    note = f"the file holds {len(edges) - 1} firings, parted where the kiln was coldest between them"
    log = replace(log, problems=(*log.problems, note))
    return tuple(stretch(log, a, b) for a, b in pairwise(edges))

"""The time column -> seconds, and what they count from: elapsed, the wall clock of the kiln's zone, or UTC."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.reading.account import Unknown
from analysis.reading.firing_log import FloatArray, UnreadableLog
from analysis.reading.roles import Column
from analysis.reading.time_text import TWO_FIELDS, TimeText, civil
from config.kiln import LogHints

TimeKind = Literal["elapsed", "clock", "local", "utc"]
_UNIT_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 0.001}
_UNIT_WORD = {"s": "seconds", "min": "minutes", "h": "hours", "ms": "milliseconds"}
_SERIAL_EPOCH_DAYS = 25569.0  # 1970-01-01 as a spreadsheet serial (day 0 = 1899-12-30)
_DAY_S = 86400.0
_FASTEST_CLIMB = 2500.0  # deg C per hour: faster than any pottery kiln (small test kilns reach about 2000; from memory)
_LONGEST_FIRING_S = 14 * _DAY_S
_LONGEST_S = 10_000 * _DAY_S
_YEAR_2200_S = 7_258_118_400.0
_WRITTEN_FROM, _WRITTEN_TO = 1.97e13, 2.2e13


@dataclass(frozen=True, slots=True)
class TimeBase:
    """Seconds of every row, shape (n,), not yet repaired. ``kind`` ``clock`` is a time of day without a date."""

    seconds: FloatArray
    kind: TimeKind
    text: str
    why: str
    unknown: tuple[Unknown, ...] = ()
    date_s: float | None = None


def time_base(
    columns: Sequence[Column], texts: Mapping[int, TimeText], hints: LogHints, hottest: FloatArray
) -> TimeBase:
    """Return the time of every row; dates before 1970 or after 2200 and negative clocks are NaN.

    ``columns`` have their roles, ``texts`` the understood text columns, ``hottest`` (n,) is the raw temperature
    used to exclude impossible time units. Raises ``UnreadableLog`` if no time can be had.
    """
    base = _time_base(columns, texts, hints, hottest)
    low, high = (-_LONGEST_S, _LONGEST_S) if base.kind == "elapsed" else (0.0, _YEAR_2200_S)
    if low <= base.seconds.min(initial=0.0) and base.seconds.max(initial=0.0) <= high:
        return base
    inside = (base.seconds >= low) & (base.seconds <= high)
    return replace(base, seconds=np.where(inside, base.seconds, np.nan))


def _time_base(
    columns: Sequence[Column], texts: Mapping[int, TimeText], hints: LogHints, hottest: FloatArray
) -> TimeBase:
    by_role: dict[str, list[Column]] = {}
    for column in columns:
        by_role.setdefault(column.role, []).append(column)
    dates = [
        c for c in by_role.get("date", []) + by_role.get("time", []) + by_role.get("clock", []) if c.index in texts
    ]
    full = [c for c in dates if texts[c.index].kind == "date and time"]
    if full:
        return _dated(texts[full[0].index], f"column {full[0].name or full[0].index + 1}")
    only_date = [c for c in dates if texts[c.index].kind == "date"]
    clocks = [c for c in dates if texts[c.index].kind in {"clock", "duration"}]
    if only_date and clocks:
        return _date_and_clock(texts[only_date[0].index], texts[clocks[0].index], by_role, texts)
    if clocks:
        base = _clock_or_duration(texts[clocks[0].index], by_role, texts, hottest)
    else:
        clock = (by_role.get("clock", []) + by_role.get("time", []))[:1]
        for date in by_role.get("date", []):
            if clock and (pair := _day_and_clock_numbers(date, clock[0])) is not None:
                return pair
        numeric = [c for c in by_role.get("time", []) + by_role.get("clock", []) if c.values is not None]
        numeric += [c for c in by_role.get("date", []) if c.values is not None]
        if not numeric:
            raise UnreadableLog("no column holds the time.", remedy='Name it: [kiln.log] columns = {"1" = "time"}.')
        base = _numeric(numeric, hints, hottest)
    if only_date:
        first = texts[only_date[0].index].seconds
        first = first[np.isfinite(first)]
        return TimeBase(
            base.seconds, base.kind, base.text, base.why, base.unknown, float(first[0]) if first.size else None
        )
    return base


def _dated(text: TimeText, where: str) -> TimeBase:
    unknown: tuple[Unknown, ...] = ()
    if not text.day_order_certain:
        other = "month-first" if text.why.startswith("day") else "day-first"
        unknown = (
            Unknown("the order of day and month", text.why, f'[kiln.log] day_order = "{other}" if that is wrong'),
        )
    if text.utc:
        return TimeBase(text.seconds, "utc", f"date and time with offset ({where})", text.why, unknown)
    return TimeBase(text.seconds, "local", f"date and local time ({where})", text.why, unknown)


def _date_and_clock(
    date: TimeText, clock: TimeText, by_role: Mapping[str, list[Column]], texts: Mapping[int, TimeText]
) -> TimeBase:
    seconds = clock.seconds
    half = _half_day(by_role, texts)
    if half is not None:
        seconds = seconds % 43200.0 + half
    joined = replace(date, kind="date and time", seconds=date.seconds + seconds)
    return _dated(joined, "a date and a clock column")


def _half_day(by_role: Mapping[str, list[Column]], texts: Mapping[int, TimeText]) -> FloatArray | None:
    halves = [texts[c.index].seconds for c in by_role.get("half day", []) if c.index in texts]
    return halves[0] if halves else None


def _clock_or_duration(
    text: TimeText, by_role: Mapping[str, list[Column]], texts: Mapping[int, TimeText], hottest: FloatArray
) -> TimeBase:
    half = _half_day(by_role, texts)
    seconds = text.seconds if half is None else text.seconds % 43200.0 + half
    good = seconds[np.isfinite(seconds)]
    if text.kind == "clock" or half is not None:
        return TimeBase(seconds, "clock", "12-hour clock without a date", text.why)
    falls = int(np.count_nonzero(np.diff(good) < -0.5 * _DAY_S))
    if good.size and float(good[0]) > 3600 and float(good.max()) < _DAY_S and (falls or good[0] > 4 * 3600):
        return TimeBase(seconds, "clock", "clock without a date", "hours stay below 24 and do not begin near 0")
    if text.why == TWO_FIELDS:
        scales = {"h:mm": 1.0, "m:ss": 1.0 / 60.0}
        scale, why = _plausible(seconds, hottest, scales)
        word = next(word for word, value in scales.items() if value == scale)
        return TimeBase(seconds * scale, "elapsed", f"elapsed {word}", why)
    return TimeBase(seconds, "elapsed", "elapsed hh:mm:ss", text.why)


def _numeric(columns: Sequence[Column], hints: LogHints, hottest: FloatArray) -> TimeBase:
    best: TimeBase | None = None
    for column in columns:
        assert column.values is not None
        base = _one_numeric(column, column.values, hints, hottest)
        if base.kind != "elapsed":
            return base
        best = best or base
    assert best is not None
    return best


def _one_numeric(column: Column, values: FloatArray, hints: LogHints, hottest: FloatArray) -> TimeBase:
    where = f"column {column.name or column.index + 1}"
    good = values[np.isfinite(values)]
    if good.size < 2:
        raise UnreadableLog(
            "the time column holds fewer than two numbers.", remedy="Wait, or check [kiln.log] columns."
        )
    few = np.sort(good[:: good.size // 9 + 1])
    middle = float(few[few.size // 2])
    for low, high, scale, word in (
        (3e8, 5e9, 1.0, "seconds"),
        (3e11, 5e12, 1e-3, "milliseconds"),
        (3e14, 5e15, 1e-6, "microseconds"),
    ):
        if low < middle < high:
            return TimeBase(values * scale, "utc", f"epoch {word} ({where})", f"numbers about {middle:.0f}")
    if _WRITTEN_FROM < middle < _WRITTEN_TO:
        return TimeBase(_written_out(values), "local", f"date and time in one number ({where})", "YYYYMMDDhhmmss")
    if 20000 < middle < 80000 and float(good.max() - good.min()) < 60 and bool((good != np.rint(good)).any()):
        seconds = np.round((values - _SERIAL_EPOCH_DAYS) * _DAY_S, 1)
        return TimeBase(seconds, "local", f"spreadsheet serial days ({where})", f"numbers about {middle:.4f}")
    unit = hints.time_unit or column.unit
    if unit in _UNIT_S:
        why = "setting [kiln.log] time_unit" if hints.time_unit else f'unit in the header "{column.name}"'
        return TimeBase(values * _UNIT_S[unit], "elapsed", f"elapsed {_UNIT_WORD[unit]} ({where})", why)
    scales = {word: _UNIT_S[unit] for unit, word in _UNIT_WORD.items()}
    scale, why = _plausible(values, hottest, scales)
    word = next(word for word, value in scales.items() if value == scale)
    unknown: tuple[Unknown, ...] = ()
    if why.startswith("not certain"):
        unknown = (
            Unknown("the unit of the elapsed time", f"{word}, {why}", '[kiln.log] time_unit = "s", "min" or "h"'),
        )
    return TimeBase(values * scale, "elapsed", f"elapsed {word} ({where})", why, unknown)


def _written_out(values: FloatArray) -> FloatArray:
    """Turn numbers such as 20260302081400 into seconds from 1970."""
    whole = np.nan_to_num(values)
    day, clock = whole // 1_000_000, whole % 1_000_000
    return _of_day_number(day) + clock // 10000 * 3600 + clock // 100 % 100 * 60 + clock % 100


def _of_day_number(day: FloatArray) -> FloatArray:
    """Turn numbers such as 20260302 into seconds from 1970."""
    return civil(day // 10000, day // 100 % 100, day % 100)


def _day_and_clock_numbers(date: Column, clock: Column | None) -> TimeBase | None:
    """Read a column of 20260302 with one of 81400 (hhmmss) beside it."""
    if date.values is None or clock is None or clock.values is None:
        return None
    first = date.values[np.isfinite(date.values)][:1]
    if not first.size or not 19_700_101 <= first[0] <= 22_000_101 or not float(np.nanmax(clock.values)) < 240_000:
        return None
    of_day = clock.values // 10000 * 3600 + clock.values // 100 % 100 * 60 + clock.values % 100
    return TimeBase(
        _of_day_number(np.nan_to_num(date.values)) + of_day,
        "local",
        "date and clock in two numbers",
        "YYYYMMDD, hhmmss",
    )


def _plausible(values: FloatArray, hottest: FloatArray, scales: Mapping[str, float]) -> tuple[float, str]:
    """Choose the time unit a kiln can have obeyed: its climb, its cooling and the length of a firing."""
    good = np.isfinite(values) & np.isfinite(hottest)
    t, x = values[good], hottest[good]
    t, x = t[:20_000], x[:20_000]
    step = np.diff(t)
    step = step[step > 0]
    if t.size < 3 or not step.size:
        return next(iter(scales.values())), "not certain: too few rows to tell"
    typical = float(np.partition(step, step.size // 2)[step.size // 2])
    length = float(np.abs(np.diff(t)).clip(max=50 * typical).sum())
    rise = max(float(x.max()) - float(x[0]), 1.0)
    to_top = max(float(t[int(np.argmax(x))] - t[0]), typical)
    fits: list[tuple[float, str, float]] = []
    for word, scale in scales.items():
        sample_s, long_s = typical * scale, length * scale
        climb = rise / (to_top * scale / 3600)
        if 0.2 <= sample_s <= 3600 and long_s <= _LONGEST_FIRING_S and (climb < _FASTEST_CLIMB or rise < 30):
            fits.append((_oddness(sample_s, long_s, climb if rise > 300 else 100.0), word, scale))
    fits.sort()
    if not fits:
        return next(iter(scales.values())), "not certain: no unit fits a kiln"
    others = ", ".join(word for word in scales if word != fits[0][1])
    if len(fits) == 1 or fits[1][0] - fits[0][0] > 1.5:
        return fits[0][2], f"{others} would make a firing no kiln can do"
    return fits[0][2], f"not certain: {fits[1][1]} would be possible too"


def _oddness(sample_s: float, length_s: float, climb_c_per_h: float) -> float:
    """Say how unusual sampling, length and climb would be (0 = a log every 1-180 s over ten hours)."""
    odd = 0.6 * abs(float(np.log(max(length_s, 1.0) / 36000.0)))
    odd += 1.5 * max(0.0, float(np.log(sample_s / 180.0))) + 1.5 * max(0.0, float(np.log(1.0 / sample_s)))
    return odd + (3.0 if climb_c_per_h < 8 else 0.0)

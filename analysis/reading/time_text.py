"""What dates, clocks and durations written as text mean, decided once for a whole column."""

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.reading.firing_log import FloatArray
from analysis.reading.stamps import Pattern
from config.kiln import DayOrder

StampKind = Literal["date and time", "date", "clock", "duration"]

_MONTHS = {
    name: month
    for month, names in enumerate(
        (
            "jan januar january janvier enero gennaio januari ene gen",
            "feb februar february fevrier fev febrero febbraio februari fevr",
            "mar marz mrz march mars marzo maart mrt maerz mär märz",
            "apr april avril avr abril aprile abr",
            "may mai mayo maggio mei mag",
            "jun juni june juin junio giugno giu",
            "jul juli july juillet juil julio luglio lug",
            "aug august aout août agosto augustus ago",
            "sep sept september septembre septiembre settembre set",
            "oct okt october oktober octobre octubre ottobre ott",
            "nov november novembre noviembre",
            "dec dez december dezember decembre décembre diciembre dicembre dic",
        ),
        1,
    )
    for name in names.split()
}
_DATE = re.compile(r"#([-/. ])#\1 ?#")
_NAMED_DATE = re.compile(r"(?:#[-/. ]+([^\W\d_]{3,10})\.?[-/., ]+#)|(?:([^\W\d_]{3,10})\.?[-/., ]+#,?[-/ ]+#)")
# Month, day, clock and the year last, as the clock of many small computers prints it: Mar 2 08:14:00 [GMT] 2026.
_YEAR_LAST = re.compile(r"([^\W\d_]{3,10})\.? +#,? +#:#(:#)? +(?:([A-Z]{3,5}) +)?#")
_CLOCK = re.compile(r"#:#(?::#)?(?:[.,]#)?")
_OFFSET = re.compile(r"\s?(?:Z|UTC|GMT|([+-])#(?::?#)?)$")
_DAYS = re.compile(r"#\s?(?:d|days?|tage?|jours?|giorni|dagen|d[ií]as?)?[ .,]\s?(?=#:#)", re.IGNORECASE)
_BASIC = re.compile(r"#T#")
_DAY_S = 86400.0
_WEEKDAYS = frozenset({"mon", "tue", "wed", "thu", "fri", "sat", "sun"})
TWO_FIELDS = "two fields"


@dataclass(frozen=True, slots=True)
class TimeText:
    """Seconds of each row (NaN where a cell is no time), and how the text was understood.

    ``seconds`` counts from 1970-01-01 local wall time for dates (UTC if ``utc``), from midnight for a clock,
    from the start for a duration. ``other_order`` is the same with day and month exchanged, where the column itself
    does not tell.
    """

    kind: StampKind
    seconds: FloatArray
    why: str
    utc: bool = False
    day_order_certain: bool = True
    other_order: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class _Parts:
    date: tuple[int, int, int] | None
    month: int | None
    clock: tuple[int, int | None, int | None, int | None] | None
    half: Literal["am", "pm"] | None
    offset: tuple[float, int, int | None] | None
    basic: bool = False
    days: bool = False
    year_at: int = 1


def read_time_text(found: list[Pattern], n: int, day_order: DayOrder | None = None) -> TimeText | None:
    """Return what a column of text says of time, or None if most of it is no time at all.

    ``found`` are the column's patterns, ``n`` its rows. The order of day and month is taken from ``day_order``
    if given, else from all rows: a number above 12 decides, then whether the dates would run on by months.
    """
    parsed = [(pattern, parts) for pattern in found if (parts := _parts(pattern)) is not None]
    if sum(p.rows.size for p, _ in parsed) * 2 < n:
        return None
    with_date = [(p, parts) for p, parts in parsed if parts.date is not None or parts.month is not None or parts.basic]
    if sum(p.rows.size for p, _ in with_date) * 2 > n:
        order, why, certain = _date_order(with_date, day_order)
        seconds, utc = _dated_seconds(with_date, n, order)
        other = None if certain else _dated_seconds(with_date, n, "mdy" if order == "dmy" else "dmy")[0]
        has_clock = any(parts.clock is not None or parts.basic for _, parts in with_date)
        return TimeText("date and time" if has_clock else "date", seconds, why, utc, certain, other)
    seconds = np.full(n, np.nan)
    half = False
    fields = 0
    for pattern, parts in parsed:
        if parts.clock is not None and parts.date is None:
            seconds[pattern.rows] = _clock_seconds(pattern, parts)
            half |= parts.half is not None
            fields = max(fields, 3 if parts.days or parts.clock[2] is not None else 2)
    why = "12-hour clock" if half else "hours, minutes and seconds" if fields > 2 else TWO_FIELDS
    return TimeText("clock" if half else "duration", seconds, why)


def _dated_seconds(with_date: list[tuple[Pattern, _Parts]], n: int, order: str) -> tuple[FloatArray, bool]:
    """Return seconds from 1970 of all rows, and whether the column gives offsets from UTC."""
    seconds = np.full(n, np.nan)
    utc = False
    for pattern, parts in with_date:
        seconds[pattern.rows] = _date_seconds(pattern, parts, order)
        if parts.clock is not None:
            seconds[pattern.rows] += _clock_seconds(pattern, parts)
        if parts.offset is not None:
            seconds[pattern.rows] -= _offset_seconds(pattern, parts.offset)
            utc = True
    return seconds, utc


def _parts(pattern: Pattern) -> _Parts | None:
    """Take a pattern apart into date, clock, half of the day and offset (indices into its numbers)."""
    text, used = pattern.text.replace("Uhr", "").replace(" h", "").strip(" []()"), 0
    date = month = clock = half = offset = None
    text = _without_weekday(text)
    if match := _BASIC.match(text):
        rest = text[match.end() :]
        said = _OFFSET.fullmatch(rest)
        if pattern.digits[:1] != (8,) or (rest and said is None):
            return None
        return _Parts(None, None, None, None, None if said is None else _offset_of(said, 2), basic=True)
    if (match := _YEAR_LAST.fullmatch(text)) and (month := _month_of(match[1])) is not None:
        seconds_at = 3 if match[2] else None
        at_zero = (0.0, 0, None) if match[3] in {"UTC", "GMT"} else None
        return _Parts(None, month, (1, 2, seconds_at, None), None, at_zero, year_at=4 if match[2] else 3)
    if match := _DATE.match(text):
        date, used, text = (0, 1, 2), 3, text[match.end() :]
    elif (match := _NAMED_DATE.match(text)) and (month := _month_of(match[1] or match[2])) is not None:
        used, text = 2, text[match.end() :]
    text = text.lstrip(" T,;_-@")
    days = False
    if not used and (match := _DAYS.match(text)):
        days, used, text = True, 1, text[match.end() :]
    if match := _CLOCK.match(text):
        count = match[0].count("#")
        fraction = used + count - 1 if re.search(r"[.,]#$", match[0]) else None
        colons = match[0].count(":")
        clock = (used, used + 1, used + 2 if colons > 1 else None, fraction)
        used, text = used + count, text[match.end() :]
        stripped = text.strip().lower().replace(".", "")
        if stripped in {"am", "pm", "a", "p"}:
            half, text = ("am" if stripped[0] == "a" else "pm"), ""
        elif match := _OFFSET.fullmatch(text):
            offset = _offset_of(match, used)
            text = ""
    if text.strip() or (date is None and month is None and clock is None):
        return None
    return _Parts(date, month, clock, half, offset, days=days)  # type: ignore[arg-type]


def _offset_of(match: re.Match[str], used: int) -> tuple[float, int, int | None]:
    """Return an offset's sign (0 for UTC) and where its hours and minutes stand, after ``used`` numbers."""
    sign = 0.0 if match[1] is None else (1.0 if match[1] == "+" else -1.0)
    return sign, used, used + 1 if match[0].count("#") > 1 else None


def _without_weekday(text: str) -> str:
    head, _, rest = text.partition(" ")
    bare = head.rstrip(",.").lower()
    return rest if bare[:3] in _WEEKDAYS and bare.isalpha() and _month_of(bare) is None else text


def _month_of(name: str) -> int | None:
    name = name.lower().rstrip(".")
    return _MONTHS.get(name) or _MONTHS.get(name.encode("latin-1", "ignore").decode("utf-8", "ignore"))


def _date_order(dated: list[tuple[Pattern, _Parts]], wanted: DayOrder | None) -> tuple[str, str, bool]:
    """Return "ymd", "dmy" or "mdy", why, and whether it is certain."""
    plain = [p for p, parts in dated if parts.date is not None]
    if not plain:
        return "ymd", "date with the month's name", True
    numbers = np.concatenate([p.numbers[:, :3] for p in plain])
    if all(p.digits[0] == 4 for p in plain) or float(numbers[:, 0].max()) > 31:
        return "ymd", "year first", True
    if wanted is not None:
        return ("dmy" if wanted == "day-first" else "mdy"), f"{wanted} by setting [kiln.log] day_order", True
    first, second = float(numbers[:, 0].max()), float(numbers[:, 1].max())
    if first > 12 >= second:
        return "dmy", f"day first: a first number of {first:.0f}", True
    if second > 12 >= first:
        return "mdy", f"month first: a second number of {second:.0f}", True
    changes_first = int(np.count_nonzero(np.diff(numbers[:, 0])))
    changes_second = int(np.count_nonzero(np.diff(numbers[:, 1])))
    if changes_first > changes_second:
        return "dmy", "day first: the first number changes at midnight", True
    if changes_second > changes_first:
        return "mdy", "month first: the second number changes at midnight", True
    if bool((numbers[:, 0] == numbers[:, 1]).all()):
        return "dmy", "day and month are equal", True
    if any("." in p.text for p in plain):
        return "dmy", "day first: dates with dots", True
    if any(parts.half is not None for _, parts in dated):
        return "mdy", "month first, because of the 12-hour clock (not certain)", False
    return "dmy", "day first (nothing in the file tells)", False


def _date_seconds(pattern: Pattern, parts: _Parts, order: str) -> FloatArray:
    numbers = pattern.numbers
    if parts.basic:
        day = numbers[:, 0]
        clock = numbers[:, 1]
        if pattern.digits[1] == 4:
            clock = clock * 100
        seconds = clock // 10000 * 3600 + clock // 100 % 100 * 60 + clock % 100
        return civil(day // 10000, day // 100 % 100, day % 100) + seconds
    if parts.month is not None:
        day, year = numbers[:, 0], numbers[:, parts.year_at]
        if pattern.digits[0] == 4:
            day, year = year, day
        return civil(year, np.full(day.size, float(parts.month)), day)
    at = {letter: numbers[:, k] for k, letter in enumerate(order)}
    return civil(at["y"], at["m"], at["d"])


def civil(year: FloatArray, month: FloatArray, day: FloatArray) -> FloatArray:
    """Return seconds from 1970-01-01 to the start of each day; NaN for days no calendar has."""
    year = np.where(year < 70, year + 2000, np.where(year < 100, year + 1900, year))
    right = (year >= 1970) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(right, (year - 1970) * 12 + month - 1, 0).astype("int64").astype("datetime64[M]")
    days = months.astype("datetime64[D]").astype("int64") + np.where(right, day - 1, 0)
    return np.where(right, days * _DAY_S, np.nan)


def _clock_seconds(pattern: Pattern, parts: _Parts) -> FloatArray:
    assert parts.clock is not None
    hour_at, minute_at, second_at, fraction_at = parts.clock
    numbers = pattern.numbers
    hour = numbers[:, hour_at]
    if parts.half is not None:
        hour = hour % 12 + (12 if parts.half == "pm" else 0)
    seconds = hour * 3600 + (numbers[:, 0] * _DAY_S if parts.days else 0.0)
    if minute_at is not None:
        seconds = seconds + numbers[:, minute_at] * 60
    if second_at is not None:
        seconds = seconds + numbers[:, second_at]
    if fraction_at is not None:
        seconds = seconds + numbers[:, fraction_at] / 10.0 ** (pattern.digits[fraction_at] or 3)
    return seconds


def _offset_seconds(pattern: Pattern, offset: tuple[float, int, int | None]) -> FloatArray | float:
    sign, hour_at, minute_at = offset
    if not sign:
        return 0.0
    hour = pattern.numbers[:, hour_at]
    if minute_at is not None:
        return sign * (hour * 3600 + pattern.numbers[:, minute_at] * 60)
    if pattern.digits[hour_at] == 4:
        return sign * (hour // 100 * 3600 + hour % 100 * 60)
    return sign * hour * 3600

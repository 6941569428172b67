"""When a firing began and what programme it ran, from the text above the table, the file's name or its date."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from analysis.reading.account import Unknown
from analysis.reading.clock_repairs import Straight, to_utc
from analysis.reading.firing_log import StartedFrom
from analysis.reading.stamps import patterns
from analysis.reading.time_base import TimeBase
from analysis.reading.time_text import read_time_text
from config.kiln import DayOrder

_WHEN = re.compile(
    r"(?<![\d.])(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})"
    r"|\d{1,2}\.?[ \-](?:[^\W\d_]{3,10})\.?,?[ \-]\d{4}|[^\W\d_]{3,10}\.? \d{1,2},? \d{4})(?!\d)"
)
_CLOCK = re.compile(r"(?<![\d:])\d{1,2}:\d{2}(?::\d{2})?(?:\s?[AaPp]\.?[Mm]\.?)?(?![\d:])")
_NAME_WHEN = re.compile(
    r"(?<!\d)((?:19|20)\d{2})[-_.]?(0[1-9]|1[0-2])[-_.]?(0[1-9]|[12]\d|3[01])"
    r"(?:[-_ T.]+(?:at[-_ ])?([01]\d|2[0-3])[-_.:h]?([0-5]\d)(?:[-_.:m]?([0-5]\d))?(?!\d))?"
)
_PROGRAMME = re.compile(
    r"^[\s#;*/]*(?:programme|program|programm|prog|recipe|schedule|programa|programma|firing|rezept|kurve|recette)"
    r"(?:\s?name)?\s*[:=]\s*(\S.*)$",
    re.IGNORECASE | re.MULTILINE,
)
_END_WORDS = re.compile(
    r"\b(?:end|ended|finished|stop|printed|exported|ende|fin|fine|fertig|downloaded|saved)\b", re.IGNORECASE
)
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - local wall time is counted from here
_LONGEST_PROGRAMME = 60
_DAY_S = 86400.0
_SOON_S = 4.0 * _DAY_S  # a log is fetched within days of its firing


@dataclass(frozen=True, slots=True)
class Written:
    """A date written somewhere: seconds from 1970-01-01 local time, and whether it says the time of day."""

    local_s: float
    with_clock: bool
    certain: bool = True


def from_text(lines: tuple[str, ...], day_order: DayOrder | None) -> Written | None:
    """Return the first date (and clock) written above the table; lines about an end or an export come last."""
    clock_only: float | None = None
    best: Written | None = None
    for line in sorted(lines[:200], key=lambda line: bool(_END_WORDS.search(line))):
        line = line[:300]
        when, clock = _WHEN.search(line), _CLOCK.search(line)
        clock_s = None if clock is None else _seconds(clock[0], day_order)
        if when is not None and best is None:
            date_s = _seconds(when[0].replace(",", ""), day_order)
            if date_s is not None:
                best = Written(date_s[0] + (clock_s[0] if clock_s else 0.0), clock_s is not None, date_s[1])
        elif clock_s is not None and clock_only is None:
            clock_only = clock_s[0]
        if best is not None and best.with_clock:
            return best
    if best is not None and clock_only is not None:
        return Written(best.local_s + clock_only, with_clock=True, certain=best.certain)
    return best


def _seconds(text: str, day_order: DayOrder | None) -> tuple[float, bool] | None:
    try:
        cells = np.frombuffer(text.encode("latin-1"), np.uint8)[None, :]
    except UnicodeEncodeError:
        return None
    found = read_time_text(patterns(cells), 1, day_order)
    if found is None or not np.isfinite(found.seconds[0]):
        return None
    return float(found.seconds[0]), found.day_order_certain


def from_name(name: str) -> Written | None:
    """Return a date in the file's name, year first (``2026-03-02_0814.csv``, ``20260302-081400.txt``)."""
    match = _NAME_WHEN.search(name)
    if match is None:
        return None
    year, month, day, hour, minute, second = match.groups()
    try:
        moment = datetime(int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0))  # noqa: DTZ001
    except ValueError:
        return None
    return Written((moment - _EPOCH).total_seconds(), hour is not None)


def programme(lines: tuple[str, ...], name: str, kiln_words: tuple[str, ...], logged: str = "") -> str | None:
    """Return the programme's name: ``logged`` in a column, else from the text above, else words of the file's name."""
    if logged:
        return logged
    match = _PROGRAMME.search("\n".join(lines[:200]))
    if match is not None:
        return match[1].strip()[:_LONGEST_PROGRAMME] or None
    for line in lines[:5]:
        if line.startswith("#") and _WHEN.search(line):
            rest = _CLOCK.sub(" ", _WHEN.sub(" ", line.lstrip("# ")))
            return _words(rest, kiln_words)
    return _words(_NAME_WHEN.sub(" ", name.rsplit(".", 1)[0]), kiln_words)


def _words(text: str, kiln_words: tuple[str, ...]) -> str | None:
    """Keep what is no number, no kiln's name and no word for the file itself."""
    common = {"firing", "log", "export", "data", "kiln", "brand", "file", "record", "copy", "fire", *kiln_words}
    words = [word for word in re.split(r"[\s_,;()]+", text) if word]
    first = next(
        (i for i, word in enumerate(words) if word.isalpha() and len(word) > 2 and word.lower() not in common), None
    )
    if first is None:
        return None
    kept = [word for word in words[first:] if word.lower() not in common]
    return " ".join(kept)[:_LONGEST_PROGRAMME] or None


@dataclass(frozen=True, slots=True)
class Began:
    """When the first sample was taken (aware UTC, or None), how that is known, and what is doubtful about it."""

    started: datetime | None
    source: StartedFrom
    problems: tuple[str, ...] = ()
    unknown: tuple[Unknown, ...] = ()


def _near(modified: datetime, written: Written) -> bool:
    """Whether a file was last written within a few days of a date, whatever its time zone."""
    return abs(modified.timestamp() - written.local_s) < _SOON_S


def began(
    lines: tuple[str, ...],
    name: str,
    modified: datetime | None,
    base: TimeBase,
    straight: Straight,
    first_s: float,
    zone: ZoneInfo | None,
    day_order: DayOrder | None,
) -> Began:
    """Return the start: from the rows, else the text above them, else the file's name, else its date.

    ``first_s`` is the first row's time as logged, ``zone`` the kiln's time zone (None: UTC is taken, and said).
    """
    if base.kind == "utc":
        return Began(datetime.fromtimestamp(first_s, UTC), "rows", unknown=base.unknown)
    here, unknown = zone, base.unknown
    notes: tuple[str, ...] = ()
    if here is None:
        here = ZoneInfo("UTC")
        notes = ("no time zone is set for this kiln: its local times are taken as UTC",)
        ask = Unknown(
            "the time zone of the log's clock", "UTC for now", 'time_zone = "Europe/Dublin" (the kiln\'s own)'
        )
        unknown = (*unknown, ask)
    if base.kind == "local":
        return Began(to_utc(first_s, here, went_back_later=straight.went_back), "rows", notes, unknown)
    clock_s = first_s % _DAY_S if base.kind == "clock" else None
    if base.date_s is not None:
        local_s = base.date_s + (clock_s or 0.0)
        if clock_s is None:
            notes = (*notes, "the date column gives the day of the firing only; its hour is not known")
        return Began(to_utc(local_s, here, went_back_later=straight.went_back), "rows", notes, unknown)
    source, written = _written(lines, name, day_order, clock_s)
    if written is not None and not written.certain and modified is not None:
        _, other = _written(lines, name, "month-first", clock_s)
        if other is not None and _near(modified, other) and not _near(modified, written):
            written = other
    if written is not None:
        local_s = written.local_s if clock_s is None else written.local_s // _DAY_S * _DAY_S + clock_s
        if clock_s is None and not written.with_clock:
            notes = (*notes, f"the {source} gives the day of the firing only; its hour is not known")
        if not written.certain:
            setting = '[kiln.log] day_order = "month-first" if that is wrong'
            unknown = (*unknown, Unknown("the order of day and month above the table", "day first", setting))
        return Began(to_utc(local_s, here, went_back_later=straight.went_back), source, notes, unknown)
    if modified is not None:
        start = modified.astimezone(UTC) - timedelta(seconds=float(straight.elapsed_s[-1]))
        said = "the log holds no date: its start is taken from the file's date"
        return Began(start, "file date", (said,), base.unknown)
    ask = Unknown("the date of the firing", "none", "a date in the file's name, for example 2026-03-02_0814.csv")
    return Began(None, "unknown", ("the log holds no date",), (*base.unknown, ask))


def _written(
    lines: tuple[str, ...], name: str, day_order: DayOrder | None, clock_s: float | None
) -> tuple[StartedFrom, Written | None]:
    """Return the date above the table or in the file's name; the one with a time of day if only one has it."""
    text, named = from_text(lines, day_order), from_name(name)
    if text is None:
        return "file name", named
    same_day = named is not None and abs(named.local_s - text.local_s) < 1.01 * _DAY_S
    if clock_s is None and not text.with_clock and named is not None and named.with_clock and same_day:
        return "file name", named
    return "text", text

"""Day first or month first, where the dates of a column do not tell by themselves."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

import numpy as np

from analysis.reading.firing_log import FloatArray
from analysis.reading.names import plain
from analysis.reading.started import from_name, from_text
from analysis.reading.time_text import TimeText

# The United States write the month first (common practice, no source).
_MONTH_FIRST_ZONES = frozenset(
    f"America/{city}"
    for city in ("New_York", "Chicago", "Denver", "Los_Angeles", "Phoenix", "Anchorage", "Detroit", "Boise")
) | {"Pacific/Honolulu"}
# A controller set to another language writes its dates that language's way, wherever it stands. None of these words is
# English, and none of these languages writes the month first.
_DAY_FIRST = """datum zeit uhrzeit zeitstempel horodatage heure jour fecha hora dia data ora giorno tijd tijdstip
    klokslag dag tid dato godzina czas dzien"""
_DAY_FIRST_WORDS = frozenset(_DAY_FIRST.split())


def settle_day_order(
    texts: dict[int, TimeText],
    lines: tuple[str, ...],
    name: str,
    modified: datetime | None,
    time_zone: str | None,
    names: Iterable[str] = (),
) -> None:
    """Decide day-first or month-first from outside the column where the column itself does not tell (in place).

    A date in the file's name or above the table decides for certain, the file's own date nearly so; a 12-hour clock
    or a kiln in the United States only lean to month first; not even that, where ``names`` of columns are in a language
    that writes the day first.
    """
    half = any(text.why in {"AM and PM", "12-hour clock"} for text in texts.values())
    for i, text in texts.items():
        if text.other_order is None:
            continue
        both = [_first(text.seconds), _first(text.other_order)]
        written = from_text(lines, None)
        near = [
            ("the date in the file's name", named.local_s if (named := from_name(name)) else None, 1.5),
            ("the date above the table", written.local_s if written and written.certain else None, 1.5),
            ("the file's date", None if modified is None else modified.timestamp(), 4.0),
        ]
        for source, moment, days in near:
            if moment is None:
                continue
            fits = [abs(first - moment) < days * 86400.0 for first in both]
            if fits[0] != fits[1]:
                seconds = text.seconds if fits[0] else text.other_order
                is_day = text.why.startswith("day") == fits[0]
                texts[i] = replace(
                    text,
                    seconds=seconds,
                    other_order=None,
                    day_order_certain=True,
                    why=f"{'day' if is_day else 'month'} first: {source}",
                )
                break
        else:
            american = (time_zone or "") in _MONTH_FIRST_ZONES and not _names_say_day_first(names)
            if text.why.startswith("day") and (half or american):
                why = (
                    "month first, because of the "
                    + ("12-hour clock" if half else "kiln's time zone")
                    + " (not certain)"
                )
                texts[i] = replace(text, seconds=text.other_order, other_order=text.seconds, why=why)


def _names_say_day_first(names: Iterable[str]) -> bool:
    return not _DAY_FIRST_WORDS.isdisjoint(word for name in names for word in plain(name).split())


def _first(seconds: FloatArray) -> float:
    good = seconds[np.isfinite(seconds)]
    return float(good[0]) if good.size else 0.0

"""How often a kiln is fired, and what date so many firings ahead is likely to be."""

import itertools
from datetime import datetime, timedelta
from statistics import median

from daemon.report.history import KilnHistory

RECENT = 20
LONGEST_GAP_DAYS = 60.0  # a studio's long closing is not its pace


def days_between_firings(history: KilnHistory) -> float | None:
    """Return the mean days from firing to firing over the recent ones, long closings cut short; None if unknown."""
    starts = [said.started for said in history.judged[-RECENT:] if said.started is not None]
    gaps = [(b - a).total_seconds() / 86400 for a, b in itertools.pairwise(starts)]
    gaps = [gap for gap in gaps if gap > 0]
    if len(gaps) < 2:
        return None
    usual = median(gaps)
    return sum(min(gap, max(LONGEST_GAP_DAYS, 4 * usual)) for gap in gaps) / len(gaps)


def date_after(history: KilnHistory, firings: float) -> datetime | None:
    """Return the date ``firings`` after the newest one at the kiln's pace, or None where it has none."""
    latest = history.latest
    pace = days_between_firings(history)
    if pace is None or latest is None or latest.started is None or firings * pace > 3650:
        return None
    return latest.started + timedelta(days=firings * pace)

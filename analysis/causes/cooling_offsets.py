"""How a kiln's zones read beside each other while it cools by itself, and how they share the work near the peak.

Leaks, drifting couples and stacking all show in these; they differ in how the measures move together.
"""

from analysis.causes.case import Case
from analysis.causes.memory import Spreads, ZoneMemory
from analysis.free_cooling import COOLING_MARKS_C

OFFSET_C = Spreads(firings=2.5, peaks=3.0)
SHARE = Spreads(firings=0.018, peaks=0.03)
"""A zone's offset while cooling, and the log of its share of the work: loads are never stacked alike twice."""

TILT_C, TILT_OVER_C = Spreads(firings=0.35, peaks=2.5), 400.0
"""The same for the change of that offset from 900 to 500 deg C: what a load leaves between zones hardly changes
there, but the walls of a kiln that was less hot take its heat faster."""

_SETTLED_C = 150.0
"""Below the peak by this much the zones have come to terms since the output stopped."""


KNOWN_PEAK = 3
"""Firings to a peak from which they say something of a trouble that stands."""


def trouble_stands(zone: ZoneMemory) -> bool:
    """Tell whether a drift was told of a zone, or its cooling speaks for a leak: what it shows is not its usual."""
    return zone.drifted or zone.leak > 0.0


def offsets_c(case: Case) -> list[float | None]:
    """Each zone's offset in free cooling, mean over the marks reached."""
    out: list[float | None] = []
    for row in case.signs.cooling_offset_c:
        known = [x for x in row if x is not None]
        out.append(sum(known) / len(known) if known else None)
    return out or [None] * len(case.zones)


def tilts_c(case: Case) -> list[tuple[float | None, float]]:
    """Each zone's offset in free cooling while hot less that while mild, for 400 deg C, and the deg C it was seen over.

    A couple's error grows with its temperature; a true difference between zones grows as they cool and radiation
    between them dies away, and what the load leaves stays about the same over these marks.
    """
    marks = [n for n in range(3) if COOLING_MARKS_C[n] < case.firing.peak_c - _SETTLED_C]
    out: list[tuple[float | None, float]] = []
    for row in case.signs.cooling_offset_c:
        known = [(COOLING_MARKS_C[n], x) for n in marks if (x := row[n]) is not None]
        if len(known) < 2:
            out.append((None, TILT_OVER_C))
        else:
            (hot_c, hot), (mild_c, mild) = known[0], known[-1]
            out.append(((hot - mild) * TILT_OVER_C / (hot_c - mild_c), hot_c - mild_c))
    return out or [(None, TILT_OVER_C)] * len(case.zones)


def hot_shares(case: Case) -> list[float | None]:
    """Each zone's log share of the work near the peak, None where unknown."""
    shares = case.signs.hot_share
    return list(shares) if len(shares) == len(case.zones) else [None] * len(case.zones)

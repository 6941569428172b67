"""How a kiln's zones read beside each other while it cools by itself, and how they share the work near the peak.

Leaks, drifting couples and stacking all show in these; they differ in how the measures move together.
"""

from dataclasses import dataclass

from analysis.causes.case import Case
from analysis.causes.memory import Spreads, UsualByPeak, ZoneMemory
from analysis.free_cooling import COOLING_MARKS_C

OFFSET_C = Spreads(firings=2.5, peaks=3.0)
SHARE = Spreads(firings=0.018, peaks=0.03)
"""A zone's offset while cooling, and the log of its share of the work: loads are never stacked alike twice."""

FIRST_FALL_C = Spreads(firings=1.5, peaks=3.0)
"""The same after the first fall, where loads have left little between zones yet. Kilns differ (some 1.3 and 2.5 deg C
in two independent simulators; more where zones are little coupled, and there a leak shows more too): each learns its
own."""

TILT_C, TILT_OVER_C = Spreads(firings=0.35, peaks=2.5), 400.0
"""The same for the change of that offset from 900 to 500 deg C: what a load leaves between zones hardly changes
there, but the walls of a kiln that was less hot take its heat faster."""

_SETTLED_C = 150.0
"""Below the peak by this much the zones have come to terms since the output stopped."""


_SUSPECTED = 1.0
"""Evidence for a leak that one odd firing alone does not make."""

KNOWN_PEAK = 3
"""Firings to a peak from which they say something of a trouble that stands: before, it may be that peak's own."""

_SURE = 4.0
"""Evidence for a leak that makes a message (seven in eight)."""


def surely_troubled(zone: ZoneMemory) -> bool:
    """Tell whether a drift or a leak in a zone is a message: then no peak shows its usual there."""
    return zone.drifted or zone.leak > _SURE


def trouble_stands(zone: ZoneMemory) -> bool:
    """Tell whether a drift was told of a zone, or its cooling speaks for a leak: what it shows is not its usual."""
    return zone.drifted or zone.leak > _SUSPECTED


def offsets_c(case: Case) -> list[float | None]:
    """Each zone's offset in free cooling, mean over the marks reached."""
    out: list[float | None] = []
    for row in case.signs.cooling_offset_c:
        known = [x for x in row if x is not None]
        out.append(sum(known) / len(known) if known else None)
    return out or [None] * len(case.zones)


def after_first_fall_c(case: Case) -> list[float | None]:
    """Each zone's offset after the first fall, None where unknown."""
    fallen = case.signs.first_fall_c
    return list(fallen) if len(fallen) == len(case.zones) else [None] * len(case.zones)


@dataclass(frozen=True, slots=True)
class Parting:
    """A zone's offset in one free cooling, and what it usually is: after the first fall (``early``), else later on."""

    offset_c: float | None
    usual: UsualByPeak
    spreads: Spreads
    early: bool

    def below_c(self, peak_c: float) -> float:
        """Return how far the zone read below its usual in a firing to this peak; 0 where that is not known."""
        expected = self.usual.expected(peak_c, self.spreads)
        return 0.0 if self.offset_c is None or expected is None else expected.value - self.offset_c

    def distance(self, peak_c: float) -> float | None:
        """Return the same in spreads and upwards, None where it is not known."""
        return self.usual.distance(self.offset_c, peak_c, self.spreads)


def parting(case: Case, zones: tuple[ZoneMemory, ...]) -> list[Parting]:
    """Return where each zone read beside the others while the kiln cooled by itself."""
    rows = zip(zones, after_first_fall_c(case), offsets_c(case), strict=True)
    return [
        Parting(later, zone.cooling, OFFSET_C, early=False)
        if early is None
        else Parting(early, zone.first_fall, FIRST_FALL_C, early=True)
        for zone, early, later in rows
    ]


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

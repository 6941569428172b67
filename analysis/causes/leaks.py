"""A leak of heat seen directly: from some firing on, one zone cools faster than the others with everything off.

No power is involved then, so nothing electrical can imitate it; a drifting thermocouple could, but it moves little by
little (`analysis.causes.onset_shape`). A zone stacked lighter than before cools faster too, but takes less of the work
near the peak; one that leaks takes more.
"""

from dataclasses import dataclass, replace

from analysis.causes.case import Case
from analysis.causes.cooling_offsets import FIRST_FALL_C, KNOWN_PEAK, SHARE, hot_shares, parting, trouble_stands
from analysis.causes.memory import ZoneMemory
from analysis.causes.odds import log_odds_of, probability
from analysis.causes.onset_shape import KEPT, sharpest_fall, step_over_ramp
from analysis.causes.stacking import stacked_otherwise

_FAR, _FAR_LATER, _MOST = 1.5, 3.0, 2.0
"""Spreads below its usual offset at which a zone's cooling speaks for a leak: after the first fall, half of the step
sought, as in a CUSUM (Page 1954), and where only later marks tell; and the most that one firing may say."""

_FARTHER = 1.5
"""Times as far above its usual another zone must be than this one is below, to be what changed. Of three zones one that
reads wrong is off by twice as much as the others seem to be the other way; of two by as much, which tells nothing."""

_LEAST, _FULL = -1.0, 6.0
"""Between these the evidence runs on from firing to firing."""

_PER_SPREAD, _FIRST_ODDS, _WORTH = 1.5, -4.0, -2.0
"""Log odds of a leak by that evidence, and without any. A calibration on simulated kilns, not physics."""

_FURTHEST = 12.0
"""Spreads beyond which a cooling is kept as no farther off."""

_SHARP, _PER_ERROR, _MOST_BY_SHAPE = 3.0, 2.0, 3.0
"""Errors of a fall from which it rather came at once, log odds by each, and the most by how it went on: in simulated
kilns leaks began with falls of 3 to 10 errors, drifting couples came to 1.5 to 4."""

TAKES_MORE = 2.0
"""Spreads above its usual share of the work at which a zone loses what it takes."""


@dataclass(frozen=True, slots=True)
class FastCooling:
    """The zone that cools faster than it used to: its number, log odds of a leak there, and deg C below usual.

    ``work`` is how far its share of the work near the peak is above its usual, in spreads; None where unknown.
    """

    zone: int
    log_odds: float
    below_c: float
    work: float | None = None


def by_cooling(zone: ZoneMemory) -> tuple[float, float]:
    """Return how probable it is that a zone's cooling has changed at all, and that it did all at once.

    As by a leak, then: a couple drifts little by little.
    """
    changed = probability(_PER_SPREAD * zone.leak + _FIRST_ODDS)
    if not zone.falls or zone.leak <= 0.0:
        return changed, 1.0
    by_shape = max(-_MOST_BY_SHAPE, min(_MOST_BY_SHAPE, step_over_ramp(zone.falls)))
    return changed, probability(_PER_ERROR * (-zone.sharpest - _SHARP) + by_shape)


def fast_cooling(case: Case, zones: tuple[ZoneMemory, ...]) -> FastCooling | None:
    """Return the zone whose cooling speaks most for a leak, None if none does; ``zones`` know this firing already."""
    if len(zones) < 2:
        return None
    number = max(range(len(zones)), key=lambda i: zones[i].leak)
    changed, suddenly = by_cooling(zones[number])
    log_odds = log_odds_of(changed * suddenly)
    if log_odds < _WORTH:
        return None
    below_c = parting(case, zones)[number].below_c(case.firing.peak_c)
    work = zones[number].hot_share.distance(hot_shares(case)[number], case.firing.peak_c, SHARE)
    return FastCooling(number, log_odds, below_c, work)


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's cooling into each zone's running evidence.

    A log without cooling changes nothing, nor does a firing to a peak that is not known yet while a trouble stands.
    """
    out = []
    stands, peak = any(trouble_stands(zone) for zone in zones), case.firing.peak_c
    parted = parting(case, zones)
    above_c = max((-seen.below_c(peak) for seen in parted), default=0.0)
    for zone, seen, stacked in zip(zones, parted, stacked_otherwise(case), strict=True):
        new = stands and seen.usual.count(peak) < KNOWN_PEAK
        distance = None if new else seen.distance(peak)
        if distance is not None:
            if above_c > _FARTHER * seen.below_c(peak):
                # Offsets are less the mean of all: where one zone reads high, all the others seem to read low.
                distance = max(distance, 0.0)
            says = -_MOST if stacked else -distance - (_FAR if seen.early else _FAR_LATER)
            zone = replace(zone, leak=max(_LEAST, min(_FULL, zone.leak + max(-_MOST, min(_MOST, says)))))
        # how a change came shows in one measure: where the first fall tells, in that alone
        if distance is not None and (seen.early or zone.first_fall.expected(peak, FIRST_FALL_C) is None):
            falls = (*zone.falls, max(-_FURTHEST, min(_FURTHEST, distance)))[-KEPT:]
            before = zone.sharpest if zone.leak > 0.0 else 0.0
            # what falls after a drift has been told is the drift, going on
            sharpest = before if zone.drifted else min(before, sharpest_fall(falls))
            zone = replace(zone, falls=falls, sharpest=sharpest)
        out.append(zone)
    return tuple(out)

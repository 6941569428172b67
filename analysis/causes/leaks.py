"""A leak of heat seen directly: from some firing on, one zone cools faster than the others with everything off.

No power is involved then, so nothing electrical can imitate it; a drifting thermocouple could, but it takes many
firings to move as far. A zone stacked lighter than before cools faster too, but takes less of the work near the peak;
one that leaks takes more.
"""

from dataclasses import dataclass, replace

from analysis.causes.case import Case
from analysis.causes.cooling_offsets import KNOWN_PEAK, OFFSET_C, SHARE, hot_shares, offsets_c, trouble_stands
from analysis.causes.memory import ZoneMemory
from analysis.causes.stacking import stacked_otherwise

_FAR, _MOST, _FADING, _LEAST = 3.0, 2.0, 0.7, -1.0
"""Spreads below its usual offset at which a zone's cooling speaks for a leak, and how the evidence runs on."""

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


def fast_cooling(case: Case) -> FastCooling | None:
    """Return the zone whose cooling speaks most for a leak, None if none does."""
    if len(case.memory.zones) < 2:
        return None
    zones = remember(case, case.memory.zones)
    number = max(range(len(zones)), key=lambda i: zones[i].leak)
    log_odds = 1.5 * zones[number].leak - 2.0
    offset = offsets_c(case)[number]
    if log_odds < -2.0:
        return None
    usual = zones[number].cooling.expected(case.firing.peak_c, OFFSET_C)
    below_c = 0.0 if offset is None or usual is None else usual.value - offset
    work = zones[number].hot_share.distance(hot_shares(case)[number], case.firing.peak_c, SHARE)
    return FastCooling(number, log_odds, below_c, work)


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's cooling into each zone's running evidence; a log without cooling changes nothing."""
    out = []
    stands, peak = any(trouble_stands(zone) for zone in zones), case.firing.peak_c
    for zone, offset, stacked in zip(zones, offsets_c(case), stacked_otherwise(case), strict=True):
        distance = zone.cooling.distance(offset, peak, OFFSET_C)
        if distance is not None and not (stands and zone.cooling.count(peak) < KNOWN_PEAK):
            says = -_MOST if stacked else -distance - _FAR
            running = _FADING * zone.leak + max(-_MOST, min(_MOST, says))
            zone = replace(zone, leak=max(_LEAST, running))
        out.append(zone)
    return tuple(out)

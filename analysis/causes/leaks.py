"""A leak of heat seen directly: from some firing on, one zone cools faster than the others with everything off.

No power is involved then, so nothing electrical can imitate it; a drifting thermocouple could, but it takes many
firings to move as far.
"""

from dataclasses import dataclass, replace

from analysis.causes.case import Case
from analysis.causes.memory import ZoneMemory
from analysis.causes.thermocouples import OFFSET_SPREAD_C, offsets_c

_FAR, _MOST, _FADING, _LEAST = 3.0, 2.0, 0.7, -1.0
"""Spreads below its usual offset at which a zone's cooling speaks for a leak, and how the evidence runs on."""


@dataclass(frozen=True, slots=True)
class FastCooling:
    """The zone that cools faster than it used to: its number, log odds of a leak there, and deg C below usual."""

    zone: int
    log_odds: float
    below_c: float


def fast_cooling(case: Case) -> FastCooling | None:
    """Return the zone whose cooling speaks most for a leak, None if none does."""
    if len(case.memory.zones) < 2:
        return None
    zones = remember(case, case.memory.zones)
    number = max(range(len(zones)), key=lambda i: zones[i].leak)
    log_odds = 1.5 * zones[number].leak - 2.0
    offset = offsets_c(case)[number]
    if log_odds < -2.0 or offset is None:
        return None if log_odds < -2.0 else FastCooling(number, log_odds, 0.0)
    return FastCooling(number, log_odds, zones[number].cooling.mean - offset)


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's cooling into each zone's running evidence; a log without cooling changes nothing."""
    out = []
    for zone, offset in zip(zones, offsets_c(case), strict=True):
        distance = zone.cooling.distance(offset, OFFSET_SPREAD_C, enough=5)
        if distance is not None:
            running = _FADING * zone.leak + max(-_MOST, min(_MOST, -distance - _FAR))
            zone = replace(zone, leak=max(_LEAST, running))
        out.append(zone)
    return tuple(out)

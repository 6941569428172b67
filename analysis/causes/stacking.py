"""Zones stacked otherwise than they used to be: heavier or lighter, which no fault of the kiln looks like.

A zone that holds more ware takes more of the work and cools more slowly, one that holds less the reverse. A leak, and a
couple that reads low, make a zone take more of the work and cool *faster*; a weak zone takes more and cools as ever.
"""

from dataclasses import replace

from analysis.causes.case import Case
from analysis.causes.cooling_offsets import OFFSET_C, SHARE, hot_shares, offsets_c
from analysis.causes.memory import Stacking, UsualByPeak, ZoneMemory

_FAR = 2.0
"""Spreads from the usual that both measures must be."""

_A_HABIT = 4
"""Firings in a row stacked otherwise that are a new habit: what is usual is learned anew."""

_TOGETHER = 3
"""Firings after a zone began to hold more within which its seeming weakness is laid to that."""


def stacked_otherwise(case: Case) -> list[int | None]:
    """For each zone 1 if it holds more than usual, -1 if less, 0 if neither shows; None where that can't be told."""
    peak = case.firing.peak_c
    out: list[int | None] = []
    for zone, offset, share in zip(case.memory.zones, offsets_c(case), hot_shares(case), strict=True):
        slower = zone.cooling.distance(offset, peak, OFFSET_C)
        more = zone.hot_share.distance(share, peak, SHARE)
        if slower is None or more is None:
            out.append(None)
        elif min(abs(slower), abs(more)) < _FAR or slower * more < 0.0:
            out.append(0)
        else:
            out.append(1 if more > 0.0 else -1)
    return out


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[Stacking, tuple[ZoneMemory, ...]]:
    """Return how the zones are stacked, and their memory without what was usual before a new habit."""
    before, now = case.memory.stacking, stacked_otherwise(case)
    if all(each is None for each in now):
        return before, zones
    if not any(now):
        return (Stacking() if before.firings else before), zones
    how = tuple(each or 0 for each in now)
    goes_on = before.firings > 0 and any(a and a == b for a, b in zip(how, before.zones, strict=False))
    stacking = replace(before, firings=before.firings + 1) if goes_on else Stacking(1, case.index, how)
    if stacking.firings < _A_HABIT:
        return stacking, zones
    anew = UsualByPeak()
    return replace(stacking, firings=0), tuple(
        replace(z, cooling=anew, first_fall=anew, falls=(), sharpest=0.0, tilt=anew, hot_share=anew) for z in zones
    )


def explains_weakness(case: Case, zone: int, firing: int | None) -> bool:
    """Tell whether a zone that seems weaker since ``firing`` has held more ware since then."""
    stacking, since = case.memory.stacking, None
    if stacking.zones[zone : zone + 1] == (1,):
        since = stacking.since
    elif stacked_otherwise(case)[zone : zone + 1] == [1]:
        since = case.index
    return since is not None and firing is not None and since <= firing <= since + _TOGETHER

"""Which zone falls short of the others, and by how much: from duty, full output and temperatures of one firing.

A zone that lost power asks for more of the time and still lags. This needs no full-output climb and no model, so it
tells a dead or halved zone apart even in a firing that stalls below 100 deg C.
"""

from dataclasses import dataclass, replace
from math import exp, log

from analysis.causes.case import Case
from analysis.causes.memory import ZoneMemory
from analysis.circuit_faults import DEAD
from analysis.measures import Estimate

_SHARE_SPREAD, _FULL_SPREAD, _BEHIND_SPREAD_C = 0.05, 0.08, 6.0
"""Least spreads from firing to firing: stacking shifts shares by 2-5 %, full output and lag by these (training)."""

_SHARE_ERROR = 0.07
_STALL_MINUTES = 30.0
_MOST = 6.0


@dataclass(frozen=True, slots=True)
class Deficit:
    """A zone's shortfall in one firing: log odds that it lost power, and its log power against the others if known."""

    zone: int
    log_odds: float
    step: Estimate | None
    dead: bool = False


def _beyond(distance: float | None) -> float:
    """Log odds from a distance in spreads: nothing within 2, growing beyond, bounded."""
    if distance is None:
        return 0.0
    return max(-0.5, min(_MOST, 0.5 * (distance - 2.0) * abs(distance - 2.0) if distance > 2.0 else -0.3))


def _log_shares(case: Case) -> list[float | None]:
    shares = case.measures.zone_share
    if len(shares) != len(case.zones) or len(shares) < 2 or min(shares) <= 0.0:
        return [None] * len(case.zones)
    return [log(s) for s in shares]


def _full_beyond(case: Case) -> list[float | None]:
    """Each zone's share of time at full output less the least of the zones', None where unknown."""
    full = case.measures.zone_full_share
    if len(full) != len(case.zones) or len(full) < 2:
        return [None] * len(case.zones)
    return [f - min(full) for f in full]


def _behind(case: Case) -> list[float | None]:
    behind = case.signs.behind_zones_c
    return list(behind) if len(behind) == len(case.zones) and len(behind) > 1 else [None] * len(case.zones)


def deficits(case: Case) -> list[Deficit]:
    """Return every zone's shortfall against what is usual for it, largest first; empty in a kiln of one zone."""
    memories = case.memory.zones
    if len(memories) < 2:
        return []
    rows = zip(memories, _log_shares(case), _full_beyond(case), _behind(case), strict=True)
    out = []
    stall = case.measures.no_rise
    for number, (memory, share, full, behind) in enumerate(rows):
        by_share = _beyond(memory.share.distance(share, _SHARE_SPREAD, enough=3))
        by_full = _beyond(memory.full.distance(full, _FULL_SPREAD, enough=3))
        by_lag = _beyond(memory.behind.distance(behind, _BEHIND_SPREAD_C, enough=3))
        dead = stall is not None and stall.zone == number and stall.minutes >= _STALL_MINUTES
        step = None
        if share is not None and memory.share.count >= 3:
            step = Estimate(-(share - memory.share.mean), _SHARE_ERROR)
        if dead:
            step = Estimate(DEAD, 0.3)
        total = by_share + by_full + by_lag + (4.0 if dead else 0.0)
        out.append(Deficit(number, total, step, dead))
    return sorted(out, key=lambda d: -d.log_odds)


def remember(case: Case, zones: tuple[ZoneMemory, ...], *, sound: bool) -> tuple[ZoneMemory, ...]:
    """Take this firing's lags and full-output shares into what is usual; only of a firing nothing is wrong with."""
    if not sound:
        return zones
    rows = zip(zones, _full_beyond(case), _behind(case), strict=True)
    return tuple(replace(z, full=z.full.taken(f), behind=z.behind.taken(b)) for z, f, b in rows)


def zone_steps(case: Case, found: list[Deficit]) -> list[Estimate | None]:
    """Return each zone's log power step against its usual, relative to the best zone; None where not known."""
    known = {d.zone: d.step for d in found if d.step is not None}
    if not known:
        return [None] * len(case.zones)
    best = max(e.value for e in known.values())
    out: list[Estimate | None] = []
    for number in range(len(case.zones)):
        step = known.get(number)
        out.append(None if step is None else Estimate(step.value - best, step.error))
    return out


def sentence(case: Case, deficit: Deficit) -> str:
    """Return in plain words how a zone fell short."""
    name = case.zone_name(deficit.zone)
    if deficit.dead and case.measures.no_rise is not None:
        stall = case.measures.no_rise
        return (
            f"Zone {name} stood at {{c:{stall.at_c:.0f}}} for {stall.minutes:.0f} minutes "
            "with full output and did not rise."
        )
    parts = []
    if deficit.step is not None and deficit.step.value < -0.1:
        parts.append(f"needs {100 * (exp(-deficit.step.value) - 1):.0f} % more of the working time than it used to")
    behind = case.signs.behind_zones_c
    if len(behind) > deficit.zone and behind[deficit.zone] > 8.0:
        parts.append(f"lags up to {{dc:{behind[deficit.zone]:.0f}}} behind the others")
    full = case.measures.zone_full_share
    if len(full) > deficit.zone and full[deficit.zone] > min(full) + 0.15:
        parts.append(f"runs at full output for {100 * full[deficit.zone]:.0f} % of the heating")
    return f"Zone {name} {' and '.join(parts) or 'falls short of the others'}."

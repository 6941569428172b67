"""Which zone falls short of the others, and by how much: from duty, full output and temperatures of one firing.

A zone that lost power asks for more of the time and still lags. This needs no full-output climb and no model, so it
tells a dead or halved zone apart even in a firing that stalls below 100 deg C.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log

from analysis.causes.case import Case
from analysis.causes.cooling_offsets import SHARE
from analysis.causes.memory import ZoneMemory
from analysis.circuit_faults import DEAD
from analysis.measures import Estimate

_SHARE_SPREAD, _FULL_SPREAD, _BEHIND_SPREAD_C = 0.05, 0.08, 6.0
"""Least spreads from firing to firing: stacking shifts shares by 2-5 %, full output and lag by these (training)."""

_SHARE_ERROR = 0.07
_SHORT, _AS_USUAL = Estimate(-0.6, 0.4), Estimate(0.0, 0.1)
_STALL_MINUTES = 30.0
_MOST = 6.0
_STACKING = 3.0
_FADING = 0.7
_LEAST = -1.0
_ONE_FIRING = 1.5
_RED_HEAT_C = 500.0
_NEVER_WARM_C, _FAR_BEHIND_C, _BEHIND_C, _MOSTLY_FULL = 200.0, 15.0, 3.0, 0.6
_STANDING_C_PER_H, _COLD_C, _HELD_BACK_C, _MOSTLY_C, _LAG_SPREAD_C = 15.0, 60.0, 8.0, 6.0, 3.0
"""A kiln that stands: its mean climb; no programme dries ware so cold. The zones that heat are held back some ten
degrees ahead of a dead one, all the time; a sound one catches up. And the least spread of a zone's usual lag."""

_HEATED_C = 2.0
"""Least rise of the mean of a kiln that was heated at all: with one zone of two dead it rises by half of what the other
one is ahead by. One that only cools, or stands switched off at its contactor, tells of no zone."""

_NEVER_SO_FAR = 3.0
"""Spreads beyond a zone's usual lag, or its usual share of time at full output, that no sound zone reaches."""
_OF_RISE = 0.2
"""Share of the kiln's rise that a dead zone lacks; one in the draught of a vent may lack less while ware is dried."""

_BALANCE_SAYS_NO = 5.0
_ENOUGH_KNOWN, _DEAD = 3, 5.0


@dataclass(frozen=True, slots=True)
class Deficit:
    """A zone's shortfall: this firing's log odds that it lost power, and its log power against the others if known.

    ``running`` adds up over firings; ``sure`` are the log odds that the zone alone lost power, all considered; ``far``
    is how many spreads the plainest of its signs lies beyond what is usual.
    """

    zone: int
    log_odds: float
    step: Estimate | None
    dead: bool = False
    running: float = 0.0
    sure: float = -9.0
    far: float = 0.0


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
    """Return every zone's shortfall against what is usual for it, surest first; empty in a kiln of one zone."""
    memories = case.memory.zones
    if len(memories) < 2:
        return []
    if case.signs.ran_away:  # the others lag behind a zone that runs away, and do not fall short
        return [Deficit(number, 0.0, None, running=memory.deficit) for number, memory in enumerate(memories)]
    rows = zip(memories, _log_shares(case), _full_beyond(case), _behind(case), strict=True)
    raw = []
    stall = case.measures.no_rise
    heated = _rise_c(case) > _HEATED_C  # where no zone warms it is no zone's circuit
    for number, (memory, share, full, behind) in enumerate(rows):
        by_share = memory.share.distance(share, _SHARE_SPREAD, enough=3)
        by_full = memory.full.distance(full, _FULL_SPREAD, enough=3)
        by_lag = memory.behind.distance(behind, _BEHIND_SPREAD_C, enough=3)
        dead = stall is not None and stall.zone == number and stall.minutes >= _STALL_MINUTES
        # Near the peak a sound but weak kiln stands still too; below red heat only a zone without power does.
        dead &= stall is not None and stall.at_c < _RED_HEAT_C
        # Or the whole firing waits below red heat for this zone, which gets all there is.
        waits = case.firing.peak_c < _NEVER_WARM_C and case.measures.duration_s > 3600.0
        full_known = len(case.measures.zone_full_share) > number
        flat_out = full_known and case.measures.zone_full_share[number] > _MOSTLY_FULL
        # Where no log tells the output, it is known by a distance this zone never had.
        alone = not full_known and (by_lag or 0.0) > _NEVER_SO_FAR
        dead |= waits and (flat_out or alone) and (behind or 0.0) > _FAR_BEHIND_C
        dead |= waits and not full_known and _stands_behind(case, number)
        # A set point that follows its kiln never runs far ahead: then it is told by asking for more than it ever did.
        # (A firing that was meant to stay cold, to dry ware, is not cut short.)
        asks_most = (by_full or 0.0) > _NEVER_SO_FAR and (behind or 0.0) > _BEHIND_C
        dead |= waits and case.condition.end != "complete" and asks_most
        dead &= heated
        step = None
        if share is not None and memory.share.count >= 3:
            step = Estimate(-(share - memory.share.mean), _SHARE_ERROR)
        if dead:
            step = Estimate(DEAD, 0.3)
        total = _beyond(by_share) + _beyond(by_full) + _beyond(by_lag) + (_DEAD if dead else 0.0)
        far = max(by_share or 0.0, by_full or 0.0, by_lag or 0.0)
        raw.append(Deficit(number, total, step, dead, far=far))
    return sorted((_weighed(case, d, raw) for d in raw), key=lambda d: -d.sure)


def _rise_c(case: Case) -> float:
    """Return by how much the mean of all zones rose above where it began; without end where nothing tells."""
    mean_c = case.measures.trace.temperature_c
    return max(mean_c) - mean_c[0] if mean_c else inf


def _stands_behind(case: Case, zone: int) -> bool:
    """Whether the kiln hardly climbed, with a zone behind all the time and farther than is usual for it."""
    mean_c, signs = case.measures.trace.temperature_c, case.signs
    hours = case.measures.duration_s / 3600.0
    if len(signs.mostly_behind_c) <= zone or not mean_c:
        return False
    if _rise_c(case) > _STANDING_C_PER_H * hours:
        return False
    if case.condition.end == "complete" and case.firing.peak_c > _COLD_C:
        return False
    usual, behind_c = case.memory.zones[zone].behind, signs.behind_zones_c[zone]
    least_c = max(_HELD_BACK_C, usual.mean + usual.spread(_LAG_SPREAD_C), _OF_RISE * (max(mean_c) - mean_c[0]))
    lags = behind_c > least_c and usual.count >= _ENOUGH_KNOWN
    return lags and signs.mostly_behind_c[zone] > _MOSTLY_C


def _weighed(case: Case, deficit: Deficit, all_zones: list[Deficit]) -> Deficit:
    """Return a shortfall with its running sum, and how sure it is against the other zones and the heat balance."""
    others = max(0.0, *(d.log_odds for d in all_zones if d is not deficit))
    apart = deficit.log_odds - others
    running = _FADING * case.memory.zones[deficit.zone].deficit + min(_ONE_FIRING, apart - _STACKING)
    running = max(_LEAST, running)
    sure = running
    if not deficit.dead and _balance_knows(case):
        # The heat balance saw this firing's power and found no step: stacking explains an uneven firing better.
        sure -= _BALANCE_SAYS_NO
    if deficit.dead:
        sure = max(sure, apart - 1.0)
    return replace(deficit, running=running, sure=sure)


def _balance_knows(case: Case) -> bool:
    balance = case.condition.balance
    # "odd" is the balance's own word for a firing it cannot explain.
    if sum(s.probability for s in case.condition.stories if s.kind in ("zone", "all", "odd")) > 0.3:
        return False
    return balance.power_per_loss is not None and balance.power_per_loss.error < 0.04


def unevenness(case: Case) -> float | None:
    """Return how far the worst zone's share of the work is above its usual, in spreads; None where unknown.

    Above 750 deg C where that is known: a leak takes most where the kiln is hottest.
    """
    hot = case.signs.hot_share
    if len(hot) == len(case.memory.zones) > 1:
        peak = case.firing.peak_c
        far = [z.hot_share.distance(s, peak, SHARE, enough=4) for z, s in zip(case.memory.zones, hot, strict=True)]
        known = [each for each in far if each is not None]
        if known:
            return max(known)
    pairs = zip(case.memory.zones, _log_shares(case), strict=False)
    known = [d for m, s in pairs if (d := m.share.distance(s, _SHARE_SPREAD)) is not None]
    return max(known) if known else None


def remember(
    case: Case, zones: tuple[ZoneMemory, ...], found: Sequence[Deficit], *, sound: bool
) -> tuple[ZoneMemory, ...]:
    """Take this firing's lags and full-output shares into what is usual; only of a firing nothing is wrong with."""
    by_zone = {d.zone: d.running for d in found}
    running = [by_zone.get(number, 0.0) for number in range(len(zones))]
    if not sound:
        return tuple(replace(z, deficit=d) for z, d in zip(zones, running, strict=True))
    rows = zip(zones, running, _log_shares(case), _full_beyond(case), _behind(case), strict=True)
    return tuple(
        replace(z, deficit=d, share=z.share.taken(s), full=z.full.taken(f), behind=z.behind.taken(b))
        for z, d, s, f, b in rows
    )


def zone_steps(case: Case, found: Sequence[Deficit]) -> list[Estimate | None]:
    """Return each zone's log power step against its usual, relative to the best zone; None where not known."""
    known = {d.zone: d.step for d in found if d.step is not None}
    if not known:
        # It is known which zone falls short, not by how much.
        worst = found[0].zone if found else -1
        return [_SHORT if i == worst else _AS_USUAL for i in range(len(case.zones))]
    steps = [known.get(number, _AS_USUAL) for number in range(len(case.zones))]
    best = max(step.value for step in steps)
    return [Estimate(step.value - best, step.error) for step in steps]


def sentence(case: Case, deficit: Deficit) -> str:
    """Return in plain words how a zone fell short."""
    name = case.zone_name(deficit.zone)
    stall = case.measures.no_rise
    if deficit.dead and stall is not None and stall.zone == deficit.zone:
        return (
            f"Zone {name} stood at {{c:{stall.at_c:.0f}}} for {stall.minutes:.0f} minutes "
            "with full output and did not rise."
        )
    parts = []
    if deficit.step is not None and not deficit.dead and deficit.step.value < -0.1:
        parts.append(f"needs {100 * (exp(-deficit.step.value) - 1):.0f} % more of the working time than it used to")
    behind = case.signs.behind_zones_c
    if len(behind) > deficit.zone and behind[deficit.zone] > 8.0:
        parts.append(f"lags up to {{dc:{behind[deficit.zone]:.0f}}} behind the others")
    full = case.measures.zone_full_share
    if len(full) > deficit.zone and full[deficit.zone] > min(full) + 0.15:
        parts.append(f"runs at full output for {100 * full[deficit.zone]:.0f} % of the heating")
    return f"Zone {name} {' and '.join(parts) or 'falls short of the others'}."

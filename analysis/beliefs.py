"""What is believed of a kiln before its first firing, and how that belief goes from one firing to the next.

Priors and walks of the state stand here, each with the reason for its size. Errors and odds are in natural logarithms.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import log, log1p

import numpy as np

from analysis.grid import FloatArray
from analysis.power_filter import Belief, Hypothesis, Pace, merge
from analysis.state_vector import Layout

_FIRST_WALL = (-1.2, 0.3)
_FIRST_CAPACITY = (-1.6, 0.5)
"""Log of A and C as shares of rated power, before any firing: 65-76 mm brick loses 0.4-0.6 of the rated power at
1200 deg C (facts: 65 mm, k 0.17 W/mK, 2.1 m2, 11.5 kW: 0.54), so A is about 0.3; a load climbs at 100 deg C per
hour for about a fifth of it. Wide enough for kilns half as good or bad again."""

_FIRST_GAPS = (0.05, 0.06)
"""Heat radiated through gaps, as a share of what the wall conducts at 1200 deg C: a slit of half a millimetre round a
lid of 60 cm is 9 cm2, through which a black body of that heat sends 0.25 kW (Stefan and Boltzmann), a twentieth of the
5 kW or so of a usual wall; a peephole as much. The spread stands for what the constants of the brick get wrong, too."""

FIRST_DRIFT: dict[Pace, tuple[float, float, float]] = {
    "steady": (-0.0003, 0.0003, 0.65),
    "wearing": (-0.0025, 0.0015, 0.35),
}
"""Mean, spread and odds of the drift per firing. Elements lose 10 % in some 350 firings at cone 6 and below, in 35
to 80 at cone 10 or where something shortens their life: 0.0003 and 0.0013-0.003 (kiln makers' and technicians'
figures)."""

_QUICKENS_EVERY, _QUICKENS_ODDS = 4, 0.012
"""Odds that a set which wore slowly begins to wear fast, per so many firings: once in some 300 firings a kiln's use
changes (hotter programmes, another body), or the oxide of old wire begins to break away (alloy handbook: resistance
rises slowly at first, then fast)."""

_EXCHANGE = (0.8, 0.4)
"""Radiation between zones, 4 sigma T^3 times a cross-section of 0.2 m2 of fair emissivity at 1273 K, is 80-90 W per deg
C: 0.8 of 10 kW per 100 deg C."""

_ANY_CURRENT = (3.5, 2.0)
"""Log of the amps of a kiln as first seen: 5 to 250 A."""

_SLOW_SUPPLY = 0.007
_SLOW_SUPPLY_KEPT = 0.96
"""A supply also drifts over weeks (season, neighbours): some 0.4 % in volts, half forgotten in 17 firings."""

_DRIFT_WALK: dict[Pace, float] = {"steady": 1.0e-4, "wearing": 2.0e-4}
"""A wearing set wears faster and faster near its end (alloy handbook)."""

_LEVEL_WALK = 5.0e-4
_WALL_WALK = 5.0e-4
_GAPS_WALK = 1.0e-3
_CAPACITY_WALK = 0.01
_SHARE_WALK = 1.0e-3
"""Changes per firing that are neither ageing nor faults: brick and furniture age too, little by little."""

_ZONE_SHARE = 0.12
"""Zones are built to do their share of the work alike, within a tenth or so."""

_WALL_OFFSET = 0.012
_WALL_OFFSET_UNCOOLED = 0.07
_WALL_OFFSET_PER_C = 2.5e-4
"""Programmes differ in what the wall model misses (vent, damp, humps of stored heat) by about a per cent; by more
where the log ends at the peak, as then only the curvature of the climb tells wall from load; and by more the farther
their peaks lie apart: the growth of a brick's conductivity is known to 0.0003 per deg C (``analysis.wall_heat``), half
of which comes into the flux, and what is lost as radiation through seals grows faster still."""


_WALL_OFFSET_GUESSED = 0.04
"""With temperature alone full output is a guess from the climb's shape, which leans by programme. A calibration on
simulated kilns, not physics."""

_CAPACITY_OFFSET = 0.35
"""Usual loads of two programmes differ about as much as those of one."""

COUNTS = -4.0
"""Log weight below which a history is not branched again (2 % of the best)."""


def _first_belief(layout: Layout, pace: Pace) -> Belief:
    mean = np.zeros(layout.size)
    spread = np.zeros(layout.size)
    spread[: layout.zones] = 1e-3
    mean[layout.drift], spread[layout.drift], odds = FIRST_DRIFT[pace]
    spread[layout.slow_supply] = _SLOW_SUPPLY
    mean[layout.current], spread[layout.current] = _ANY_CURRENT
    mean[layout.exchange], spread[layout.exchange] = _EXCHANGE
    mean[layout.wall], spread[layout.wall] = _FIRST_WALL
    mean[layout.capacity], spread[layout.capacity] = _FIRST_CAPACITY
    mean[layout.gaps], spread[layout.gaps] = _FIRST_GAPS
    spread[layout.share : layout.share + layout.zones] = _ZONE_SHARE
    story = Hypothesis(0.0, (), (), pace=pace)
    return Belief(log(odds), mean, np.diag(spread**2 + _unknown_offsets(layout)), story)


def _unknown_offsets(layout: Layout) -> FloatArray:
    """Variances (size,) of the offsets of programmes of which nothing has been seen, 0 for all else."""
    variances = np.zeros(layout.size)
    variances[layout.wall_offset : layout.capacity_offset] = _WALL_OFFSET**2
    variances[layout.capacity_offset :] = _CAPACITY_OFFSET**2
    return variances


def first_beliefs(layout: Layout) -> list[Belief]:
    """What is believed of a kiln of which nothing has been seen: it wears slowly, or fast."""
    return [_first_belief(layout, pace) for pace in FIRST_DRIFT]


def resized(layout: Layout, belief: Belief, slots: int) -> Belief:
    """The belief of a state with ``slots`` programme slots in one with as many as ``layout`` has."""
    kept = min(slots, layout.slots)
    begin = layout.wall_offset
    held = np.r_[: begin + kept, begin + slots : begin + slots + kept]
    place = np.r_[: begin + kept, layout.capacity_offset : layout.capacity_offset + kept]
    mean, covariance = np.zeros(layout.size), np.diag(_unknown_offsets(layout))
    mean[place] = belief.mean[held]
    covariance[np.ix_(place, place)] = belief.covariance[np.ix_(held, held)]
    return belief.moved(mean, covariance)


def fresh_slot(
    layout: Layout,
    belief: Belief,
    slot: int,
    *,
    cooled: bool,
    guessed: bool,
    near: int | None = None,
    apart_c: float = 0.0,
) -> Belief:
    """Forget what was known of a programme slot: it is given to another programme.

    ``cooled`` says that its logs hold the cooling, ``guessed`` that they hold nothing but temperature. In the wall's
    conductance it begins where the slot ``near`` stands, the programme whose peak is nearest, ``apart_c`` from its own.
    """
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    wall, capacity = layout.wall_offset + slot, layout.capacity_offset + slot
    for at in (wall, capacity):
        mean[at] = 0.0
        covariance[at, :] = 0.0
        covariance[:, at] = 0.0
    if near is not None:
        beside = layout.wall_offset + near
        mean[wall] = mean[beside]
        covariance[wall] = covariance[beside]
        covariance[:, wall] = covariance[:, beside]
        covariance[wall, wall] = covariance[beside, beside]
    spread = _WALL_OFFSET_GUESSED if guessed else _WALL_OFFSET if cooled else _WALL_OFFSET_UNCOOLED
    covariance[wall, wall] += spread**2 + (_WALL_OFFSET_PER_C * apart_c) ** 2
    covariance[capacity, capacity] = _CAPACITY_OFFSET**2
    return belief.moved(mean, covariance)


def aged(layout: Layout, beliefs: Sequence[Belief]) -> list[Belief]:
    """The beliefs one firing later: every zone has drifted."""
    zones, drift, slow = layout.zones, layout.drift, layout.slow_supply
    means, covariances = np.array([b.mean for b in beliefs]), np.array([b.covariance for b in beliefs])
    means[:, :zones] += means[:, drift, None]
    # poor volts stay until someone sees to them
    kept = np.array([1.0 if b.story.jump == "supply" else _SLOW_SUPPLY_KEPT for b in beliefs])
    means[:, slow] *= kept
    # the same move on both sides: each zone takes up the drift, part of the slow supply is forgotten
    covariances[:, :zones] += covariances[:, drift, None]
    covariances[:, :, :zones] += covariances[:, :, drift, None]
    covariances[:, slow] *= kept[:, None]
    covariances[:, :, slow] *= kept[:, None]
    walked = [_walked(layout, b.story.pace) for b in beliefs]
    covariances.reshape(len(beliefs), -1)[:, :: layout.size + 1] += walked
    return [b.moved(mean, covariance) for b, mean, covariance in zip(beliefs, means, covariances, strict=True)]


@lru_cache(maxsize=16)
def _walked(layout: Layout, pace: Pace) -> FloatArray:
    """Variances (size,) that one firing adds to what is known of the state."""
    noise = np.zeros(layout.size)
    noise[: layout.zones] = _LEVEL_WALK
    noise[layout.drift] = _DRIFT_WALK[pace]
    noise[layout.slow_supply] = _SLOW_SUPPLY * np.sqrt(1.0 - _SLOW_SUPPLY_KEPT**2)
    noise[layout.wall] = _WALL_WALK
    noise[layout.gaps] = _GAPS_WALK
    noise[layout.capacity] = _CAPACITY_WALK
    noise[layout.share : layout.share + layout.zones] = _SHARE_WALK
    return noise**2


def quickened(layout: Layout, beliefs: Sequence[Belief], index: int) -> list[Belief]:
    """The beliefs with the chance, before firing number ``index``, that a slow wear has become a fast one."""
    if index % _QUICKENS_EVERY:
        return list(beliefs)
    drift, spread, _ = FIRST_DRIFT["wearing"]
    at = layout.drift
    out: list[Belief] = []
    for belief in beliefs:
        if belief.story.pace != "steady" or belief.log_weight < COUNTS:
            out.append(belief)
            continue
        mean, covariance = belief.mean.copy(), belief.covariance.copy()
        mean[at] = drift
        covariance[at, :] = 0.0
        covariance[:, at] = 0.0
        covariance[at, at] = spread**2
        out.append(belief.weighed(belief.log_weight + log1p(-_QUICKENS_ODDS)))
        log_weight = belief.log_weight + log(_QUICKENS_ODDS)
        out.append(Belief(log_weight, mean, covariance, replace(belief.story, pace="wearing")))
    return merge(out)

"""Rival histories of a kiln: what is believed at first, how a firing weighs on each, and what may have happened.

All priors of the filter stand here, each with the reason for its size. Errors and odds are in natural logarithms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import hypot, log, log1p, sqrt
from typing import Literal

import numpy as np

from analysis.balance import KeptPace
from analysis.grid import FloatArray
from analysis.heat_model import Blur, Current, FiringModel, Layout, heat_rows, kept_margin, zone_rows
from analysis.jumps import jumps, loss_odds, share_strain, strained
from analysis.measures import Measures
from analysis.power_filter import Belief, Hypothesis, Pace, Posterior, censored, gauss_newton, merge
from config.kiln import Kiln

_FIRST_WALL = (-1.2, 0.3)
_FIRST_CAPACITY = (-1.6, 0.5)
"""Log of A and C as shares of rated power, before any firing: 65-76 mm brick loses 0.4-0.6 of the rated power at
1200 deg C (facts: 65 mm, k 0.17 W/mK, 2.1 m2, 11.5 kW: 0.54), so A is about 0.3; a load climbs at 100 deg C per
hour for about a fifth of it. Wide enough for kilns half as good or bad again."""

_FIRST_DRIFT: dict[Pace, tuple[float, float, float]] = {
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

_DAY_VOLTS = 0.008
"""Error of a current for the volts of the day, where they are not logged: supplies are known that wander by 1 to 2 % in
power from firing to firing, so by half of it in current."""

_SLOW_SUPPLY = 0.007
_SLOW_SUPPLY_KEPT = 0.96
"""A supply also drifts over weeks (season, neighbours): some 0.4 % in volts, half forgotten in 17 firings."""

_DRIFT_WALK = 1.0e-4
_LEVEL_WALK = 5.0e-4
_WALL_WALK = 5.0e-4
_CAPACITY_WALK = 0.01
_SHARE_WALK = 1.0e-3
"""Changes per firing that are neither ageing nor faults: brick and furniture age too, little by little."""

_ZONE_SHARE = 0.12
"""Zones are built to do their share of the work alike, within a tenth or so."""

_WALL_OFFSET = 0.012
_WALL_OFFSET_UNCOOLED = 0.07
"""Programmes differ in what the wall model misses (vent, damp, humps of stored heat) by about a per cent; by more
where the log ends at the peak, as then only the curvature of the climb tells wall from load."""


_WALL_OFFSET_GUESSED, _DAY_GUESSED = 0.04, 0.02
"""With temperature alone full output is a guess from the climb's shape: it leans by programme, and from day to day."""

_CAPACITY_OFFSET = 0.35
_DAY_LOAD = 0.35
"""Loads of one programme differ by 25-50 % from firing to firing (weighed loads of studios vary as much)."""

_DAY_SUPPLY = 0.0105
"""A supply wanders by about 0.4 % from firing to firing, so power by 0.9 %; the rest is the balance's own error."""

_DAY_SUPPLY_KNOWN = 0.006
_SHARE_ERROR = 0.05
"""How a load is stacked shifts the zones' shares of the work by some five per cent."""

_PASSING_ODDS, _CALM_PASSING_ODDS = 0.008, 0.004
_ODD_FIRING_ODDS, _ODD_GUESS_ODDS = 0.003, 0.08
"""Prior odds per firing of a loose connection (fewer where the climb does not swing) and of a bad log, beside those of
``analysis.jumps``; and that a firing logged with nothing but temperature is misread, as when it was at full output is
a guess from its shape."""

_PASSING_SIZE = 0.15
_MANY_TURNS = 5
"""Where amps are logged power does not pass away for one firing unseen: its climb must have turned this often."""

_ODD_SCALE = 3.0

_FIRST_JUMP, _FIRST_ODD = 4, 2

_COUNTS = -4.0
"""Log weight below which a history is not branched again (2 % of the best)."""


def _first_belief(layout: Layout, pace: Pace) -> Belief:
    mean = np.zeros(layout.size)
    spread = np.zeros(layout.size)
    spread[: layout.zones] = 1e-3
    mean[layout.drift], spread[layout.drift], odds = _FIRST_DRIFT[pace]
    spread[layout.slow_supply] = _SLOW_SUPPLY
    mean[layout.current], spread[layout.current] = _ANY_CURRENT
    mean[layout.exchange], spread[layout.exchange] = _EXCHANGE
    mean[layout.wall], spread[layout.wall] = _FIRST_WALL
    mean[layout.capacity], spread[layout.capacity] = _FIRST_CAPACITY
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
    return [_first_belief(layout, pace) for pace in _FIRST_DRIFT]


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


def fresh_slot(layout: Layout, belief: Belief, slot: int, *, cooled: bool, guessed: bool) -> Belief:
    """Forget what was known of a programme slot: it is given to another programme.

    ``cooled`` says that its logs hold the cooling, ``guessed`` that they hold nothing but temperature.
    """
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    spread = _WALL_OFFSET_GUESSED if guessed else _WALL_OFFSET if cooled else _WALL_OFFSET_UNCOOLED
    for at, size in ((layout.wall_offset + slot, spread), (layout.capacity_offset + slot, _CAPACITY_OFFSET)):
        mean[at] = 0.0
        covariance[at, :] = 0.0
        covariance[:, at] = 0.0
        covariance[at, at] = size**2
    return belief.moved(mean, covariance)


def aged(layout: Layout, belief: Belief) -> Belief:
    """The belief one firing later: every zone has drifted."""
    zones, drift, slow = layout.zones, layout.drift, layout.slow_supply
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    mean[:zones] += mean[drift]
    # poor volts stay until someone sees to them
    kept = 1.0 if belief.story.jump == "supply" else _SLOW_SUPPLY_KEPT
    mean[slow] *= kept
    # the same move on both sides: each zone takes up the drift, part of the slow supply is forgotten
    covariance[:zones] += covariance[drift]
    covariance[:, :zones] += covariance[:, drift, None]
    covariance[slow] *= kept
    covariance[:, slow] *= kept
    covariance.flat[:: layout.size + 1] += _walked(layout)
    return belief.moved(mean, covariance)


@lru_cache(maxsize=8)
def _walked(layout: Layout) -> FloatArray:
    """Variances (size,) that one firing adds to what is known of the state."""
    noise = np.zeros(layout.size)
    noise[: layout.zones] = _LEVEL_WALK
    noise[layout.drift] = _DRIFT_WALK
    noise[layout.slow_supply] = _SLOW_SUPPLY * np.sqrt(1.0 - _SLOW_SUPPLY_KEPT**2)
    noise[layout.wall] = _WALL_WALK
    noise[layout.capacity] = _CAPACITY_WALK
    noise[layout.share : layout.share + layout.zones] = _SHARE_WALK
    return noise**2


def quickened(layout: Layout, beliefs: Sequence[Belief], index: int) -> list[Belief]:
    """The beliefs with the chance, before firing number ``index``, that a slow wear has become a fast one."""
    if index % _QUICKENS_EVERY:
        return list(beliefs)
    drift, spread, _ = _FIRST_DRIFT["wearing"]
    at = layout.drift
    out: list[Belief] = []
    for belief in beliefs:
        if belief.story.pace != "steady" or belief.log_weight < _COUNTS:
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


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What one firing shows: its rows, and the pace it kept below full output."""

    model: FiringModel
    kept: KeptPace | None
    slot: int
    shares: FloatArray
    guessed: bool = False
    calm: bool = False
    unbroken: bool = False

    @property
    def empty(self) -> bool:
        """True if it shows nothing."""
        return self.model.empty and self.kept is None


def shown_by(layout: Layout, measures: Measures, slot: int, shares: FloatArray) -> Shown:
    """What this firing offers the filter."""
    whole = None if measures.heat is None else heat_rows(measures.heat, shares)
    log_shares = None
    if len(measures.zone_share) == shares.size > 1 and min(measures.zone_share) > 0.0:
        logs = np.log(np.asarray(measures.zone_share))
        log_shares = logs - logs.mean()
    by_zone = [None if zone is None else zone_rows(zone) for zone in measures.zone_heat]
    if len(by_zone) != layout.zones:
        by_zone = []
    logged = measures.output in ("duty", "on-off")
    current = _current(measures)
    model = FiringModel(layout, slot, shares, whole, log_shares, _SHARE_ERROR, by_zone, current, output_is_data=logged)
    calm = max(measures.signs.swings, default=0) < _MANY_TURNS
    return Shown(
        model,
        measures.kept,
        slot,
        shares,
        guessed=measures.output == "none",
        calm=calm,
        unbroken=calm and current is not None,
    )


def _current(measures: Measures) -> Current | None:
    told = measures.full_current
    if told is None:
        return None
    if measures.supply_volts is not None:
        return Current(told.value, told.error, of_supply=0.0)
    return Current(told.value, hypot(told.error, _DAY_VOLTS), of_supply=0.5)


Passing = Literal["none", "passing", "odd"]


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """A belief to be weighed by this firing, with the day's standard error of the supply.

    ``blur`` takes the firing's errors wider; ``bound`` says whether a kept pace counts. ``log_prior`` and ``kind`` are
    those of the branch it makes.
    """

    belief: Belief
    supply: float
    log_prior: float = 0.0
    kind: Passing = "none"
    blur: float = 1.0
    bound: bool = True


def _weigh(layout: Layout, asked: Sequence[_Asked], shown: Shown) -> list[Posterior]:
    """Update beliefs, each augmented by the day's supply and load, by one firing."""
    size, count = layout.size, len(asked)
    means = np.zeros((count, size + 2))
    covariances = np.zeros((count, size + 2, size + 2))
    for at, each in enumerate(asked):
        means[at, :size] = each.belief.mean
        covariances[at, :size, :size] = each.belief.covariance
        covariances[at, size, size] = each.supply**2
    covariances[:, size + 1, size + 1] = _DAY_LOAD**2
    if shown.model.empty:
        posteriors = [Posterior(means[at], covariances[at], 0.0, 0.0, 0) for at in range(count)]
    else:
        strains = np.array([share_strain(layout, each.belief) for each in asked])
        blur = Blur(np.array([each.blur for each in asked]), np.hypot(1.0, strains / _SHARE_ERROR))
        posteriors = gauss_newton(means, covariances, shown.model, blur)
    if shown.kept is None:
        return posteriors
    return [
        _kept(layout, posterior, shown, shown.kept) if each.bound else posterior
        for each, posterior in zip(asked, posteriors, strict=True)
    ]


def _kept(layout: Layout, posterior: Posterior, shown: Shown, kept: KeptPace) -> Posterior:
    margin, gradient = kept_margin(layout, posterior.mean, shown.slot, shown.shares, kept)
    return censored(posterior, margin, gradient)


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """One weighed continuation of a history: the updated belief, and the passing change of this firing alone.

    ``load`` is the firing's heat capacity (log) against its programme's usual one.
    ``passing_kind``: "passing" for a change of power in this firing only (a loose connection), "odd" for a firing
    whose balance is taken with larger errors (a bad log).
    """

    belief: Belief
    passing: float = 0.0
    passing_error: float = 0.0
    passing_kind: Passing = "none"
    load: float = 0.0
    load_error: float = 0.0


def _branch(layout: Layout, asked: _Asked, posterior: Posterior, index: int) -> Branch:
    size, belief, kind = layout.size, asked.belief, asked.kind
    weight = belief.log_weight + asked.log_prior + posterior.log_evidence
    mean, covariance = posterior.mean[:size], posterior.covariance[:size, :size]
    if kind == "none" and belief.story.jump_firing == index:
        weight += loss_odds(layout, belief.story, mean, covariance)
    updated = Belief(weight, mean, covariance, belief.story)
    load = float(posterior.mean[layout.load])
    load_error = sqrt(max(float(posterior.covariance[layout.load, layout.load]), 0.0))
    if kind != "passing":
        return Branch(updated, passing_kind=kind, load=load, load_error=load_error)
    error = sqrt(float(posterior.covariance[layout.supply, layout.supply]))
    change = min(float(posterior.mean[layout.supply]), 0.0)
    return Branch(updated, change, error, kind, load, load_error)


def _rivals(
    kiln: Kiln, layout: Layout, belief: Belief, shown: Shown, index: int, supply: float, *, settled: bool
) -> list[_Asked]:
    """Every other explanation of a firing that surprises this history: a jump, a passing change, an odd log."""
    rivals = [
        _Asked(jumped, strained(layout, jumped, shown.shares, index, supply), log_prior)
        for jumped, log_prior in jumps(
            kiln, layout, belief, shown.shares, index, settled=settled, amps=shown.model.tells_volts
        )
    ]
    return rivals + _odd_ones(belief, shown, supply)


def _odd_ones(belief: Belief, shown: Shown, supply: float) -> list[_Asked]:
    """What may have been special about this firing alone: power that went for a while, or a log that misleads."""
    rivals = []
    odd = _ODD_GUESS_ODDS if shown.guessed else _ODD_FIRING_ODDS
    # with unbroken amps it was not the elements' power that was less for once, whatever else it was
    kind: Passing = "odd" if shown.unbroken else "passing"
    passing = _CALM_PASSING_ODDS if shown.calm else _PASSING_ODDS
    rivals.append(_Asked(belief, _PASSING_SIZE, log(passing), kind))
    rivals.append(_Asked(belief, supply, log(odd), "odd", _ODD_SCALE, bound=False))
    return rivals


def _surprised(belief: Belief, posterior: Posterior) -> bool:
    """True if the firing is unlike what a history that counts leads one to expect: rivals are worth weighing."""
    return belief.log_weight >= _COUNTS and posterior.surprise >= posterior.rows + 3.0 * sqrt(posterior.rows)


def continuations(
    kiln: Kiln,
    layout: Layout,
    beliefs: Sequence[Belief],
    shown: Shown,
    index: int,
    *,
    supply_known: bool,
    settled: bool,
    uneven: bool,
) -> list[Branch]:
    """Every history continued through firing number ``index``, weighed (weights not normalised).

    ``settled`` says that the kiln is known well enough for sudden changes to be told, ``uneven`` that a zone stays
    behind the others so far that its own can be told anyway.
    """
    if shown.empty:
        return [Branch(belief) for belief in beliefs]
    supply = _DAY_GUESSED if shown.guessed else _DAY_SUPPLY_KNOWN if supply_known else _DAY_SUPPLY
    asked = [_Asked(belief, strained(layout, belief, shown.shares, index, supply)) for belief in beliefs]
    plain = _weigh(layout, asked, shown)
    branches = [[_branch(layout, each, posterior, index)] for each, posterior in zip(asked, plain, strict=True)]
    if index >= _FIRST_ODD:
        known = (settled or uneven) and index >= _FIRST_JUMP
        rivals = [
            (at, rival)
            for at, belief in enumerate(beliefs)
            if _surprised(belief, plain[at])
            for rival in (
                _rivals(kiln, layout, belief, shown, index, supply, settled=settled)
                if known
                else _odd_ones(belief, shown, supply)[1:]
                if shown.guessed
                else []
            )
        ]
        weighed = _weigh(layout, [rival for _, rival in rivals], shown) if rivals else []
        for (at, rival), posterior in zip(rivals, weighed, strict=True):
            branches[at].append(_branch(layout, rival, posterior, index))
    return [branch for of_belief in branches for branch in of_belief]

"""Sudden changes a history may branch into: a single fault of the circuits, a loss of any size, a leak, a return.

Their prior odds and sizes stand here, each with its reason. Errors and odds are in natural logarithms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import erfc, exp, hypot, log, sqrt

import numpy as np

from analysis.circuit_faults import fault_steps, prior_of
from analysis.climb import Estimate
from analysis.grid import FloatArray
from analysis.power_filter import Belief, Hypothesis, JumpKind
from analysis.state_vector import Layout, log_power
from config.kiln import Circuit, Kiln, Supply

FAULT_ODDS = 0.004
JUMP_ODDS = 0.002
LEAK_ODDS = 0.002
"""Prior odds per firing: a single fault of elements, relays or lines every few years of use; some other sudden loss,
and a leak, half as often. They set how much evidence a jump needs."""

_FAULT_SPREAD = 0.02
"""A single fault's step follows from the circuit's ohms, known to some 5 % each (wire tolerance)."""

_JUMP = (-0.4, 0.25)
_LEAK = (0.08, 0.12)
_LEAK_THROUGH_GAPS = (0.2, 0.12)
"""Mean and spread of a sudden loss of power of unknown size (log); and of a sudden growth of what the wall conducts
(log: broken brick) and of what goes through gaps (a share, as in ``analysis.beliefs``: a lid or a door that stands off
by 2 mm more). Mostly it is a gap that opens. Neither goes the other way by itself; power that comes back is a history
of its own (``_BACK_ODDS``)."""

_LEAK_ALL_ALONG = 0.02
"""Odds that what was taken for lost power was a leak from the first, once the cooling speaks for one: heatings part the
two only slowly, and the leak's own history was given up at weights of this order (``analysis.power_filter``)."""

SUPPLY_ODDS = 0.002
_SAG = (-0.15, 0.1)
"""Lasting poor volts: log of the power they take, 2.5 to 12 % of the volts. Only amps tell them from lost elements, as
current goes with the volts and power with their square."""

_SAG_ODDS = 0.001
"""Prior odds per firing of poor volts where no amps tell: they take from all zones alike, and less than most faults."""

_RENEWED_ODDS = 0.001
_RENEWED_FROM, _RENEWED_SPREAD = -0.05, 0.03
"""Elements are now and then replaced without a note: then an aged kiln is back at its first power, give or take."""

_BACK_ODDS = 0.01
_BACK_SPREAD = 0.02

_UNEVEN, _UNEVEN_DAY, _UNEVEN_FIRST = 0.1, 0.1, 0.2
"""Share of a fault's step by which the thermocouple may misjudge it: with part of the elements dead the chamber heats
unevenly. One part goes on alike until repaired, another differs from load to load and from programme to programme;
the first faulted firing, with programmes not seen under the fault yet, is misread most."""

_UNEVEN_SHARE, _MOST_APART = 0.3, 0.7
"""Share of a zone's step by which its work may be off, as long as the fault stands and again from load to load: the
other zones lend it heat, or wait for it. So shares of the output say which zone it is, not well by how much."""

_LEAST_LOSS = 0.2
_OPEN_SIZE = 0.1
_HIT = 0.02
_NEVER = 1e-6


def jumps(
    kiln: Kiln,
    layout: Layout,
    belief: Belief,
    shares: FloatArray,
    index: int,
    *,
    settled: bool,
    amps: bool,
    bent: bool = False,
) -> list[tuple[Belief, float]]:
    """Beliefs in which something changed just before this firing, with the log prior of each.

    First every single fault the circuits of the register allow, each with the step the network predicts; then
    a change of any size in one zone or in all; then a leak. Until the kiln is ``settled`` only one zone against the
    others can be told. ``amps`` says that a current is logged without volts: that tells a poor supply. ``bent`` says
    that the kiln cooled as with a leak: then what was taken for lost power may have been the leak.
    """
    zones = layout.zones
    out: list[tuple[Belief, float]] = []
    before = tuple(belief.mean[:zones].tolist())
    wall_before, gaps_before = float(belief.mean[layout.wall]), float(belief.mean[layout.gaps])
    standing = belief.story.standing + jump_size(layout, belief, shares, index)

    def story(kind: JumpKind, zone: int | None, fault: str = "") -> Hypothesis:
        return Hypothesis(  # ``dataclasses.replace`` takes several times as long
            log_weight=0.0,
            mean=(),
            covariance=(),
            jump=kind,
            jump_firing=index,
            jump_zone=zone,
            before=before,
            pace=belief.story.pace,
            fault=fault,
            wall_before=wall_before,
            gaps_before=gaps_before,
            standing=standing,
            renewed_firing=belief.story.renewed_firing,
            bend=belief.story.bend.leaking() if kind == "leak" else belief.story.bend,
        )

    def add(told: Hypothesis, mean: FloatArray, covariance: FloatArray, odds: float) -> None:
        out.append((Belief(belief.log_weight, mean, covariance, told), log(odds)))

    def moved(steps: FloatArray, directions: Sequence[slice], size: float) -> tuple[FloatArray, FloatArray]:
        return _moved(layout, belief, shares, steps, directions, size)

    unit = np.eye(layout.size)
    for fault in _distinct_faults(kiln, zones):
        full = np.zeros(layout.size)
        full[:zones] = fault.steps
        kind: JumpKind = "zone" if zones > 1 and len(fault.hit) == 1 else "all"
        if kind == "all" and not settled:
            continue
        told = story(kind, fault.hit[0] if kind == "zone" else None, fault.label)
        add(told, *moved(full, [_alone(n) for n in fault.hit], _FAULT_SPREAD), FAULT_ODDS * fault.share)
    everything = unit[:zones].sum(axis=0)
    if settled:
        add(story("all", None), *moved(_JUMP[0] * everything, [slice(zones)], _JUMP[1]), JUMP_ODDS)
        if not amps:
            add(story("all", None), *moved(_SAG[0] * everything, [slice(zones)], _SAG[1]), _SAG_ODDS)
        for told, steps, odds in _leaks(layout, belief.story, story("leak", None), belief.mean, bent=bent):
            mean, covariance = moved(steps, [_alone(layout.wall)], _LEAK[1])
            covariance[layout.gaps, layout.gaps] += _LEAK_THROUGH_GAPS[1] ** 2
            add(told, mean, covariance, odds)
    if zones > 1:
        for zone in range(zones):
            add(story("zone", zone), *moved(_JUMP[0] * unit[zone], [_alone(zone)], _JUMP[1]), JUMP_ODDS / zones)
    volts = unit[layout.slow_supply]
    if settled and amps:
        add(story("supply", None), *moved(_SAG[0] * volts, [_alone(layout.slow_supply)], _SAG[1]), SUPPLY_ODDS)
    return out + _returns(layout, belief, shares, index, settled=settled)


def _leaks(
    layout: Layout, earlier: Hypothesis, leak: Hypothesis, mean: FloatArray, *, bent: bool
) -> list[tuple[Hypothesis, FloatArray, float]]:
    """Stories of a ``leak``, with their steps and odds: one that begins now, and one taken for lost power until now."""
    more = np.zeros(layout.size)
    more[layout.wall] = _LEAK[0]
    more[layout.gaps] = _LEAK_THROUGH_GAPS[0]
    out = [(leak, more, LEAK_ODDS)]
    if bent and earlier.before and earlier.jump in ("zone", "all"):
        back = more.copy()
        back[: layout.zones] = np.maximum(np.asarray(earlier.before) - mean[: layout.zones], 0.0)
        since = replace(leak, jump_firing=earlier.jump_firing, before=earlier.before, standing=earlier.standing)
        out.append((since, back, _LEAK_ALL_ALONG))
    return out


def _returns(
    layout: Layout, belief: Belief, shares: FloatArray, index: int, *, settled: bool
) -> list[tuple[Belief, float]]:
    """Beliefs in which power came back without a note: poor volts, a fault mended, or a set of new elements."""
    zones, unit, story = layout.zones, np.eye(layout.size), belief.story
    out: list[tuple[Belief, float]] = []

    def add(told: Hypothesis, steps: FloatArray, directions: Sequence[slice], size: float, odds: float) -> None:
        mean, covariance = _moved(layout, belief, shares, steps, directions, size)
        out.append((Belief(belief.log_weight, mean, covariance, told), log(odds)))

    volts = unit[layout.slow_supply]
    if story.jump == "supply":
        back = -float(belief.mean[layout.slow_supply]) * volts
        add(_without_jump(story), back, [_alone(layout.slow_supply)], _BACK_SPREAD, _BACK_ODDS)
    level = _over_reference(layout, belief, shares)
    if settled and level < _RENEWED_FROM:
        fresh = replace(_without_jump(story), standing=0.0, renewed_firing=index)
        everything = unit[:zones].sum(axis=0)
        add(fresh, -level * everything, [slice(zones)], _RENEWED_SPREAD, _RENEWED_ODDS)
    if story.before and story.jump in ("zone", "all"):
        back = np.zeros(layout.size)
        back[:zones] = np.maximum(np.asarray(story.before) - belief.mean[:zones], 0.0)
        add(_without_jump(story), back, [_alone(zone) for zone in range(zones)], _BACK_SPREAD, _BACK_ODDS)
    return out


def _alone(at: int) -> slice:
    """The one entry ``at`` of the state."""
    return slice(at, at + 1)


def _moved(
    layout: Layout,
    belief: Belief,
    shares: FloatArray,
    steps: FloatArray,
    directions: Sequence[slice],
    size: float,
) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance after ``steps`` known to within ``size``: each of ``directions`` moves as one."""
    zones = layout.zones
    by_zone = steps[:zones].tolist()
    covariance = belief.covariance.copy()
    for direction in directions:
        covariance[direction, direction] += size**2
    if len(set(by_zone)) > 1:
        # where the size is open, the prior's mean is no measure of it: half of it is enough to start with
        apart = (steps[:zones].max() - steps[:zones]) * (1.0 if size < _OPEN_SIZE else 0.5)
        variances = covariance.reshape(-1)[:: layout.size + 1]
        variances[layout.share : layout.share + zones] += uneven_share(apart) ** 2
    whole = sum(share * (exp(step) - 1.0) for share, step in zip(shares.tolist(), by_zone, strict=True))
    covariance[layout.wall, layout.wall] += (_UNEVEN * min(-whole, 0.5)) ** 2 if whole < 0.0 else 0.0
    return belief.mean + steps, covariance


def _over_reference(layout: Layout, belief: Belief, shares: FloatArray) -> float:
    """Return the whole kiln's log power over its reference."""
    return log_power(belief.mean[: layout.zones].tolist(), shares) - float(belief.mean[layout.reference])


def _without_jump(story: Hypothesis) -> Hypothesis:
    return replace(story, jump="none", jump_firing=None, jump_zone=None, before=(), fault="")


def jump_size(layout: Layout, belief: Belief, shares: FloatArray, index: int) -> float:
    """Log step of the whole kiln's power at the history's latest jump, ageing since then taken off; 0 without one."""
    story = belief.story
    if story.jump not in ("zone", "all") or story.jump_firing is None or not story.before:
        return 0.0
    now, then = log_power(belief.mean[: layout.zones].tolist(), shares), log_power(story.before, shares)
    return now - then - float(belief.mean[layout.drift]) * (index - story.jump_firing)


def loss_odds(layout: Layout, story: Hypothesis, mean: FloatArray, covariance: FloatArray) -> float:
    """Return the log probability that the jump a history has just made takes power or heat, as such changes do.

    One of any size is a Gaussian, and a surprise the other way would pull it over: power does not grow by itself. What
    comes back is a history of its own, and single faults have their size from the circuits.
    """
    if story.fault or story.jump == "none":
        return 0.0
    if story.jump == "all":
        part = slice(layout.zones)
        size = sum(story.before) / layout.zones - float(mean[part].sum()) / layout.zones
        variance = float(covariance[part, part].sum()) / layout.zones**2
        return _log_chance(size, variance)
    if story.jump == "zone" and story.jump_zone is not None:
        at, size = story.jump_zone, story.before[story.jump_zone] - float(mean[story.jump_zone])
    elif story.jump == "leak":
        return _log_chance(*_leaked(layout, story, mean, covariance))
    else:
        at, size = layout.slow_supply, -float(mean[layout.slow_supply])
    return _log_chance(size, float(covariance[at, at]))


def _leaked(layout: Layout, story: Hypothesis, mean: FloatArray, covariance: FloatArray) -> tuple[float, float]:
    """Return by how much the heat loss near 1200 deg C has grown since a history's leak (log), and the variance."""
    through = (float(mean[layout.gaps]), story.gaps_before or 0.0)
    now, before = (max(1.0 + gaps, _LEAST_LOSS) for gaps in through)
    at, slopes = [layout.wall, layout.gaps], np.array([1.0, 1.0 / now])
    size = float(mean[layout.wall]) - (story.wall_before or 0.0) + log(now / before)
    return size, float(slopes @ covariance[np.ix_(at, at)] @ slopes)


def leak_size(layout: Layout, belief: Belief) -> Estimate:
    """Return by how much the heat loss near 1200 deg C has grown since the leak a history assumes (log)."""
    size, variance = _leaked(layout, belief.story, belief.mean, belief.covariance)
    return Estimate(size, sqrt(max(variance, 1e-10)))


def _log_chance(size: float, variance: float) -> float:
    """Return the log probability that a Gaussian is positive, bounded below."""
    return log(max(0.5 * erfc(-size / sqrt(2.0 * max(variance, 1e-8))), _NEVER))


@dataclass(frozen=True, slots=True, eq=False)
class _Fault:
    """A single fault: its steps (log, by zone) and label, the zones it hits, its share of the odds of all faults."""

    steps: FloatArray
    label: str
    hit: tuple[int, ...]
    share: float


def _distinct_faults(kiln: Kiln, zones: int) -> tuple[_Fault, ...]:
    """Return the single faults the register allows, alike ones joined."""
    if not kiln.circuits:
        return ()
    return _faults_of(kiln.circuits, kiln.zones, kiln.volts, kiln.supply, kiln.rated_kw, zones)


@lru_cache(maxsize=32)
def _faults_of(
    circuits: tuple[Circuit, ...],
    names: tuple[str, ...],
    volts: float | None,
    supply: Supply | None,
    rated_kw: float | None,
    zones: int,
) -> tuple[_Fault, ...]:
    """The same for the facts it depends on (kept: the network is solved once for each fault of a kiln)."""
    found: list[tuple[FloatArray, float]] = []
    for step in fault_steps(Kiln("", volts=volts, supply=supply, rated_kw=rated_kw, zones=names, circuits=circuits)):
        by_zone = np.asarray(step.zones if zones > 1 else (step.total,))
        if by_zone.size != zones:
            continue
        odds = prior_of(step)
        alike = next((n for n, (other, _) in enumerate(found) if np.abs(other - by_zone).max() < _FAULT_SPREAD), None)
        if alike is None:
            found.append((by_zone, odds))
        else:
            found[alike] = (found[alike][0], found[alike][1] + odds)
    total = sum(odds for _, odds in found) or 1.0
    return tuple(
        _Fault(
            steps,
            label=",".join(f"{step:.2f}" for step in steps),
            hit=tuple(np.flatnonzero(np.abs(steps) > _HIT).tolist()),
            share=odds / total,
        )
        for steps, odds in found
    )


def uneven_share(apart: FloatArray) -> FloatArray:
    """Return the error of zones' shares of the work when they lack ``apart`` (positive, log) against the best zone."""
    return _UNEVEN_SHARE * np.minimum(np.maximum(apart, 0.0), _MOST_APART)


def share_strain(layout: Layout, belief: Belief) -> float:
    """Return the error a standing fault of one zone adds to the zones' shares of the work (log), under this history."""
    story = belief.story
    if layout.zones == 1 or not story.before or (story.jump != "zone" and not story.fault):
        return 0.0
    steps = belief.mean[: layout.zones] - np.asarray(story.before)
    return float(uneven_share(steps.max() - steps).max())


def strained(layout: Layout, belief: Belief, shares: FloatArray, index: int, supply: float) -> float:
    """Return the day's standard error of the power under this history: larger while a fault in one place stands."""
    story = belief.story
    missing = story.standing
    if story.jump == "zone" or story.fault:
        missing += jump_size(layout, belief, shares, index)
    elif story.jump == "leak" and story.wall_before is not None:
        # a leak is in one place too; near the peak about half of the power goes into the wall
        missing -= 0.5 * leak_size(layout, belief).value
    part = _UNEVEN_FIRST if belief.story.jump_firing == index else _UNEVEN_DAY
    return hypot(supply, part * min(-missing, 0.5)) if missing < 0.0 else supply

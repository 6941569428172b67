"""From the living histories of a kiln to its Condition: moments over the mixture."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import hypot, log, sqrt

import numpy as np

from analysis.basis import basis_of
from analysis.climb import NINETY, Estimate
from analysis.condition import STRONGER_THAN_NEW, Balance, Condition, Step, Story
from analysis.findings import End, Reference
from analysis.firing import Firing
from analysis.grid import FloatArray
from analysis.heat_model import INDEPENDENT_BLOCKS, kept_margins
from analysis.histories import Branch
from analysis.jumps import jump_size, leak_size
from analysis.measures import Measures
from analysis.mixture import mixed, quantiles
from analysis.power_filter import Belief
from analysis.programmes import Match
from analysis.state_vector import Layout, whole_power, whole_powers

REFERENCE_FIRINGS = 8
"""Firings whose mean power is called 1: enough to average out the day's supply (1 % each), few enough that
ageing within them is small."""

_WELL_KNOWN = 0.12
"""Width of the 90 % interval of the log level up to which a kept pace still lets the level be told."""

_BOUND_ERROR = 0.02
"""Error of the balance over half an hour (log)."""

_GAIN_ERROR = 0.12
"""Share of a change of power by which the balance may misjudge it, as long as it lasts: the wall's constants, the
ware's lag and the worth of a zone's output are the same model in every firing, so firings do not average this out."""

_GAIN_BY_CURRENT = 0.03
"""The same where the amps of the firing tell the power: a meter's own error goes out of a ratio. Only of what has
changed since amps are logged: what was lost before then is known by the balance alone."""

_SURE_OF_RENEWAL = 0.8

_SINGULAR = 1e8
"""Ratio of the balance's best to its worst determined direction beyond which wall and load cannot be told apart."""

_UNHEARD = 1e-7
"""Histories this improbable against the likeliest change no digit of what is said."""

_RECENT_FIRINGS = 20
"""A jump stays "recent" this long; later it is history that the level already holds."""


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    """Where m histories stand: the whole kiln's log power over the reference, with what it was worked out from.

    ``values`` and ``variances`` (m,) are the level's, ``references`` (m,) the log reference, ``rows`` (m, n) its
    gradient.
    """

    values: FloatArray
    variances: FloatArray
    references: FloatArray
    rows: FloatArray

    def without_last(self) -> "_Levels":
        """All but the last history's."""
        return _Levels(self.values[:-1], self.variances[:-1], self.references[:-1], self.rows[:-1])


def _levels(
    layout: Layout,
    means: FloatArray,
    covariances: FloatArray,
    shares: FloatArray,
    counted: int,
    amps_from: float | None,
) -> _Levels:
    """Levels of m histories (m, n), (m, n, n) over the reference as it will be once all its firings are in.

    The reference firings still to come are expected at today's level plus the drift until then. ``amps_from`` is the
    level from which on amps tell of changes; None where this firing's do not.
    """
    value, gradient = whole_powers(layout, means, shares)
    missing = max(0, REFERENCE_FIRINGS - counted)
    rows = np.zeros_like(means)
    rows[:, layout.reference] = (REFERENCE_FIRINGS - missing) / REFERENCE_FIRINGS
    rows[:, layout.drift] = missing * (missing + 1) / 2.0 / REFERENCE_FIRINGS
    at, slope = layout.reference, layout.drift
    expected = rows[:, at] * means[:, at] + rows[:, slope] * means[:, slope] + missing / REFERENCE_FIRINGS * value
    rows[:, : layout.zones] = gradient * (missing / REFERENCE_FIRINGS)
    directions = -rows
    directions[:, : layout.zones] += gradient
    change = value - expected
    spread = (directions * (covariances @ directions[:, :, None])[:, :, 0]).sum(axis=1)
    if amps_from is None:
        gain_variance = (_GAIN_ERROR * change) ** 2
    else:
        gain_variance = (_GAIN_ERROR * amps_from) ** 2 + (_GAIN_BY_CURRENT * (change - amps_from)) ** 2
    return _Levels(change, np.maximum(spread + gain_variance, 1e-8), expected, rows)


_Pair = tuple[float, float]
_Spread = tuple[float, float, float]
"""Two numbers, and the variance of the first, covariance of both, variance of the second."""


def _own_fit(measures: Measures, shares: FloatArray, gaps: float) -> tuple[_Pair, _Spread] | None:
    """(ln A/P, ln C/P) of this firing alone with covariance, None where it cannot tell them.

    Least squares of the output on the two heat flows: two unknowns, so solved by hand. ``gaps`` goes with the wall's.
    """
    heat = measures.heat
    if heat is None or heat.blocks < 6:
        return None
    matrix, zones = heat.matrix(), heat.zones
    fold = np.eye(zones + 3)[:, :-1]
    fold[-1, zones] = gaps
    matrix = fold.T @ matrix @ fold
    by_output = shares @ matrix[:zones]
    output, given_wall, given_load = float(by_output[:zones] @ shares), float(by_output[-2]), float(by_output[-1])
    (wall, both), (_, load) = matrix[zones:, zones:].tolist()
    determinant = wall * load - both * both
    half, apart = 0.5 * (wall + load), hypot(0.5 * (wall - load), both)
    if half - apart <= (half + apart) / _SINGULAR:
        return None
    by_wall = (given_wall * load - given_load * both) / determinant
    by_load = (given_load * wall - given_wall * both) / determinant
    if min(by_wall, by_load) <= 0.0:
        return None
    residual = max(0.0, output - by_wall * given_wall - by_load * given_load)
    scale = INDEPENDENT_BLOCKS * max(1.0, residual / max(heat.blocks - 2, 1)) / determinant
    spread = (scale * load / by_wall**2, -scale * both / (by_wall * by_load), scale * wall / by_load**2)
    if max(spread[0], spread[2]) > 1.0:
        return None
    return (log(by_wall), log(by_load)), spread


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What the summary needs beside the histories: where things stand and which programme was fired.

    ``amps_from`` is the log level at which amps were logged first, None as long as none were.
    """

    layout: Layout
    shares: FloatArray
    index: int
    reference: Reference
    counted: int
    recent: Sequence[datetime | None]
    match: Match
    age: int
    amps_from: float | None = None

    def started(self, firing: int | None) -> datetime | None:
        """When firing number ``firing`` began, if it is recent enough to be remembered."""
        place = -1 if firing is None else len(self.recent) - 1 - (self.index - firing)
        return self.recent[place] if 0 <= place < len(self.recent) else None


def _balance(known: Known, prior: Belief, branch: Branch, measures: Measures) -> Balance:
    """The firing's balance against what the history before it leads one to expect."""
    layout, slot = known.layout, known.match.programme.slot
    load = Estimate(branch.load, branch.load_error) if branch.load_error > 0.0 else None
    own = _own_fit(measures, known.shares, float(prior.mean[layout.gaps]))
    if own is None:
        return Balance(load=load)
    logs, (wall, both, load_spread) = own
    whole, gradient = whole_power(layout, prior.mean, known.shares)
    at = ([layout.wall, layout.wall_offset + slot], [layout.capacity, layout.capacity_offset + slot])
    rows = np.zeros((2, layout.size))
    rows[:, : layout.zones] = -gradient
    rows[0, at[0]] = rows[1, at[1]] = 1.0
    (more_wall, more_both), (_, more_load) = (rows @ prior.covariance @ rows.T).tolist()
    wall, both, load_spread = wall + more_wall, both + more_both, load_spread + more_load
    off_wall, off_load = (own_log - float(prior.mean[n].sum()) + whole for own_log, n in zip(logs, at, strict=True))
    return Balance(
        power_per_capacity=Estimate(-off_load, sqrt(load_spread)),
        loss_per_capacity=Estimate(off_wall - off_load, sqrt(wall - 2.0 * both + load_spread)),
        power_per_loss=Estimate(-off_wall, sqrt(wall)),
        load=load,
    )


def _story(known: Known, branch: Branch, probability: float, variance: float) -> Story:
    """One history in plain numbers; ``variance`` is that of its level."""
    layout, belief = known.layout, branch.belief
    told = belief.story
    zones = layout.zones
    if branch.passing_kind != "none" and told.jump_firing != known.index:
        return Story(
            branch.passing_kind,
            probability,
            firing=known.index,
            started=known.started(known.index),
            size=Estimate(branch.passing, branch.passing_error) if branch.passing_kind == "passing" else None,
        )
    if told.jump == "none" or told.jump_firing is None:
        return Story("none", probability)
    errors = np.sqrt(np.maximum(belief.covariance.diagonal(), 1e-10))
    size: Estimate | None = None
    by_zone: tuple[Estimate | None, ...] = ()
    loss: Estimate | None = None
    bend: Estimate | None = None
    if told.jump == "leak":
        bend = told.bend.risen()
        loss = leak_size(layout, belief)
    elif told.jump == "supply":
        size = Estimate(float(belief.mean[layout.slow_supply]), float(errors[layout.slow_supply]))
    else:
        aged = float(belief.mean[layout.drift]) * (known.index - told.jump_firing)
        sizes = belief.mean[:zones] - np.asarray(told.before) - aged
        size = Estimate(jump_size(layout, belief, known.shares, known.index), sqrt(variance))
        if zones > 1:
            pairs = zip(sizes.tolist(), errors[:zones].tolist(), strict=True)
            by_zone = tuple(Estimate(step, error) for step, error in pairs)
    return Story(
        told.jump,
        probability,
        firing=told.jump_firing,
        started=known.started(told.jump_firing),
        zone=told.jump_zone,
        fault=told.fault,
        size=size,
        zone_sizes=by_zone,
        loss_size=loss,
        bend=bend,
    )


def _stories(known: Known, branches: Sequence[Branch], weights: FloatArray, variances: FloatArray) -> tuple[Story, ...]:
    """The histories that matter (over 0.5 %), alike ones joined, most probable first."""
    joined: dict[tuple[str, int | None, int | None, str], tuple[float, float, int]] = {}
    for at, (weight, branch) in enumerate(zip(weights.tolist(), branches, strict=True)):
        told = branch.belief.story
        passing = branch.passing_kind if told.jump_firing != known.index else "none"
        key = (passing if passing != "none" else told.jump, told.jump_firing, told.jump_zone, told.fault)
        if passing != "none" or told.jump == "none":
            key = (key[0], None, None, "")
        total, best, chosen = joined.get(key, (0.0, -1.0, at))
        joined[key] = (total + weight, max(best, weight), at if weight > best else chosen)
    ranked = sorted(joined.values(), key=lambda entry: -entry[0])
    return tuple(_story(known, branches[at], total, float(variances[at])) for total, _, at in ranked if total > 0.005)


def _step(known: Known, stories: Sequence[Story]) -> Step | None:
    """The most probable recent jump of power, if the histories with one outweigh those without."""
    recent = [
        s
        for s in stories
        if s.kind in ("zone", "all") and s.firing is not None and known.index - s.firing < _RECENT_FIRINGS
    ]
    total = sum(s.probability for s in recent)
    if total < 0.5 or not recent or recent[0].size is None or recent[0].firing is None:
        return None
    best = recent[0]
    assert best.size is not None
    assert best.firing is not None
    return Step(best.firing, best.started, min(total, 1.0), best.size, best.zone_sizes)


def _zone_levels(
    known: Known, weights: FloatArray, means: FloatArray, covariances: FloatArray, levels: _Levels, passing: FloatArray
) -> tuple[Estimate | None, ...]:
    """Each zone's log power over the whole kiln's reference, over the mixture; () for one zone."""
    zones = known.layout.zones
    if zones == 1:
        return ()
    directions = np.repeat(-levels.rows[:, None, :], zones, axis=1)
    directions[:, range(zones), range(zones)] += 1.0
    values = means[:, :zones] - levels.references[:, None] + passing[:, None]
    variances = np.maximum(((directions @ covariances) * directions).sum(axis=2), 1e-8)
    return tuple(mixed(weights, values[:, zone], variances[:, zone]) for zone in range(zones))


def _own(level: Estimate, prior: tuple[float, float], after: float) -> Estimate | None:
    """The firing's own evidence on the level: posterior over prior; None where it added next to nothing."""
    value, variance = prior
    if after >= 0.97 * variance:
        return None
    information = 1.0 / after - 1.0 / variance
    return Estimate((level.value / after - value / variance) / information, float(1.0 / np.sqrt(information)))


def _kept_bound(known: Known, branch: Branch, level: float, measures: Measures) -> float:
    """What the hardest kept half hour alone asks of the power (log over the reference), 95 % one-sided.

    It rests on the wall and the load, not on how likely a fault is.
    """
    if measures.kept is None:
        return -3.0
    layout, belief = known.layout, branch.belief
    state = np.append(belief.mean, (0.0, branch.load))
    slot = known.match.programme.slot
    margins, gradients = kept_margins(layout, state[None], slot, known.shares, measures.kept)
    margin, gradient = float(margins[0]), gradients[0, : layout.size]
    gradient[: layout.zones] = 0.0
    error = max(float(gradient @ belief.covariance @ gradient), 0.0) ** 0.5
    load_share = abs(float(gradient[layout.capacity])) * branch.load_error
    return level - margin - NINETY * (hypot(error, load_share) + _BOUND_ERROR)


def _renewed(known: Known, branches: Sequence[Branch], weights: FloatArray) -> int | None:
    """Firing from which new elements are likelier than not, if it is recent and no logbook tells of them."""
    by_firing: dict[int, float] = {}
    for branch, weight in zip(branches, weights.tolist(), strict=True):
        since = branch.belief.story.renewed_firing
        if since is not None and known.index - since < _RECENT_FIRINGS:
            by_firing[since] = by_firing.get(since, 0.0) + weight
    return max(by_firing, key=lambda n: by_firing[n]) if sum(by_firing.values()) > _SURE_OF_RENEWAL else None


def _end(firing: Firing, match: Match) -> End:
    """The firing's end, corrected by what its programme usually reaches."""
    if match.short_c and firing.end == "complete":
        return "aborted"
    return firing.end


def likely(branches: Sequence[Branch]) -> list[Branch]:
    """The branches that can change what is said."""
    least = max(b.belief.log_weight for b in branches) + log(_UNHEARD)
    return [b for b in branches if b.belief.log_weight > least]


def condition_of(
    known: Known,
    priors: Sequence[Belief],
    branches: Sequence[Branch],
    measures: Measures,
    firing: Firing,
    *,
    informed: bool,
) -> Condition:
    """Summarise the histories after firing number ``known.index``; ``priors`` are those before it."""
    layout, shares, counted = known.layout, known.shares, known.counted
    branches = likely(branches)
    logs = np.array([b.belief.log_weight for b in branches])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    prior = max(priors, key=lambda b: b.log_weight)
    beliefs = [*(b.belief for b in branches), prior]
    means, covariances = np.array([b.mean for b in beliefs]), np.array([b.covariance for b in beliefs])
    amps_from = None if measures.full_current is None else known.amps_from
    levels = _levels(layout, means, covariances, shares, counted, amps_from)
    before = float(levels.values[-1]), float(levels.variances[-1])
    means, covariances, levels = means[:-1], covariances[:-1], levels.without_last()
    passing = np.array([b.passing for b in branches])
    values = levels.values + passing
    variances = levels.variances + np.array([b.passing_error for b in branches]) ** 2
    errors = np.sqrt(variances)
    low, middle, high = quantiles(weights, values, errors, (0.05, 0.5, 0.95))
    level = Estimate(middle, mixed(weights, values, variances).error)
    standing = np.array([b.belief.story.standing + jump_size(layout, b.belief, shares, known.index) for b in branches])
    basis = basis_of(measures)
    told = basis in ("current", "duty", "full-output climb") or (basis == "kept pace" and high - low < _WELL_KNOWN)
    slow = mixed(weights, levels.values - standing, levels.variances)
    # a kiln far stronger than new before its loss: what it was then was never known, nor is what it is now
    told = told and slow.value <= STRONGER_THAN_NEW
    stories = _stories(known, branches, weights, levels.variances)
    best = int(weights.argmax())
    return Condition(
        index=known.index,
        reference=known.reference,
        reference_firings=counted,
        age_firings=known.age,
        basis=basis,
        level=level if told else None,
        drift=mixed(weights, means[:, layout.drift], covariances[:, layout.drift, layout.drift]),
        zone_levels=_zone_levels(known, weights, means, covariances, levels, passing),
        power=_own(level, before, float(levels.variances[best])) if informed else None,
        at_least=min(low, _kept_bound(known, branches[best], float(levels.values[best]), measures))
        if basis == "kept pace"
        else None,
        balance=_balance(known, prior, branches[best], measures),
        step=_step(known, stories),
        level_low=low if told else None,
        level_high=high if told else None,
        programme=known.match.programme.name,
        new_programme=known.match.new,
        leak=sum(
            s.probability
            for s in stories
            if s.kind == "leak" and s.firing is not None and known.index - s.firing < _RECENT_FIRINGS
        ),
        end=_end(firing, known.match),
        short_c=known.match.short_c if known.match.short_c is not None else firing.short_c,
        stories=stories,
        slow=slow,
        renewed_firing=_renewed(known, branches, weights),
    )

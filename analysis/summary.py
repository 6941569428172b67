"""From the living histories of a kiln to its Condition: moments over the mixture."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import erf, sqrt

import numpy as np

from analysis.climb import Estimate
from analysis.condition import Balance, Condition, Step, Story
from analysis.findings import Basis, End, Reference
from analysis.firing import Firing
from analysis.grid import FloatArray
from analysis.heat_model import INDEPENDENT_BLOCKS, Layout, kept_margin, whole_power
from analysis.histories import Branch
from analysis.jumps import jump_size
from analysis.measures import Measures
from analysis.power_filter import Belief
from analysis.programmes import Match

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

_SURE_OF_RENEWAL = 0.8

_RECENT_FIRINGS = 20
"""A jump stays "recent" this long; later it is history that the level already holds."""


def _reference(layout: Layout, belief: Belief, shares: FloatArray, counted: int) -> tuple[float, FloatArray]:
    """The reference (log) as it will be once all its firings are in, and its gradient.

    The firings still to come are expected at today's level plus the drift until then.
    """
    value, gradient = whole_power(layout, belief.mean, shares)
    missing = max(0, REFERENCE_FIRINGS - counted)
    row = np.zeros(layout.size)
    row[layout.reference] = (REFERENCE_FIRINGS - missing) / REFERENCE_FIRINGS
    row[: layout.zones] = gradient * missing / REFERENCE_FIRINGS
    row[layout.drift] = missing * (missing + 1) / 2.0 / REFERENCE_FIRINGS
    expected = (
        row[layout.reference] * float(belief.mean[layout.reference])
        + missing / REFERENCE_FIRINGS * value
        + row[layout.drift] * float(belief.mean[layout.drift])
    )
    return float(expected), row


def _level(layout: Layout, belief: Belief, shares: FloatArray, counted: int) -> tuple[float, float]:
    """Whole log power over the reference and its variance."""
    value, gradient = whole_power(layout, belief.mean, shares)
    expected, row = _reference(layout, belief, shares, counted)
    direction = -row
    direction[: layout.zones] += gradient
    change = value - expected
    return change, max(float(direction @ belief.covariance @ direction) + (_GAIN_ERROR * change) ** 2, 1e-8)


def _mixed(weights: FloatArray, values: FloatArray, variances: FloatArray) -> Estimate:
    """Mean and standard error of a mixture."""
    mean = float(weights @ values)
    variance = float(weights @ (variances + (values - mean) ** 2))
    return Estimate(mean, float(np.sqrt(max(variance, 1e-10))))


def quantile(weights: FloatArray, values: FloatArray, errors: FloatArray, share: float) -> float:
    """Quantile of a mixture of normals, by bisection on its distribution function."""
    parts = [p for p in zip(weights.tolist(), values.tolist(), errors.tolist(), strict=True) if p[0] > 1e-4]
    whole = sum(w for w, _, _ in parts)
    spread = 6.0 if len(parts) > 1 else 3.0
    low = min(v - spread * e for _, v, e in parts)
    high = max(v + spread * e for _, v, e in parts)
    while high - low > 1e-5:
        middle = 0.5 * (low + high)
        below = sum(w * 0.5 * (1.0 + erf((middle - v) / (sqrt(2.0) * e))) for w, v, e in parts)
        if below < share * whole:
            low = middle
        else:
            high = middle
    return float(0.5 * (low + high))


def _own_fit(measures: Measures, shares: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """(ln A/P, ln C/P) of this firing alone with covariance, None where it cannot tell them."""
    heat = measures.heat
    if heat is None or heat.blocks < 6:
        return None
    combine = np.zeros((3, heat.zones + 2))
    combine[0, : heat.zones] = shares
    combine[1, heat.zones] = combine[2, heat.zones + 1] = 1.0
    reduced = combine @ heat.matrix() @ combine.T
    normal = reduced[1:, 1:]
    if np.linalg.cond(normal) > 1e8:
        return None
    fit = np.linalg.solve(normal, reduced[1:, 0])
    if fit.min() <= 0.0:
        return None
    residual = max(0.0, float(reduced[0, 0] - fit @ reduced[1:, 0]))
    scale = INDEPENDENT_BLOCKS * max(1.0, residual / max(heat.blocks - 2, 1))
    covariance = np.linalg.inv(normal) * scale / np.outer(fit, fit)
    if covariance.diagonal().max() > 1.0:
        return None
    return np.log(fit), covariance


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What the summary needs beside the histories: where things stand and which programme was fired."""

    layout: Layout
    shares: FloatArray
    index: int
    reference: Reference
    counted: int
    recent: Sequence[datetime | None]
    match: Match

    def started(self, firing: int | None) -> datetime | None:
        """When firing number ``firing`` began, if it is recent enough to be remembered."""
        place = -1 if firing is None else len(self.recent) - 1 - (self.index - firing)
        return self.recent[place] if 0 <= place < len(self.recent) else None


def _balance(known: Known, prior: Belief, branch: Branch, measures: Measures) -> Balance:
    """The firing's balance against what the history before it leads one to expect."""
    layout, slot = known.layout, known.match.programme.slot
    load = Estimate(branch.load, branch.load_error) if branch.load_error > 0.0 else None
    own = _own_fit(measures, known.shares)
    if own is None:
        return Balance(load=load)
    logs, covariance = own
    whole, gradient = whole_power(layout, prior.mean, known.shares)
    expected = np.array(
        [
            prior.mean[layout.wall] + prior.mean[layout.wall_offset + slot] - whole,
            prior.mean[layout.capacity] + prior.mean[layout.capacity_offset + slot] - whole,
        ]
    )
    rows = np.zeros((2, layout.size))
    rows[:, : layout.zones] = -gradient
    rows[0, [layout.wall, layout.wall_offset + slot]] = 1.0
    rows[1, [layout.capacity, layout.capacity_offset + slot]] = 1.0
    spread = covariance + rows @ prior.covariance @ rows.T
    off = logs - expected

    def estimate(direction: tuple[float, float]) -> Estimate:
        d = np.asarray(direction)
        return Estimate(float(d @ off), float(np.sqrt(d @ spread @ d)))

    return Balance(
        power_per_capacity=estimate((0.0, -1.0)),
        loss_per_capacity=estimate((1.0, -1.0)),
        power_per_loss=estimate((-1.0, 0.0)),
        load=load,
    )


def _story(known: Known, branch: Branch, probability: float) -> Story:
    """One history in plain numbers."""
    layout, belief = known.layout, branch.belief
    told = belief.story
    zones = layout.zones
    errors = np.sqrt(np.maximum(np.diag(belief.covariance), 1e-10))
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
    size: Estimate | None = None
    by_zone: tuple[Estimate | None, ...] = ()
    loss: Estimate | None = None
    if told.jump == "leak":
        before = told.wall_before if told.wall_before is not None else float(belief.mean[layout.wall])
        loss = Estimate(float(belief.mean[layout.wall]) - before, float(errors[layout.wall]))
    else:
        aged = float(belief.mean[layout.drift]) * (known.index - told.jump_firing)
        sizes = belief.mean[:zones] - np.asarray(told.before) - aged
        _, variance = _level(layout, belief, known.shares, known.counted)
        size = Estimate(jump_size(layout, belief, known.shares, known.index), float(np.sqrt(variance)))
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
    )


def _stories(known: Known, branches: Sequence[Branch], weights: FloatArray) -> tuple[Story, ...]:
    """The histories that matter (over 0.5 %), alike ones joined, most probable first."""
    joined: dict[tuple[str, int | None, int | None, str], tuple[float, float, Branch]] = {}
    for weight, branch in zip(weights.tolist(), branches, strict=True):
        told = branch.belief.story
        passing = branch.passing_kind if told.jump_firing != known.index else "none"
        key = (passing if passing != "none" else told.jump, told.jump_firing, told.jump_zone, told.fault)
        if passing != "none" or told.jump == "none":
            key = (key[0], None, None, "")
        total, best, chosen = joined.get(key, (0.0, -1.0, branch))
        joined[key] = (total + weight, max(best, weight), branch if weight > best else chosen)
    ranked = sorted(joined.values(), key=lambda entry: -entry[0])
    return tuple(_story(known, branch, total) for total, _, branch in ranked if total > 0.005)


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


def _zone_levels(known: Known, branches: Sequence[Branch], weights: FloatArray) -> tuple[Estimate | None, ...]:
    """Each zone's log power over the whole kiln's reference, over the mixture; () for one zone."""
    layout = known.layout
    if layout.zones == 1:
        return ()
    out: list[Estimate | None] = []
    references = [_reference(layout, b.belief, known.shares, known.counted) for b in branches]
    for zone in range(layout.zones):
        means, variances = [], []
        for branch, (value, row) in zip(branches, references, strict=True):
            direction = -row
            direction[zone] += 1.0
            means.append(float(branch.belief.mean[zone]) - value + branch.passing)
            variances.append(max(float(direction @ branch.belief.covariance @ direction), 1e-8))
        out.append(_mixed(weights, np.array(means), np.array(variances)))
    return tuple(out)


def _own(level: Estimate, prior: tuple[float, float], after: float) -> Estimate | None:
    """The firing's own evidence on the level: posterior over prior; None where it added next to nothing."""
    value, variance = prior
    if after >= 0.97 * variance:
        return None
    information = 1.0 / after - 1.0 / variance
    return Estimate((level.value / after - value / variance) / information, float(1.0 / np.sqrt(information)))


def shows_power(measures: Measures) -> bool:
    """True if the firing says how large the full power is: output logged, or a zone seen at full output."""
    if measures.output in ("duty", "on-off"):
        return measures.heat is not None
    full_seen = measures.heat is not None and measures.heat.full_blocks > 0
    return full_seen or any(zone is not None for zone in measures.zone_heat)


def _basis(measures: Measures) -> Basis:
    if shows_power(measures):
        return "duty" if measures.output in ("duty", "on-off") else "full-output climb"
    return "kept pace" if measures.kept is not None else "none"


def _kept_bound(known: Known, branch: Branch, measures: Measures) -> float:
    """What the hardest kept half hour alone asks of the power (log over the reference), 95 % one-sided.

    It rests on the wall and the load, not on how likely a fault is.
    """
    if measures.kept is None:
        return -3.0
    layout, belief = known.layout, branch.belief
    state = np.append(belief.mean, (0.0, branch.load))
    slot = known.match.programme.slot
    margin, gradient = kept_margin(layout, state, slot, known.shares, measures.kept)
    gradient = gradient[: layout.size]
    gradient[: layout.zones] = 0.0
    error = max(float(gradient @ belief.covariance @ gradient), 0.0) ** 0.5
    load_share = abs(float(gradient[layout.capacity])) * branch.load_error
    value, _ = _level(layout, belief, known.shares, known.counted)
    return value - margin - 1.645 * float(np.hypot(error, load_share) + _BOUND_ERROR)


def _renewed(known: Known, branches: Sequence[Branch], weights: FloatArray) -> int | None:
    """Firing from which new elements are likelier than not, if it is recent and no logbook tells of them."""
    since = [b.belief.story.renewed_firing for b in branches]
    told = [n for n in since if n is not None and known.index - n < _RECENT_FIRINGS]
    sure = sum(w for w, n in zip(weights.tolist(), since, strict=True) if n in told)
    return max(set(told), key=told.count) if told and sure > _SURE_OF_RENEWAL else None


def _end(firing: Firing, match: Match) -> End:
    """The firing's end, corrected by what its programme usually reaches."""
    if match.short_c and firing.end == "complete":
        return "aborted"
    return firing.end


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
    logs = np.array([b.belief.log_weight for b in branches])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    levels = np.array([_level(layout, b.belief, shares, counted) for b in branches])
    values = levels[:, 0] + np.array([b.passing for b in branches])
    variances = levels[:, 1] + np.array([b.passing_error**2 for b in branches])
    errors = np.sqrt(variances)
    level = replace(_mixed(weights, values, variances), value=quantile(weights, values, errors, 0.5))
    low, high = quantile(weights, values, errors, 0.05), quantile(weights, values, errors, 0.95)
    standing = np.array([b.belief.story.standing + jump_size(layout, b.belief, shares, known.index) for b in branches])
    prior = max(priors, key=lambda b: b.log_weight)
    basis = _basis(measures)
    told = basis in ("duty", "full-output climb") or (basis == "kept pace" and high - low < _WELL_KNOWN)
    stories = _stories(known, branches, weights)
    drifts = np.array(
        [(b.belief.mean[layout.drift], b.belief.covariance[layout.drift, layout.drift]) for b in branches]
    )
    best = int(weights.argmax())
    return Condition(
        index=known.index,
        reference=known.reference,
        reference_firings=counted,
        basis=basis,
        level=level if told else None,
        drift=_mixed(weights, drifts[:, 0], drifts[:, 1]),
        zone_levels=_zone_levels(known, branches, weights),
        power=_own(level, _level(layout, prior, shares, counted), float(levels[best, 1])) if informed else None,
        at_least=min(low, _kept_bound(known, branches[best], measures)) if basis == "kept pace" else None,
        balance=_balance(known, prior, branches[best], measures),
        step=_step(known, stories),
        level_low=low if told else None,
        level_high=high if told else None,
        programme=known.match.programme.name,
        programme_fired=known.match.programme.fired,
        new_programme=known.match.new,
        leak=sum(
            s.probability
            for s in stories
            if s.kind == "leak" and s.firing is not None and known.index - s.firing < _RECENT_FIRINGS
        ),
        end=_end(firing, known.match),
        short_c=known.match.short_c if known.match.short_c is not None else firing.short_c,
        stories=stories,
        slow=_mixed(weights, levels[:, 0] - standing, levels[:, 1]),
        renewed_firing=_renewed(known, branches, weights),
    )

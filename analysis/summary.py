"""From the living histories of a kiln to its Condition: moments over the mixture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from math import erf, sqrt
from typing import TYPE_CHECKING

import numpy as np

from analysis.climb import Estimate
from analysis.condition import Balance, Condition, Step
from analysis.findings import Basis, Reference
from analysis.firing import Firing
from analysis.grid import FloatArray
from analysis.heat_model import INDEPENDENT_BLOCKS, Layout, whole_power
from analysis.measures import Measures
from analysis.power_filter import Belief
from analysis.programmes import Programme

if TYPE_CHECKING:
    from analysis.state import Branch

REFERENCE_FIRINGS = 8
"""Firings whose mean power is called 1: enough to average out the day's supply (1 % each), few enough that
ageing within them is small."""

_RECENT_FIRINGS = 20
"""A jump stays "recent" this long; later it is history that the level already holds."""


def _reference_row(layout: Layout, gradient: FloatArray, counted: int) -> FloatArray:
    """Weights of the state in the reference as it will be once all its firings are in.

    The firings still to come are expected at today's level plus the drift until then.
    """
    missing = max(0, REFERENCE_FIRINGS - counted)
    row = np.zeros(layout.size)
    row[layout.reference] = (REFERENCE_FIRINGS - missing) / REFERENCE_FIRINGS
    row[: layout.zones] = gradient * missing / REFERENCE_FIRINGS
    row[layout.drift] = missing * (missing + 1) / 2.0 / REFERENCE_FIRINGS
    return row


def _level(layout: Layout, belief: Belief, shares: FloatArray, counted: int) -> tuple[float, float]:
    """Whole log power over the reference and its variance."""
    value, gradient = whole_power(layout, belief.mean, shares)
    reference = _reference_row(layout, gradient, counted)
    direction = -reference
    direction[: layout.zones] += gradient
    missing = max(0, REFERENCE_FIRINGS - counted)
    expected = (
        reference[layout.reference] * float(belief.mean[layout.reference])
        + missing / REFERENCE_FIRINGS * value
        + reference[layout.drift] * float(belief.mean[layout.drift])
    )
    variance = float(direction @ belief.covariance @ direction)
    return value - expected, max(variance, 1e-8)


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
    return 0.5 * (low + high)


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


def _balance(layout: Layout, prior: Belief, measures: Measures, shares: FloatArray, slot: int) -> Balance:
    """This firing's balance against what the history before it leads one to expect."""
    own = _own_fit(measures, shares)
    if own is None:
        return Balance()
    logs, covariance = own
    whole, gradient = whole_power(layout, prior.mean, shares)
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
    )


def _step(
    layout: Layout, branches: Sequence[Branch], weights: FloatArray, index: int, recent: Sequence[datetime | None]
) -> Step | None:
    """The most probable recent jump of power, if the histories with one outweigh those without."""
    with_jump = [
        (w, b.belief)
        for w, b in zip(weights.tolist(), branches, strict=True)
        if b.belief.story.jump in ("zone", "all")
        and b.belief.story.jump_firing is not None
        and index - b.belief.story.jump_firing < _RECENT_FIRINGS
    ]
    total = sum(w for w, _ in with_jump)
    if total < 0.5:
        return None
    _, best = max(with_jump, key=lambda pair: pair[0])
    firing = best.story.jump_firing or 0
    zones = layout.zones
    sizes = best.mean[:zones] - np.asarray(best.story.before)
    errors = np.sqrt(np.maximum(np.diag(best.covariance)[:zones], 1e-10))
    per_zone = tuple(Estimate(float(s), float(e)) for s, e in zip(sizes, errors, strict=True))
    before = np.asarray(best.story.before)
    now, _ = whole_power(layout, best.mean, np.full(zones, 1.0 / zones))
    then, _ = whole_power(layout, np.concatenate((before, best.mean[zones:])), np.full(zones, 1.0 / zones))
    place = len(recent) - 1 - (index - firing)
    return Step(
        firing=firing,
        started=recent[place] if 0 <= place < len(recent) else None,
        probability=float(min(total, 1.0)),
        size=Estimate(now - then, float(errors.mean())),
        zone_sizes=per_zone if zones > 1 else (),
    )


def condition_of(  # noqa: PLR0913
    layout: Layout,
    shares: FloatArray,
    index: int,
    priors: Sequence[Belief],
    branches: Sequence[Branch],
    *,
    evidence_slot: int,
    measures: Measures,
    firing: Firing,
    reference: Reference,
    counted: int,
    recent: Sequence[datetime | None],
    programme: Programme,
    new_programme: bool,
    informed: bool,
) -> Condition:
    """Summarise the living histories after firing number ``index``."""
    logs = np.array([b.belief.log_weight for b in branches])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    levels = np.array([_level(layout, b.belief, shares, counted) for b in branches])
    passing = np.array([b.passing for b in branches])
    values = levels[:, 0] + passing
    mean_reference = np.array([whole_power(layout, b.belief.mean, shares)[0] for b in branches]) - levels[:, 0]
    variances = levels[:, 1] + np.array([b.passing_error**2 for b in branches])
    errors = np.sqrt(np.maximum(variances, 1e-10))
    level = replace(_mixed(weights, values, variances), value=quantile(weights, values, errors, 0.5))
    drift = _mixed(
        weights,
        np.array([b.belief.mean[layout.drift] for b in branches]),
        np.array([b.belief.covariance[layout.drift, layout.drift] for b in branches]),
    )
    zone_levels: tuple[Estimate | None, ...] = ()
    if layout.zones > 1:
        found: list[Estimate | None] = []
        for zone in range(layout.zones):
            means = np.array([b.belief.mean[zone] for b in branches]) - mean_reference + passing
            spread = np.array(
                [
                    b.belief.covariance[zone, zone]
                    + b.belief.covariance[layout.reference, layout.reference]
                    - 2.0 * b.belief.covariance[zone, layout.reference]
                    for b in branches
                ]
            )
            found.append(_mixed(weights, means, spread))
        zone_levels = tuple(found)
    prior = max(priors, key=lambda b: b.log_weight)
    prior_value, prior_variance = _level(layout, prior, shares, counted)
    own: Estimate | None = None
    if informed and prior_variance > 0.0:
        after = float(levels[int(weights.argmax()), 1])
        if after < 0.97 * prior_variance:
            information = 1.0 / after - 1.0 / prior_variance
            own_value = (level.value / after - prior_value / prior_variance) / information
            own = Estimate(float(own_value), float(1.0 / np.sqrt(information)))
    full_seen = measures.heat is not None and measures.heat.full_blocks > 0
    full_seen |= any(zone is not None for zone in measures.zone_heat)
    basis: Basis = "none"
    if informed and measures.output in ("duty", "on-off"):
        basis = "duty"
    elif full_seen:
        basis = "full-output climb"
    elif measures.kept is not None:
        basis = "kept pace"
    at_least = quantile(weights, values, errors, 0.05) if basis == "kept pace" else None
    return Condition(
        index=index,
        reference=reference,
        reference_firings=counted,
        basis=basis,
        level=level,
        drift=drift,
        zone_levels=zone_levels,
        power=own,
        zone_power=tuple([None] * len(zone_levels)),
        at_least=at_least,
        balance=_balance(layout, prior, measures, shares, evidence_slot),
        step=_step(layout, branches, weights, index, recent),
        level_low=quantile(weights, values, errors, 0.05),
        level_high=quantile(weights, values, errors, 0.95),
        programme=programme.name,
        programme_fired=programme.fired,
        new_programme=new_programme,
        leak=float(
            sum(
                w
                for w, b in zip(weights.tolist(), branches, strict=True)
                if b.belief.story.jump == "leak"
                and b.belief.story.jump_firing is not None
                and index - b.belief.story.jump_firing < _RECENT_FIRINGS
            )
        ),
        end=firing.end,
        short_c=firing.short_c,
    )

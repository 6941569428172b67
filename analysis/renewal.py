"""Whether a new set of elements may be called 100 %: only if it gives about what was 100 % before it.

After a new set the kiln becomes its own reference anew, so its first firing is 100 % by construction: a set with a wire
left off would be praised. The power that was 100 % before is therefore kept until the new set has shown as much. If it
shows less, the old reference stays, and the loss stands as one that a repair can take back.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.climb import NINETY, Estimate
from analysis.findings import Reference
from analysis.grid import FloatArray
from analysis.mixture import mixed
from analysis.power_filter import Belief
from analysis.state_vector import Layout, whole_power

SHORT = -0.08
"""A new set this far (log) below the old 100 % is no set at full power: new wire may be 5 % off, and the old 100 % is
that of the first firings in the logs, which a new set equals or exceeds."""

KNOWN = 0.08
"""Error (log) from which on a new set's power against the old one is known well enough to be its own reference."""

WAITS = 3
"""Firings after which a new set of which nothing can be told is its own reference all the same."""

LEAST_FIRINGS = 3
"""Firings the old reference must rest on to be worth comparing with."""


@dataclass(frozen=True, slots=True)
class Former:
    """What was 100 % before a new set: log power with its error, what it rested on, and the set's first firing."""

    value: float
    error: float
    reference: Reference
    firing: int


def former_of(
    layout: Layout, beliefs: Sequence[Belief], reference: Reference, counted: int, firing: int
) -> Former | None:
    """Return the 100 % that held until firing number ``firing``, or None if it rested on too few firings."""
    if counted < LEAST_FIRINGS:
        return None
    best = max(beliefs, key=lambda belief: belief.log_weight)
    variance = float(best.covariance[layout.reference, layout.reference])
    return Former(float(best.mean[layout.reference]), max(variance, 0.0) ** 0.5, reference, firing)


def against(former: Former, layout: Layout, beliefs: Sequence[Belief], shares: FloatArray) -> Estimate:
    """Return the log power now over the former 100 %, over the living histories."""
    weights = np.exp([belief.log_weight for belief in beliefs] - np.max([belief.log_weight for belief in beliefs]))
    told = [whole_power(layout, belief.mean, shares) for belief in beliefs]
    zones = layout.zones
    variances = [float(g @ b.covariance[:zones, :zones] @ g) for b, (_, g) in zip(beliefs, told, strict=True)]
    shown = mixed(weights / weights.sum(), np.array([value - former.value for value, _ in told]), np.array(variances))
    return Estimate(shown.value, float(np.hypot(shown.error, former.error)))


def falls_short(shown: Estimate, *, stalled: bool = False) -> bool:
    """Return whether a new set surely gives less than the old 100 %.

    A firing that ``stalled`` at full output short of its peak says so by itself: then the estimate need not be sure.
    """
    return shown.value + (0.0 if stalled else NINETY * shown.error) < SHORT


def settled(former: Former, shown: Estimate, firing: int) -> bool:
    """Return whether the new set may be its own reference from now on."""
    return (shown.error <= KNOWN and shown.value > SHORT) or firing - former.firing + 1 >= WAITS


def kept(layout: Layout, belief: Belief, former: Former, shown: Estimate) -> Belief:
    """Return the belief with the former 100 % back; what is missing stands as a sudden loss not yet mended."""
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    at = layout.reference
    mean[at] = former.value
    covariance[at, :] = 0.0
    covariance[:, at] = 0.0
    covariance[at, at] = former.error**2
    story = replace(belief.story, standing=min(0.0, shown.value))
    return Belief(belief.log_weight, mean, covariance, story)

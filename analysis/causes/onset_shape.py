"""Whether a measure left its usual value all at once or little by little.

A crack, a lid that does not close, a broken element come between one firing and the next and stay; a couple drifts, a
wire wears from firing to firing. How far the measure fell at its sharpest (`sharpest_fall`) tells the two apart, and so
does the way it went on (`step_over_ramp`).
"""

from collections.abc import Sequence
from functools import lru_cache
from math import sqrt

import numpy as np

from analysis.grid import FloatArray

KEPT = 16
"""Firings over which the two are told apart: drift worth a message takes as many."""

_AFTER, _BEFORE, _LEAST = 3, 6, 3
"""Firings whose means are compared for a fall, and how many there must be before it."""


def sharpest_fall(distances: Sequence[float]) -> float:
    """Return how far the mean of the newest 1 to 3 firings fell below that of the 6 before, in errors of that; <= 0.

    Parameters
    ----------
    distances : (n,) how far a measure lay from its usual in one firing after the other, in spreads.
    """
    worst = 0.0
    for after in range(1, _AFTER + 1):
        new, old = distances[-after:], distances[:-after][-_BEFORE:]
        if len(old) >= _LEAST:
            fall = sum(new) / len(new) - sum(old) / len(old)
            worst = min(worst, fall / sqrt(1.0 / len(new) + 1.0 / len(old)))
    return worst


def step_over_ramp(distances: Sequence[float]) -> float:
    """Return ln of how much better a step downward fits than a ramp, 0 where nothing tells them apart.

    Both are flat at nought up to an onset, which for the ramp may lie before the first of the firings (n,), and have as
    many unknowns as each other, so that their best fits by least squares may be compared as they are.
    """
    values = np.asarray(distances, dtype=np.float64)
    if values.size < 2:
        return 0.0
    steps, ramps = _shapes(values.size)
    return 0.5 * (_taken_by(steps, values) - _taken_by(ramps, values))


def _taken_by(shapes: FloatArray, values: FloatArray) -> float:
    """Return the sum of squares that the best of some shapes (s, n) takes out of ``values`` (n,)."""
    along = np.minimum(shapes @ values, 0.0)
    return float((along**2 / np.einsum("sn,sn->s", shapes, shapes)).max())


@lru_cache(maxsize=2 * KEPT)
def _shapes(count: int) -> tuple[FloatArray, FloatArray]:
    """Return the unit steps and ramps (s, n) of every onset."""
    at = np.arange(count)
    steps = (at >= np.arange(count)[:, None]).astype(np.float64)
    ramps = np.clip(at - np.arange(-count, count - 1)[:, None], 0, None).astype(np.float64)
    return steps, ramps

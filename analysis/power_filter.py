"""The kiln's hidden state, firing by firing: a Kalman filter with rival histories.

Slow ageing is a level with a drift; a fault is a jump. Each history (``Hypothesis``) is a Gaussian over the state
vector of ``analysis.heat_model`` and the story behind it: no jump, or a jump of a zone, of all zones alike, or of
the wall's loss at some firing. Every firing is weighed under each living history and, where it surprises, under
histories that branch off it; the few best survive (a mixture Kalman filter; Harrison & Stevens 1976 gave the
multi-process form). Cost per firing does not depend on how many came before.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import erfc, exp, log, pi, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.cooling import Bend, Row, merged_bend
from analysis.grid import FloatArray
from analysis.heat_model import Blur, FiringModel

JumpKind = Literal["none", "zone", "all", "leak", "supply"]
Pace = Literal["steady", "wearing"]

MOST_HYPOTHESES = 8
_LEAST_WEIGHT, _CHANCE_FIRINGS, _LEAST_OLD_WEIGHT = 5e-4, 5, 0.005
"""Weight below which a history is given up: in the first firings after its jump, how many those are, and later. A leak
parts from lost power only as loads vary, so slowly. A calibration on simulated kilns, not physics: at 0.03 leaks were
given up too early; a chance of 15 firings did no better."""

_PLAIN_WEIGHT = -7.0
"""Log of the least weight the history without a jump keeps (one in a thousand)."""
_ITERATIONS = 4
_AT_REST = 3e-3
"""Steps of the state (logs) below this change nothing that is told."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One history: its log weight, the state's mean and covariance (upper triangle), and its latest jump.

    ``pace`` is the class of its slow drift. ``before`` holds the zones' log powers just before the jump, empty
    without one, ``wall_before`` and ``gaps_before`` what was lost then (``analysis.state_vector``); ``fault`` holds the
    log steps by zone of the single fault that was assumed, "" if the size was left open; ``standing`` sums earlier
    jumps not yet repaired; from ``renewed_firing`` on, new elements are assumed that no logbook tells of; ``bend`` is
    what its free coolings tell.
    """

    log_weight: float
    mean: tuple[float, ...]
    covariance: tuple[float, ...]
    jump: JumpKind = "none"
    jump_firing: int | None = None
    jump_zone: int | None = None
    before: tuple[float, ...] = ()
    pace: Pace = "steady"
    fault: str = ""
    wall_before: float | None = None
    gaps_before: float | None = None
    standing: float = 0.0
    renewed_firing: int | None = None
    bend: Bend = field(default_factory=Bend)

    def carried(self, log_weight: float, mean: Row, covariance: Row, bend: Bend) -> "Hypothesis":
        """The same story with other numbers."""
        return Hypothesis(  # ``dataclasses.replace`` takes several times as long
            log_weight=log_weight,
            mean=mean,
            covariance=covariance,
            jump=self.jump,
            jump_firing=self.jump_firing,
            jump_zone=self.jump_zone,
            before=self.before,
            pace=self.pace,
            fault=self.fault,
            wall_before=self.wall_before,
            gaps_before=self.gaps_before,
            standing=self.standing,
            renewed_firing=self.renewed_firing,
            bend=bend,
        )

    def bent(self, bend: Bend) -> "Hypothesis":
        """The same story with what is believed of its kiln's cooling."""
        return self.carried(self.log_weight, self.mean, self.covariance, bend)

    def over(self) -> "Hypothesis":
        """The story of a kiln in which nothing that was assumed stands any more."""
        return replace(
            self,
            jump="none",
            jump_firing=None,
            jump_zone=None,
            before=(),
            fault="",
            wall_before=None,
            gaps_before=None,
            standing=0.0,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """A hypothesis unpacked for computing."""

    log_weight: float
    mean: FloatArray
    covariance: FloatArray
    story: Hypothesis

    def moved(self, mean: FloatArray, covariance: FloatArray) -> "Belief":
        """The same story with other moments (``dataclasses.replace`` takes several times as long)."""
        return Belief(self.log_weight, mean, covariance, self.story)

    def weighed(self, log_weight: float) -> "Belief":
        """The same belief with another weight."""
        return Belief(log_weight, self.mean, self.covariance, self.story)


@lru_cache(maxsize=8)
def _upper(size: int) -> NDArray[np.intp]:
    """Places of the upper triangle, row by row, in a matrix (size, size) laid out flat."""
    rows, columns = np.triu_indices(size)
    return rows * size + columns


@lru_cache(maxsize=8)
def _square(size: int) -> NDArray[np.intp]:
    """For each entry of a symmetric matrix (size, size) its place in the upper triangle."""
    places = np.zeros((size, size), dtype=np.intp)
    places.flat[_upper(size)] = np.arange(size * (size + 1) // 2)
    return np.maximum(places, places.T)


def unpack(hypothesis: Hypothesis) -> Belief:
    """Arrays of a stored hypothesis."""
    mean = np.asarray(hypothesis.mean)
    covariance = np.asarray(hypothesis.covariance)[_square(mean.size)]
    return Belief(hypothesis.log_weight, mean, covariance, hypothesis)


def pack(belief: Belief) -> Hypothesis:
    """The storable form of a belief."""
    mean, covariance = belief.mean, belief.covariance.ravel()[_upper(belief.mean.size)]
    story = belief.story
    return story.carried(float(belief.log_weight), tuple(mean.tolist()), tuple(covariance.tolist()), story.bend)


@dataclass(frozen=True, slots=True, eq=False)
class Posteriors:
    """Result of one update of m Gaussians over n entries: means (m, n), covariances (m, n, n), log evidence (m,).

    ``surprise`` (m,) is the innovation's squared length (about ``rows`` if all is as expected).
    """

    means: FloatArray
    covariances: FloatArray
    log_evidence: FloatArray
    surprise: FloatArray
    rows: int


def gauss_newton(means: FloatArray, covariances: FloatArray, model: FiringModel, blur: Blur) -> Posteriors:
    """Update m Gaussians over the augmented state (m, n) and (m, n, n) by one firing's residual rows.

    The iterated extended Kalman update (Bell & Cathey 1993: it is Gauss-Newton on the posterior); the log evidence
    is Laplace's. All at once, since calling numpy once for each would take longer than the arithmetic.
    """
    active = model.active
    starts = means[:, active]
    across = covariances[:, active]
    inside = across[:, :, active]
    worth, accuracy = model.worth(starts), model.accuracy(blur)
    here = starts
    for _ in range(_ITERATIONS):
        residual, jacobian = model.rows(here, worth)
        residual *= accuracy
        jacobian *= accuracy[:, :, None]
        spread = inside @ jacobian.transpose(0, 2, 1)
        inner = jacobian @ spread + np.eye(jacobian.shape[1])
        innovation = residual[:, :, None] + jacobian @ (starts - here)[:, :, None]
        solved = np.linalg.solve(inner, innovation)
        moved = starts - (spread @ solved)[:, :, 0]
        # one that has come to rest stays at the point its rows were taken at
        moving = np.abs(moved - here).max(axis=1) >= _AT_REST
        if not moving.any():
            break
        here = np.where(moving[:, None], moved, here)
    crossed = jacobian @ across
    # with inner = L L': what is taken off the covariance is a square, so it stays symmetric
    lower = np.linalg.cholesky(inner)
    halved = np.linalg.solve(lower, crossed)
    after = means - (solved.transpose(0, 2, 1) @ crossed)[:, 0]
    narrowed = covariances - halved.transpose(0, 2, 1) @ halved
    surprise = (innovation * solved).sum(axis=(1, 2))
    log_root = np.log(lower.diagonal(axis1=1, axis2=2)).sum(axis=1)
    evidence = model.log_volumes(worth, blur) - 0.5 * surprise - log_root
    return Posteriors(after, narrowed, evidence, surprise, residual.shape[1])


_MARGIN_ERROR = 0.02
"""Error of the balance over half an hour, as a share of full power: how sharp the bound of a kept pace is."""


_ENOUGH = 1.0


def censored(posteriors: Posteriors, margins: FloatArray, gradients: FloatArray) -> Posteriors:
    """Condition m Gaussians on positive margins (m,) (a kept pace), matching moments of the truncated normal.

    ``gradients`` (m, n) are the margins' with respect to the state. A margin's own error is ``_MARGIN_ERROR``; the log
    evidence gains the log of the probability that it is positive (Greene, Econometric Analysis, ch. 19: moments of a
    truncated normal).
    """
    spreads = (posteriors.covariances @ gradients[:, :, None])[:, :, 0]
    variances = (gradients * spreads).sum(axis=1) + _MARGIN_ERROR**2
    # a bound met with a standard error to spare adds little; meeting it again each firing must not push further
    bound = np.flatnonzero(margins <= _ENOUGH * np.sqrt(variances))
    if not bound.size:
        return posteriors
    variance, spread = variances[bound], spreads[bound]
    deviation = np.sqrt(variance)
    z = np.maximum(margins[bound] / deviation, -6.0)
    chance = 0.5 * np.array([erfc(-each / sqrt(2.0)) for each in z.tolist()])
    ratio = np.exp(-0.5 * z * z) / sqrt(2.0 * pi) / chance
    shrink = ratio * (ratio + z)
    means, covariances = posteriors.means.copy(), posteriors.covariances.copy()
    evidence, surprise = posteriors.log_evidence.copy(), posteriors.surprise.copy()
    means[bound] += spread * (ratio / deviation)[:, None]
    covariances[bound] -= spread[:, :, None] * spread[:, None, :] * (shrink / variance)[:, None, None]
    evidence[bound] += np.log(chance)
    surprise[bound] += np.where(z < 0.0, -2.0 * np.log(2.0 * chance), 0.0)
    return Posteriors(means, covariances, evidence, surprise, posteriors.rows)


def _merged(alike: list[Belief]) -> Belief:
    """One Gaussian with the mean and covariance of several weighted ones."""
    if len(alike) == 1:
        return alike[0]
    top = max(b.log_weight for b in alike)
    raw = [exp(b.log_weight - top) for b in alike]
    total = sum(raw)
    weights = np.array(raw) / total
    means, covariances = np.array([b.mean for b in alike]), np.array([b.covariance for b in alike])
    mean: FloatArray = weights @ means
    apart = (means - mean) * np.sqrt(weights)[:, None]  # as a square, so that the sum stays symmetric
    covariance: FloatArray = (weights @ covariances.reshape(len(alike), -1)).reshape(covariances.shape[1:])
    covariance += apart.T @ apart
    ranked = sorted(zip(raw, alike, strict=True), key=lambda pair: -pair[0])
    best = ranked[0][1].story
    bends = [b.story.bend for _, b in ranked]
    bend = merged_bend(np.array([share for share, _ in ranked]) / total, bends)
    return Belief(top + log(total), mean, covariance, best if bend is best.bend else best.bent(bend))


def _least_weight(story: Hypothesis, index: int) -> float:
    """Weight below which a history is dropped: one whose jump did not convince for a while has had its chance."""
    waited = 0 if story.jump_firing is None else index - story.jump_firing
    return _LEAST_WEIGHT if waited < _CHANCE_FIRINGS else _LEAST_OLD_WEIGHT


def merge(beliefs: Sequence[Belief]) -> list[Belief]:
    """Join the beliefs that tell the same story, in the order in which the stories first come; weights add up."""
    stories: dict[tuple[str | int | None, ...], list[Belief]] = {}
    for belief in beliefs:
        story = belief.story
        key = (story.pace, story.jump, story.jump_firing, story.jump_zone, story.fault, story.renewed_firing)
        stories.setdefault(key, []).append(belief)
    return [_merged(alike) for alike in stories.values()]


def prune(beliefs: list[Belief], index: int) -> list[Belief]:
    """Merge beliefs that tell the same story after firing ``index``, normalise the weights and keep the best few."""
    merged = merge(beliefs)
    top = max(b.log_weight for b in merged)
    total = top + log(sum(exp(b.log_weight - top) for b in merged))
    ranked = [b.weighed(b.log_weight - total) for b in sorted(merged, key=lambda b: -b.log_weight)]
    kept = [b for b in ranked if b.log_weight > log(_least_weight(b.story, index))][:MOST_HYPOTHESES]
    # the history without a jump is never quite given up: one odd firing must not condemn a sound kiln for good
    plain = next((b for b in ranked if b.story.jump == "none"), None)
    if plain is not None and plain.log_weight < _PLAIN_WEIGHT:
        kept = [b for b in kept if b is not plain][: MOST_HYPOTHESES - 1]
        kept.append(plain.weighed(_PLAIN_WEIGHT))
    left = log(sum(exp(b.log_weight) for b in kept))
    return [b.weighed(b.log_weight - left) for b in kept]

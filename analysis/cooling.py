"""What a kiln's free cooling tells of leaks: its bend.

Without output the wall takes its heat from what the kiln holds: A q + C dT/dt = 0, with q the flux that brick conducts
(``analysis.wall_heat``), so every block of a cooling tells the same A / C. What leaves by a gap, a crack or a lid that
does not close is radiated and carried off, and grows faster with the temperature than what brick conducts: then the
kiln cools too fast while hot, and log A / C, block by block, rises with the temperature. That rise is the bend.

Nothing that happens to elements, relays or supply can bend a cooling, so it parts a leak from lost power, which the
heating alone does only as far as loads are alike. It says little of the leak's size, and none is needed for a leak to
be real: heat lost like a wall's, only more of it, bends nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, log1p, sqrt

import numpy as np

from analysis.climb import Estimate
from analysis.grid import FloatArray

PER_C = 100.0
"""The bend is told per so many deg C."""

_EVENED_BLOCKS, _LEAST_BLOCKS, _LEAST_SPAN_C = 6, 8, 100.0
"""An hour in which ware and zones even out, and a fault that left them uneven still shows; and what is needed after it
to tell a slope."""

_TOGETHER = 3.0
"""Errors of neighbouring ten-minute blocks go together: three count as one."""

_LIGHT_BENDS, _LIGHT_SPREAD = 0.035, 0.015
"""A light load leaves more of a bend than a heavy one, per unit of log A / C, as ware gives its heat up late: 0.02 to
0.06 in the kilns of two independent simulators, none where a load is one lump. A calibration, not physics; each kiln's
own is learned."""

_SCATTER = 0.006
"""Scatter of one kiln's bend from firing to firing and between its programmes, as seen there (0.003 to 0.005), and a
little more."""

_FIRST_ERROR = 0.05
_WALK = 5e-4
"""How far kilns differ (as seen there: -0.05 to 0.01), and how far brickwork moves from firing to firing."""

_OF_LEAK, _OF_LEAK_SPREAD = 0.02, 0.02
"""Bend of a leak. One that radiates a fifth of the wall's loss: the fourth power of 1473 K over that of 873 K is 8, the
flux into a cooling wall falls to a third or so, so 0.2 * (8 / 3 - 1) over 6 times 100 deg C is 0.05; one that leaves as
the wall's own heat does bends nothing."""

_OF_REPAIR, _OF_CLOSING = 0.03, 0.01
"""How far the bend may stand from where it was once lid or brickwork has been seen to; and from where it was before the
leak, once that is closed."""

_TAILS = 4.0
"""Degrees of freedom of Student's t: now and then a lid is opened a crack, or a fan runs."""

_SURELY, _RISEN = 2.0, 3.0
"""Spreads from which a cooling surely bends more than is expected, and a leak's rise is believed whatever the heat
balance tells: one healthy cooling in forty, and hardly any kiln."""


@dataclass(frozen=True, slots=True)
class Told:
    """What one cooling tells: its bend, the error of that, and the mean log A / C (per 100 deg C) it was told at."""

    bend: float
    error: float
    log_ratio: float


def bend_of(mean_c: FloatArray, flux: FloatArray, rate: FloatArray) -> Told | None:
    """Return the bend of a free cooling; None where too little of it is left.

    Parameters
    ----------
    mean_c : (b,) temperature of the cooling's blocks in their order, deg C.
    flux, rate : (b,) flux into the wall and rate of the temperature, in the units of ``analysis.balance``.
    """
    good = (rate < 0.0) & (flux > 0.0)
    good[:_EVENED_BLOCKS] = False
    at = np.flatnonzero(good)
    if at.size < _LEAST_BLOCKS or np.ptp(mean_c[at]) < _LEAST_SPAN_C:
        return None
    logs, heat = np.log(-rate[at] / flux[at]), mean_c[at] / PER_C
    level = float(logs.mean())
    heat, logs = heat - heat.mean(), logs - level
    square = float(heat @ heat)
    slope = float(heat @ logs) / square
    off = logs - slope * heat
    error = sqrt(_TOGETHER * float(off @ off) / (at.size - 2) / square)
    return Told(slope, hypot(error, _SCATTER), level)


Row = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Bend:
    """What a history believes of its kiln's coolings: bend = base + light * log A / C, and + rise while it leaks.

    ``mean`` holds base, light and, in a history in which the kiln leaks, the rise since before; ``covariance`` theirs,
    row by row.
    """

    mean: Row = (0.0, _LIGHT_BENDS)
    covariance: tuple[Row, ...] = ((_FIRST_ERROR**2, 0.0), (0.0, _LIGHT_SPREAD**2))

    @property
    def leaks(self) -> bool:
        """True in a history in which the kiln leaks."""
        return len(self.mean) > 2

    def risen(self) -> Estimate:
        """Return by how much the bend has risen since before the leak; nothing in a history without one."""
        return Estimate(self.mean[2], sqrt(self.covariance[2][2])) if self.leaks else Estimate(0.0, 0.0)

    def _expected(self, told: Told) -> tuple[float, list[float], float]:
        """Return how far a cooling is off, the covariance of the mean with what was expected, and the variance of that.

        A cooling of an earlier day says a little less of the base (``_WALK``).
        """
        rows = (1.0, told.log_ratio, 1.0)[: len(self.mean)]
        off = told.bend - sum(m * h for m, h in zip(self.mean, rows, strict=True))
        across = [sum(c * h for c, h in zip(row, rows, strict=True)) for row in self.covariance]
        across[0] += _WALK**2
        return off, across, sum(c * h for c, h in zip(across, rows, strict=True))

    def distance(self, told: Told) -> float:
        """Return how far a cooling's bend lies from what is expected, in spreads; positive if it bends more."""
        off, _, variance = self._expected(told)
        return off / sqrt(variance + told.error**2)

    def more(self, told: Told) -> bool:
        """Whether a cooling surely bends more than is expected."""
        return self.distance(told) > _SURELY

    def weighed(self, told: Told, blur: float = 1.0) -> "tuple[float, Bend]":
        """Return the log evidence of a cooling, and what is believed after it.

        Student's t: what lies far off weighs, and teaches, less than a Gaussian's would (the gain is that of the
        scale mixture it is). A log taken to be odd, its errors wider by ``blur``, teaches nothing.
        """
        off, across, variance = self._expected(told)
        total = variance + (told.error * blur) ** 2
        square = off * off / total
        evidence = -0.5 * ((_TAILS + 1.0) * log1p(square / _TAILS) + log(total))
        if self.leaks and off + self.mean[2] < 0.0:  # what bends less than before speaks for no leak, whatever its size
            evidence = min(evidence, self._without_leak().weighed(told, blur)[0])
        if blur > 1.0:
            return evidence, self
        total = variance + told.error**2 * max(1.0, (_TAILS + square) / (_TAILS + 1.0))
        mean = tuple(m + a * off / total for m, a in zip(self.mean, across, strict=True))
        left = [
            [c - a * b / total for c, b in zip(row, across, strict=True)]
            for row, a in zip(self.covariance, across, strict=True)
        ]
        left[0][0] += _WALK**2
        return evidence, Bend(mean, tuple(tuple(row) for row in left))

    def leaking(self) -> "Bend":
        """Return what is believed once a leak, or another one, has begun: before it the bend was as it is now."""
        (base, light, *more), (to_base, to_light, *to_rise) = self.mean, self.covariance
        variance, shared = to_base[0], to_base[1]
        if more:
            base += more[0]
            variance += 2.0 * to_base[2] + to_rise[0][2]
            shared += to_light[2]
        rows = ((variance, shared, 0.0), (shared, to_light[1], 0.0), (0.0, 0.0, _OF_LEAK_SPREAD**2))
        return Bend((base, light, _OF_LEAK), rows)

    def _without_leak(self) -> "Bend":
        return Bend(self.mean[:2], tuple(row[:2] for row in self.covariance[:2]))

    def closed(self) -> "Bend":
        """Return what is believed once the leak was none: the bend is as before it."""
        return self._loosened(_OF_CLOSING)

    def sealed(self) -> "Bend":
        """Return what is believed once lid or brickwork has been mended: a leak is closed, without one who knows."""
        return self._loosened(_OF_CLOSING if self.leaks else _OF_REPAIR)

    def _loosened(self, spread: float) -> "Bend":
        (variance, shared), second = self.covariance[0][:2], self.covariance[1][:2]
        return Bend(self.mean[:2], ((variance + spread**2, shared), second))


def surely_risen(bend: Estimate) -> bool:
    """Return whether a kiln's coolings speak for a leak by themselves: its bend has risen by many times its error."""
    return bend.value > _RISEN * bend.error


def merged_bend(weights: FloatArray, bends: Sequence[Bend]) -> Bend:
    """Return one bend with the mean and covariance of several, of the ``weights`` (m,); the first's if they differ."""
    if len({len(bend.mean) for bend in bends}) > 1 or all(bend == bends[0] for bend in bends):
        return bends[0]
    means = np.array([bend.mean for bend in bends])
    mean = weights @ means
    apart = (means - mean) * np.sqrt(weights)[:, None]
    covariance = np.tensordot(weights, np.array([bend.covariance for bend in bends]), 1) + apart.T @ apart
    return Bend(tuple(mean.tolist()), tuple(tuple(row) for row in covariance.tolist()))

"""What a kiln's free cooling tells of leaks: its bend.

Without output the wall takes its heat from what the kiln holds: A q + C dT/dt = 0, with q the flux that brick conducts
(``analysis.wall_heat``), so every block of a cooling tells the same A / C. What leaves by a gap, a crack or a lid that
does not close is radiated and carried off, and grows faster with the temperature than what brick conducts: then the
kiln cools too fast while hot, and log A / C, block by block, rises with the temperature. That rise is the bend.

Nothing that happens to elements, relays or supply can bend a cooling, so it parts a leak from lost power, which the
heating alone does only as far as loads are alike. It says little of the leak's size, and none is needed for a leak to
be real: heat lost like a wall's, only more of it, bends nothing.
"""

from dataclasses import dataclass, replace
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

_OF_REPAIR = 0.03
"""How far the bend may stand from where it was once lid or brickwork has been seen to."""

_TAILS = 4.0
"""Degrees of freedom of Student's t: now and then a lid is opened a crack, or a fan runs."""

_ODD_SCALE = 3.0
_SURELY = 2.0


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


@dataclass(frozen=True, slots=True)
class Bend:
    """What a history believes of its kiln's coolings: bend = ``value`` + ``light`` * log A / C.

    ``variance``, ``light_variance`` and ``covariance`` are of the two; ``before`` is the value before the latest leak.
    """

    value: float = 0.0
    light: float = _LIGHT_BENDS
    variance: float = _FIRST_ERROR**2
    light_variance: float = _LIGHT_SPREAD**2
    covariance: float = 0.0
    before: float = 0.0

    def risen(self) -> Estimate:
        """Return by how much the bend has risen since before the latest leak."""
        return Estimate(self.value - self.before, sqrt(self.variance))

    def _expected(self, told: Told) -> tuple[float, float, float, float]:
        """Return how far a cooling is off, the two gains before dividing, and the variance of what is expected."""
        by_value = self.variance + _WALK**2 + told.log_ratio * self.covariance
        by_light = self.covariance + told.log_ratio * self.light_variance
        off = told.bend - self.value - self.light * told.log_ratio
        return off, by_value, by_light, by_value + told.log_ratio * by_light

    def distance(self, told: Told) -> float:
        """Return by how many spreads a cooling bends more than is expected."""
        off, _, _, variance = self._expected(told)
        return off / sqrt(variance + told.error**2)

    def more(self, told: Told) -> bool:
        """Whether a cooling surely bends more than is expected."""
        return self.distance(told) > _SURELY

    def weighed(self, told: Told, *, odd: bool) -> "tuple[float, Bend]":
        """Return the log evidence of a cooling, and what is believed after it.

        Student's t: what lies far off weighs, and teaches, less than a Gaussian's would (the gain is that of the
        scale mixture it is). A log taken to be ``odd`` teaches nothing.
        """
        off, by_value, by_light, variance = self._expected(told)
        total = variance + (told.error * (_ODD_SCALE if odd else 1.0)) ** 2
        square = off * off / total
        evidence = -0.5 * ((_TAILS + 1.0) * log1p(square / _TAILS) + log(total))
        if odd:
            return evidence, self
        total = variance + told.error**2 * max(1.0, (_TAILS + square) / (_TAILS + 1.0))
        return evidence, Bend(
            self.value + by_value * off / total,
            self.light + by_light * off / total,
            self.variance + _WALK**2 - by_value * by_value / total,
            self.light_variance - by_light * by_light / total,
            self.covariance - by_value * by_light / total,
            self.before,
        )

    def leaking(self) -> "Bend":
        """Return what is believed once a leak has begun."""
        return replace(
            self, value=self.value + _OF_LEAK, variance=self.variance + _OF_LEAK_SPREAD**2, before=self.value
        )

    def sealed(self) -> "Bend":
        """Return what is believed once lid or brickwork has been seen to."""
        return replace(self, variance=self.variance + _OF_REPAIR**2)

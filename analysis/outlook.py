"""Outlook: firings until a power limit, as an interval, from the level, its drift and what is unsure about both.

Element wire does not age in a straight line: the oxide skin first grows ever more slowly (parabolic oxidation),
later the aluminium is used up, the section shrinks and resistance runs away. The rate over the coming firings is
therefore taken as the present rate times (age ratio) to a power that may lie on either side of zero, and the
uncertainty of that power, of the level and of the drift are carried through together. A straight line would be
too sure of itself. Alloy handbooks name both regimes; the width of the power's spread is back-tested.
"""

from dataclasses import dataclass
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from analysis.findings import Outlook
from analysis.measures import Estimate

DRIFT_SPREAD = 1.4
"""Over tens of firings the rate of ageing wanders more than its present estimate is unsure (programmes change, wire
ages unevenly). A calibration, not physics: back-tested on seven simulated fleets the 80 % interval held in 8 to 9 of 10
cases told 10 to 40 firings ahead, in one of them, where wear quickens much, in under 6."""

LONG_FIRINGS = 400.0  # beyond this "no end in sight" is the honest answer
_CURVATURE = (0.2, 0.6)  # mean and spread of the power of the rate's growth with age
_MIN_AGE_FIRINGS = 15.0  # the first logged firing is seldom the first firing
_NO_RATE = 1e-6  # log power per firing below which a kiln does not age
_LOW, _MIDDLE, _HIGH = 0.10, 0.50, 0.90  # an 80 % interval
_NORMAL = np.array(
    [-1.8627, -1.3180, -1.0, -0.7388, -0.5108, -0.3021, -0.1, 0.1, 0.3021, 0.5108, 0.7388, 1.0, 1.3180, 1.8627]
)

_GROWTH = 1.0 + _CURVATURE[0] + _CURVATURE[1] * _NORMAL
"""One more than the power of the rate's growth with age: 0.08 to 2.32, never 0."""


@dataclass(frozen=True, slots=True)
class FiringsLeft:
    """Firings left until a limit: middle and 80 % interval; ``high`` None for no end in sight."""

    middle: float | None
    low: float | None
    high: float | None


def firings_left(level: Estimate, drift: Estimate, limit: float, age_firings: float) -> FiringsLeft:
    """Return the firings until the log power ratio falls to ``limit`` (natural log).

    Parameters
    ----------
    level, drift : log power ratio now and its change per firing, each with one standard error.
    limit : the log ratio at which the count ends, for example ``log(0.9)``.
    age_firings : firings since the elements were new, or since the first one seen.
    """
    low, middle, high = _quantiles(level, drift, limit, age_firings, (_LOW, _MIDDLE, _HIGH))
    return FiringsLeft(middle, low, high)


def _quantiles(
    level: Estimate, drift: Estimate, limit: float, age_firings: float, shares: tuple[float, ...]
) -> list[float | None]:
    """Return the firings left below which each of ``shares`` of all cases lie, None for no end in sight."""
    age = max(age_firings, _MIN_AGE_FIRINGS)
    levels = level.value + level.error * _NORMAL
    rates = -(drift.value + DRIFT_SPREAD * drift.error * _NORMAL)
    above, falling = levels[levels > limit] - limit, rates[rates > _NO_RATE]
    left = _solve(above[:, None, None], falling[None, :, None], _GROWTH[None, None, :], age).ravel()
    # at the limit or below it none is left, where nothing falls no end is in sight: those need no solving
    none, every = (levels.size - above.size) * rates.size * _GROWTH.size, levels.size * rates.size * _GROWTH.size
    ranks = [int(q * (every - 1)) - none for q in shares]
    inside = [rank for rank in ranks if 0 <= rank < left.size]
    if inside:
        left.partition(inside)
    return [_finite(0.0 if rank < 0 else float(left[rank]) if rank < left.size else float("inf")) for rank in ranks]


def _solve(
    gap: NDArray[np.float64], rate: NDArray[np.float64], k: NDArray[np.float64], age: float
) -> NDArray[np.float64]:
    """Solve gap = rate * age / k * ((1 + m / age)^k - 1) for m firings; gap, rate and k (not 0) positive."""
    out: NDArray[np.float64] = k * (gap / (rate * age))
    out += 1.0
    # exp(log / k): a general power takes several times as long
    np.log(out, out=out)
    out /= k  # with the least of rates and powers still below 200, so that its exponential is a number
    np.exp(out, out=out)
    out -= 1.0
    out *= age
    return out


def _finite(value: float) -> float | None:
    return round(value, 1) if value <= LONG_FIRINGS else None


def outlook(
    level: Estimate | None,
    drift: Estimate | None,
    *,
    threshold: float,
    age_firings: float,
    ramp_margin: float | None = None,
    peak_margin: float | None = None,
) -> Outlook | None:
    """Return the outlook of a kiln, or None where level or drift are not known.

    ``ramp_margin`` and ``peak_margin`` are log power ratios, against now, at which the programme's last ramp can
    no longer be held and the peak no longer be reached (see `margin_from_climb`, `margin_from_duty`).
    """
    if level is None or drift is None:
        return None
    left = firings_left(level, drift, log(threshold), age_firings)
    now = Estimate(0.0, level.error)

    def until(margin: float | None) -> float | None:
        return None if margin is None else _quantiles(now, drift, margin, age_firings, (_MIDDLE,))[0]

    return Outlook(
        threshold,
        left.middle,
        left.low,
        left.high,
        programme_firings_left=until(ramp_margin),
        peak_firings_left=until(peak_margin),
        drift_per_firing=exp(drift.value) - 1.0,
    )


def margin_from_climb(climb_c_per_h: float, cooling_c_per_h: float, ramp_c_per_h: float) -> float | None:
    """Return the log power ratio against now at which the climb at full output falls to ``ramp_c_per_h``.

    From dT/dt = (P - L)/C: with climb and cooling at the same temperature, P/L = 1 + climb / cooling, and the
    power a ramp needs is (L + C ramp). ``ramp_c_per_h`` 0 gives the power at which the peak is just held.
    """
    loss = abs(cooling_c_per_h)
    if loss <= 0.0 or climb_c_per_h + loss <= 0.0:
        return None
    return log(max(ramp_c_per_h + loss, 1e-6) / (climb_c_per_h + loss))


def margin_from_duty(duty: float) -> float | None:
    """Return the log power ratio against now at which what now takes ``duty`` of full output would take all of it."""
    return log(duty) if 0.0 < duty <= 1.0 else None

"""Mean, error and quantiles of a mixture of normals: what rival histories say together."""

from collections.abc import Sequence
from functools import lru_cache
from math import erf, exp, pi, sqrt

from analysis.climb import Estimate
from analysis.grid import FloatArray


def mixed(weights: FloatArray, values: FloatArray, variances: FloatArray) -> Estimate:
    """Mean and standard error of a mixture."""
    mean = float(weights @ values)
    variance = float(weights @ (variances + (values - mean) ** 2))
    return Estimate(mean, sqrt(max(variance, 1e-10)))


_CLOSE = 1e-6
_ROOT_HALF, _NORMAL_TOP = sqrt(0.5), 1.0 / sqrt(2.0 * pi)


def quantile(weights: FloatArray, values: FloatArray, errors: FloatArray, share: float) -> float:
    """Quantile of a mixture of normals, by Newton's method on its distribution function, kept between bounds."""
    return quantiles(weights, values, errors, (share,))[0]


def quantiles(weights: FloatArray, values: FloatArray, errors: FloatArray, shares: Sequence[float]) -> list[float]:
    """Return several quantiles of a mixture of normals."""
    parts = [p for p in zip(weights.tolist(), values.tolist(), errors.tolist(), strict=True) if p[0] > 1e-4]
    whole = sum(w for w, _, _ in parts)
    mean = sum(w * v for w, v, _ in parts) / whole
    spread = sqrt(sum(w * (e * e + (v - mean) ** 2) for w, v, e in parts) / whole)
    return [_place(parts, share * whole, mean + _standard(share) * spread) for share in shares]


@lru_cache(maxsize=16)
def _standard(share: float) -> float:
    """The same of the standard normal: from there a mixture's is near."""
    return _place([(1.0, 0.0, 1.0)], share, 0.0)


def _place(parts: Sequence[tuple[float, float, float]], wanted: float, at: float) -> float:
    """Where (weight, mean, error) parts have ``wanted`` of their weight below, searched from ``at``."""
    spread = 6.0 if len(parts) > 1 else 3.0
    low = min([v - spread * e for _, v, e in parts])
    high = max([v + spread * e for _, v, e in parts])
    at = min(max(at, low), high)
    step = high - low
    # half of each weight, where it stands, one over its error times root two, and its density at the top
    scaled = [(0.5 * w, v, _ROOT_HALF / e, w / e) for w, v, e in parts]
    beyond = sum([half for half, _, _, _ in scaled]) - wanted
    while abs(step) > _CLOSE and high - low > _CLOSE:
        off, slope = beyond, 0.0
        for half, v, narrow, top in scaled:
            z = (at - v) * narrow
            off += half * erf(z)
            slope += top * exp(-z * z)
        low, high = (at, high) if off < 0.0 else (low, at)
        step = off / (slope * _NORMAL_TOP) if slope > 0.0 else 0.0
        # Newton's step where it stays inside, half the interval where it does not
        step = at - 0.5 * (low + high) if not low < at - step < high else step
        at -= step
    return at

"""Median and quantiles of plain columns.

numpy's own work for any axis, any method and any NaN; a firing asks for some fifty of them, mostly of a few hundred
values, and most of that time would go into asking. These give the same numbers (linear between ranks).
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_NEAR_TOP, _MANY = 0.99, 500
_FEW = 800
"""So few are sorted as quickly as two ranks are found among them."""


def median(values: FloatArray) -> float:
    """Return the median of ``values`` (n,), n >= 1, all finite."""
    return quantile(values, 0.5)


def quantile(values: FloatArray, share: float) -> float:
    """Return the value below which ``share`` (0..1) of ``values`` (n,) lie, n >= 1, all finite."""
    place = (values.size - 1) * share
    low = int(place)
    if low >= values.size - 1:
        return float(values.max())
    if share > _NEAR_TOP and values.size > _MANY:
        # only what is near the top need be ranked: all from the third highest of a hundred or so on, if that is enough
        floor = np.sort(values[:: values.size // 128 + 1])[-3]
        top = values[values >= floor]
        beyond = low - (values.size - top.size)
        if beyond >= 0:
            top.sort()
            below, above = float(top[beyond]), float(top[beyond + 1])
            return below + (above - below) * (place - low)
    ranked = values.copy()
    if ranked.size <= _FEW:
        ranked.sort()
    else:
        ranked.partition((low, low + 1))
    below, above = float(ranked[low]), float(ranked[low + 1])
    return below + (above - below) * (place - low)

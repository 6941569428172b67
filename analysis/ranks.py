"""Median and quantiles of plain columns.

numpy's own work for any axis, any method and any NaN; a firing asks for some fifty of them, mostly of a few hundred
values, and most of that time would go into asking. These give the same numbers (linear between ranks).
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def median(values: FloatArray) -> float:
    """Return the median of ``values`` (n,), n >= 1, all finite."""
    return quantile(values, 0.5)


def quantile(values: FloatArray, share: float) -> float:
    """Return the value below which ``share`` (0..1) of ``values`` (n,) lie, n >= 1, all finite."""
    place = (values.size - 1) * share
    low = int(place)
    if low >= values.size - 1:
        return float(values.max())
    ranked = np.partition(values, (low, low + 1))
    below, above = float(ranked[low]), float(ranked[low + 1])
    return below + (above - below) * (place - low)

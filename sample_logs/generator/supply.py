"""The studio's mains: the day's level, the neighbourhood's evening, and slow wander, as a share of nominal."""

import numpy as np
from numpy.typing import NDArray


def supply(
    rng: np.random.Generator, start_hour: float, cycles: int, cycle_s: float, *, level: float
) -> NDArray[np.float64]:
    """Supply voltage over nominal for each relay cycle.

    ``level`` is the studio's usual level; around it the day varies by 0.8 % (sd), the evening pulls down by up to
    1 % about 19 h, and a slow wander of 0.4 % (sd) has a memory of half an hour. All well inside +/-10 % (EN 50160).
    The three sizes are invented.
    """
    day = level + rng.normal(0.0, 0.008)
    hour = (start_hour + np.arange(cycles) * cycle_s / 3600.0) % 24.0
    evening = -0.010 * np.exp(-0.5 * ((hour - 19.0) / 2.0) ** 2)
    keep = float(np.exp(-cycle_s / 1800.0))
    shocks = rng.normal(0.0, 0.004 * np.sqrt(1.0 - keep**2), cycles)
    wander = np.empty(cycles)
    value = rng.normal(0.0, 0.004)
    for index in range(cycles):
        value = keep * value + shocks[index]
        wander[index] = value
    return np.asarray(day + evening + wander)

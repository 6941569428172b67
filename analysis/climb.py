"""Climb and cooling in bands of temperature: what a heating curve shows without any model.

At full output dT/dt = (P - L) / C; with no output dT/dt = -L / C.
"""

from dataclasses import dataclass

import numpy as np

from analysis.full_output import Drive
from analysis.grid import BoolArray, FloatArray, Grid

BAND_C = 25.0
FIRST_BAND_C = 100.0

_RESOLUTION_C = 0.6
"""Standard error of a two-minute mean of a thermocouple read to 1 deg C that wanders by about 1 deg C."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with one standard error."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class BandClimb:
    """Climb in one temperature band: mid ``at_c``, rise in deg C per hour with error, share at full output."""

    at_c: float
    climb: Estimate
    full_share: float


def _bands(grid: Grid, use: BoolArray, weight: FloatArray, *, rising: bool) -> tuple[BandClimb, ...]:
    """Rates in bands over the bins ``use``; the longest unbroken stay in each band counts.

    A rate is the slope of the least-squares line through the stay's two-minute means (reading has taken spikes out),
    its error that of the line, from the larger of its scatter and the thermometer's resolution.
    """
    mean = grid.mean_c
    where = np.flatnonzero(use)
    if where.size < 3:
        return ()
    climb = mean[where]
    band = np.floor(climb / BAND_C).astype(np.intp)
    begins = np.ones(where.size, dtype=np.bool_)
    begins[1:] = (band[1:] != band[:-1]) | (where[1:] - where[:-1] != 1)
    starts = np.flatnonzero(begins)
    count = np.diff(np.append(starts, where.size)).astype(np.float64)
    hours = grid.mid_s[where] / 3600.0
    run = np.cumsum(begins) - 1
    x = hours - (np.add.reduceat(hours, starts) / count)[run]
    y = climb - (np.add.reduceat(climb, starts) / count)[run]
    spread = np.add.reduceat(x * x, starts)
    slope = np.divide(np.add.reduceat(x * y, starts), spread, out=np.zeros(starts.size), where=count >= 3)
    left = np.add.reduceat((y - slope[run] * x) ** 2, starts)
    scatter = np.maximum(np.sqrt(left / count), _RESOLUTION_C)
    share = np.add.reduceat(weight[where], starts) / count
    right_way = slope > 0.0 if rising else slope < 0.0
    wanted = np.flatnonzero((count >= 3) & right_way & (band[starts] * BAND_C >= FIRST_BAND_C))
    # the longest stay in each band: sort by band, then by length, and keep the last of each
    order = wanted[np.lexsort((count[wanted], band[starts[wanted]]))]
    keys = band[starts[order]]
    last = order[np.append(np.diff(keys) != 0, True)] if order.size else order
    columns = ((band[starts[last]] + 0.5) * BAND_C, slope[last], scatter[last] / np.sqrt(spread[last]), share[last])
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return tuple(BandClimb(at_c, Estimate(rate, error), full) for at_c, rate, error, full in rows)


def climb_bands(grid: Grid, drive: Drive) -> tuple[BandClimb, ...]:
    """Climb in each 25 deg C band up to the end of heating; ``full_share`` is the share of zone-time at full output."""
    use = np.zeros(grid.mid_s.size, dtype=np.bool_)
    use[: drive.end] = True
    use &= ~grid.gap
    return _bands(grid, use, drive.full.mean(axis=1), rising=True)


def cooling_bands(grid: Grid, drive: Drive) -> tuple[BandClimb, ...]:
    """Rates (negative) in each band where every zone is off; ``full_share`` is 0."""
    use = drive.off.all(axis=1) & ~grid.gap
    use[: int(np.argmax(grid.mean_c))] = False
    return _bands(grid, use, np.zeros(grid.mid_s.size), rising=False)

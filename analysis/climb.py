"""Climb and cooling in bands of temperature: what a heating curve shows without any model.

At full output dT/dt = (P - L) / C; with no output dT/dt = -L / C. A band's rate is the slope of a straight line
through its samples (Theil-Sen's median of slopes between halves of the band is used, so that a knock or a step
of the thermometer does not matter), with its standard error.
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


def _paired_slope(time_h: FloatArray, temperature_c: FloatArray) -> Estimate:
    """Theil-Sen's slope over pairs half a band apart (Sen 1968), with the error of a least-squares line.

    Pairs of neighbours carry almost no information on the slope; pairs half the span apart carry nearly all.
    """
    half = time_h.size // 2
    run = time_h[half:] - time_h[: time_h.size - half]
    slopes = (temperature_c[half:] - temperature_c[: time_h.size - half]) / run
    slope = float(np.median(slopes))
    centred = time_h - time_h.mean()
    residual = temperature_c - temperature_c.mean() - slope * centred
    scatter = max(_RESOLUTION_C, float(residual.std()))
    error = scatter / float(np.sqrt((centred**2).sum()))
    return Estimate(slope, error)


def _bands(grid: Grid, use: BoolArray, weight: FloatArray, *, rising: bool) -> tuple[BandClimb, ...]:
    """Rates in bands over the bins ``use``; the longest unbroken stay in each band counts."""
    mean = grid.mean_c
    where = np.flatnonzero(use)
    if where.size < 3:
        return ()
    band = np.floor(mean[where] / BAND_C).astype(np.intp)
    breaks = np.flatnonzero((np.diff(band) != 0) | (np.diff(where) != 1)) + 1
    starts = np.concatenate(([0], breaks))
    stops = np.concatenate((breaks, [where.size]))
    best: dict[int, tuple[int, int]] = {}
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        key = int(band[start])
        if stop - start >= 3 and (key not in best or stop - start > best[key][1] - best[key][0]):
            best[key] = (start, stop)
    out: list[BandClimb] = []
    for key in sorted(best):
        at_c = (key + 0.5) * BAND_C
        start, stop = best[key]
        inside = where[start:stop]
        estimate = _paired_slope(grid.mid_s[inside] / 3600.0, mean[inside])
        if at_c < FIRST_BAND_C or (estimate.value > 0.0) != rising:
            continue
        out.append(BandClimb(at_c, estimate, float(weight[inside].mean())))
    return tuple(out)


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

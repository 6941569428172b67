"""Heat against demand: no rise at full output, and lag behind the set point."""

from dataclasses import dataclass

import numpy as np

from analysis.full_output import Drive, rates_c_per_h
from analysis.grid import Grid, runs_of
from analysis.ranks import quantile

_NO_RISE_C_PER_H = 6.0
"""A sound kiln at full output climbs at well over 50 deg C per hour below red heat; this is standing still."""


@dataclass(frozen=True, slots=True)
class NoRise:
    """The longest stand at full output: ``minutes`` of it, at ``at_c``, in zone number ``zone``."""

    minutes: float
    at_c: float
    zone: int


def no_rise(grid: Grid, drive: Drive) -> NoRise | None:
    """Longest time a zone was at full output without warming; None if under twenty minutes."""
    if not drive.full[: drive.end].any():
        return None
    standing = drive.full & (rates_c_per_h(grid, 5) < _NO_RISE_C_PER_H)
    standing[drive.end :] = False
    best: NoRise | None = None
    for zone in np.flatnonzero(standing.any(axis=0)).tolist():
        starts, stops = runs_of(standing[:, zone])
        longest = int(np.argmax(stops - starts))
        minutes = float((stops - starts)[longest] * grid.step_s / 60.0)
        if minutes >= 20.0 and (best is None or minutes > best.minutes):
            at_c = float(grid.zone_c[starts[longest] : stops[longest], zone].mean())
            best = NoRise(minutes, at_c, zone)
    return best


def worst_lag_c(grid: Grid, drive: Drive) -> float | None:
    """95th percentile of how far the slowest zone was behind its set point while heated; None without a set point."""
    if grid.set_point_c is None or drive.end < 5:
        return None
    behind = (grid.set_point_c - grid.zone_c)[: drive.end]
    most = behind.max(axis=1)  # NaN where any zone's is
    known = np.isfinite(most)
    most = most if known.all() else most[known]
    return quantile(most, 0.95) if most.size else None

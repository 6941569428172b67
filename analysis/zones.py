"""How the zones of a kiln share the work and how their temperatures agree."""

from functools import lru_cache

import numpy as np

from analysis.full_output import Drive
from analysis.grid import BoolArray, FloatArray, Grid
from analysis.ranks import median
from config.kiln import Circuit, Kiln

_EVEN_C = 12.0
"""Zones further apart than this exchange so much heat by radiation that their shares of duty say little."""


def rated_shares(kiln: Kiln, zones: int) -> tuple[float, ...]:
    """Each zone's share of the kiln's full power as new, from the circuits' cold ohms; equal where unknown.

    Circuits on the same voltage give power in proportion to 1/R. In a wye a circuit sees the phase voltage,
    in a delta the line voltage; circuits of one kiln are all connected alike, so the shares need no voltage.
    """
    return _shares(kiln.circuits, kiln.zones, zones)


@lru_cache(maxsize=32)
def _shares(circuits: tuple[Circuit, ...], names: tuple[str, ...], zones: int) -> tuple[float, ...]:
    """The same for the facts it depends on (every firing of a kiln asks for it)."""
    power = np.zeros(zones)
    for circuit in circuits:
        if circuit.zone not in names or not circuit.element_ohm:
            return tuple([1.0 / zones] * zones)
        ohms = np.asarray(circuit.element_ohm)
        if ohms.size == 1:
            ohms = np.repeat(ohms, circuit.elements)
        resistance = float(ohms.sum()) if circuit.wiring == "series" else float(1.0 / (1.0 / ohms).sum())
        at = names.index(circuit.zone)
        if at < zones:
            power[at] += 1.0 / resistance
    if power.min(initial=1.0) <= 0.0:
        return tuple([1.0 / zones] * zones)
    return tuple(float(x) for x in power / power.sum())


def even_work(grid: Grid, drive: Drive) -> BoolArray:
    """Bins in which the zones run together: all driven, none at full output, temperatures alike, shape (n,)."""
    driven = np.all((drive.output > 0.03) & (drive.output < 0.97), axis=1)
    even: BoolArray = np.asarray(driven & (np.ptp(grid.zone_c, axis=1) < _EVEN_C) & (grid.mean_c > 300.0))
    return even


def duty_shares(grid: Grid, drive: Drive) -> FloatArray | None:
    """Each zone's mean output while the zones run together, shape (z,); None if under half an hour of that."""
    if not drive.logged:
        return None
    even = even_work(grid, drive)
    if even.sum() * grid.step_s < 1800.0:
        return None
    means: FloatArray = drive.output[even].mean(axis=0)
    return means


def zone_offsets_c(grid: Grid, drive: Drive) -> FloatArray:
    """Median of each zone's temperature less the mean of all, over the heated part above 300 deg C, shape (z,)."""
    zones = grid.zone_c.shape[1]
    if zones == 1:
        return np.zeros(1)
    heated = slice(0, max(drive.end, 1))
    hot = np.flatnonzero(grid.mean_c[: drive.end] > 300.0)
    use = hot if hot.size else heated
    mean_c = grid.mean_c[use]
    return np.array([median(grid.zone_c[use, zone] - mean_c) for zone in range(zones)])

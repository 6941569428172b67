"""Energy, supply and resistance: what volts, amps and output say directly."""

import numpy as np

from analysis.climb import Estimate
from analysis.full_output import Drive
from analysis.grid import Grid
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln

_FAIR_CURRENT = 0.2
"""Below this share of a log's highest current a sample says nothing about resistance (relays opening, noise)."""


def energy_kwh(kiln: Kiln, grid: Grid, drive: Drive, shares: tuple[float, ...]) -> float | None:
    """Electrical energy of the firing: rated power times output times supply, summed; None without output.

    ``shares`` are the zones' shares of the rated power. The rated power stands for the full one: what ageing has
    taken off is the state's to say (multiply by the power ratio for the kWh drawn).
    """
    if kiln.rated_kw is None or not drive.logged:
        return None
    output = np.nan_to_num(drive.output)
    supply = 1.0 if grid.supply is None else grid.supply[:, None]
    heat = (output * supply * np.asarray(shares)[None, :]).sum()
    return float(kiln.rated_kw * heat * grid.step_s / 3600.0)


def supply_volts(log: FiringLog) -> float | None:
    """Median supply volts while heating hard, None if not logged."""
    if log.volts is None or not np.isfinite(log.volts).any():
        return None
    return float(np.nanmedian(log.volts))


def resistance_ohm(log: FiringLog) -> Estimate | None:
    """Ohms of everything switched on, V / I at the highest steady current; single-phase only, None if unknown.

    Amps are those of one conductor, so this is the kiln's resistance only where all current passes through it;
    the highest tenth of the readings are those with every circuit closed.
    """
    if log.volts is None or log.amps is None or log.amps.shape[1] != 1:
        return None
    amps = log.amps[:, 0]
    good = np.isfinite(amps) & np.isfinite(log.volts) & (log.volts > 0)
    if good.sum() < 30:
        return None
    top = float(np.quantile(amps[good], 0.99))
    if top <= 0.0:
        return None
    closed = good & (amps > 0.9 * top) & (amps > _FAIR_CURRENT * top)
    if closed.sum() < 5:
        return None
    ohms = log.volts[closed] / amps[closed]
    spread = 1.4826 * float(np.median(np.abs(ohms - np.median(ohms))))
    return Estimate(float(np.median(ohms)), max(spread / float(np.sqrt(closed.sum())), 1e-3 * float(np.median(ohms))))

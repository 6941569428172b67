"""Energy and supply: what volts and output say directly."""

import numpy as np

from analysis.full_output import Drive
from analysis.grid import Grid
from analysis.ranks import median
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln


def energy_kwh(kiln: Kiln, grid: Grid, drive: Drive, shares: tuple[float, ...]) -> float | None:
    """Electrical energy of the firing: rated power times output times supply, summed; None without output.

    ``shares`` are the zones' shares of the rated power. The rated power stands for the full one: what ageing has
    taken off is the state's to say (multiply by the power ratio for the kWh drawn).
    """
    if kiln.rated_kw is None or not drive.logged:
        return None
    output = np.where(np.isnan(drive.output), 0.0, drive.output)
    supply = 1.0 if grid.supply is None else grid.supply[:, None]
    heat = (output * supply * np.asarray(shares)[None, :]).sum()
    return float(kiln.rated_kw * heat * grid.step_s / 3600.0)


def supply_volts(log: FiringLog, heated_s: float) -> float | None:
    """Median supply volts in the ``heated_s`` seconds of heating, None if not logged: without load they are better."""
    known = np.zeros(0) if log.volts is None else log.volts[(log.elapsed_s <= heated_s) & (log.volts > 0.0)]
    return median(known) if known.size else None

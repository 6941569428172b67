"""Climb and cooling in bands of temperature: what a heating curve shows without any model.

At full output dT/dt = (P - L) / C; with no output dT/dt = -L / C.
"""

from dataclasses import dataclass

import numpy as np

from analysis.full_output import Drive
from analysis.grid import Grid

BAND_C = 25.0
FIRST_BAND_C = 100.0

_COOLING = 1_000
"""Added to a band's number to keep its cooling apart from its climb."""

_RESOLUTION_C = 0.6
"""Standard error of a two-minute mean of a thermocouple read to 1 deg C that wanders by about 1 deg C."""


NINETY = 1.6449
"""Standard errors either side of the middle 90 % of a normal distribution."""


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


def bands_of(grid: Grid, drive: Drive) -> tuple[tuple[BandClimb, ...], tuple[BandClimb, ...]]:
    """Climb and cooling in each 25 deg C band; the longest unbroken stay in each band counts.

    Climb is counted up to the end of heating; ``full_share`` is the share of zone-time at full output. Cooling
    (negative rates) is counted after the peak where every zone is off; its ``full_share`` is 0.
    A rate is the slope of the least-squares line through the stay's two-minute means (reading has taken spikes out),
    its error that of the line, from the larger of its scatter and the thermometer's resolution.
    """
    seen = ~grid.gap
    heated = np.flatnonzero(seen[: drive.end])
    top = int(np.argmax(grid.mean_c))
    cooling = np.flatnonzero(drive.off[top:].all(axis=1) & seen[top:]) + top
    where = np.concatenate((heated, cooling))  # one after the other, so that all of it is worked out at once
    if where.size < 3:
        return (), ()
    climb = grid.mean_c[where]
    band = np.floor(climb / BAND_C).astype(np.intp)
    begins = np.ones(where.size, dtype=np.bool_)
    begins[1:] = (band[1:] != band[:-1]) | (where[1:] - where[:-1] != 1)
    begins[heated.size : heated.size + 1] = True
    starts = np.flatnonzero(begins)
    count = np.append(starts[1:], where.size) - starts
    # sums over each stay, temperatures from their band's middle; of these the line's slope and what it leaves
    hours, above = grid.mid_s[where] / 3600.0, climb - (band + 0.5) * BAND_C
    full = drive.full.sum(axis=1)[where]
    columns = np.vstack((hours, above, hours * hours, hours * above, above * above, full))
    sum_h, sum_c, sum_hh, sum_hc, sum_cc, sum_full = np.add.reduceat(columns, starts, axis=1)
    spread = sum_hh - sum_h * sum_h / count
    along = sum_hc - sum_h * sum_c / count
    slope = np.divide(along, spread, out=np.zeros(starts.size), where=count >= 3)
    left = np.maximum(sum_cc - sum_c * sum_c / count - slope * along, 0.0)
    scatter = np.maximum(np.sqrt(left / count), _RESOLUTION_C)
    rising = starts < heated.size
    share = np.where(rising, sum_full / (count * drive.full.shape[1]), 0.0)
    wanted = (count >= 3) & (band[starts] * BAND_C >= FIRST_BAND_C) & np.where(rising, slope > 0.0, slope < 0.0)
    stays = np.flatnonzero(wanted)
    # the longest stay in each band: sort by kind, band and length, and keep the last of each
    keys = band[starts[stays]] + np.where(rising[stays], 0, _COOLING)
    order = np.lexsort((count[stays], keys))
    stays, keys = stays[order], keys[order]
    last = stays[np.append(keys[1:] != keys[:-1], True)] if stays.size else stays
    table = ((band[starts[last]] + 0.5) * BAND_C, slope[last], scatter[last] / np.sqrt(spread[last]), share[last])
    at_c, rate, error, full_share = (column.tolist() for column in table)
    bands = tuple(map(BandClimb, at_c, map(Estimate, rate, error), full_share))
    rises = int(np.count_nonzero(rising[last]))
    return bands[:rises], bands[rises:]

"""A firing's samples averaged onto a uniform time grid, the form every measure of power starts from."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.ranks import median
from analysis.reading.firing_log import FiringLog

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEP_S = 120.0
"""Bin width: several control cycles (10-30 s are usual), and short beside the minutes a kiln needs to change."""

_FEWEST_BINS = 10


def over_zones(values: FloatArray) -> FloatArray:
    """Return the mean over the zones (n,) of values (n, z); numpy's own takes several times as long to begin."""
    if values.shape[1] == 1:
        return values[:, 0]
    mean: FloatArray = values.sum(axis=1) / values.shape[1]
    return mean


def runs_of(flags: BoolArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return where each run of set flags (n,) begins and where it has ended."""
    fenced = np.zeros(flags.size + 2, dtype=np.bool_)
    fenced[1:-1] = flags
    edges = np.flatnonzero(fenced[1:] != fenced[:-1])
    return edges[::2], edges[1::2]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Bin means of one firing. ``n`` bins, ``z`` zones.

    Attributes
    ----------
    step_s : bin width in s.  mid_s : shape (n,), bin centres after the first sample.
    zone_c : shape (n, z) deg C, interpolated across empty bins.  seen : shape (n, z), True where a bin has samples.
    set_point_c, output : shape (n, z) or None; NaN where not logged.
    supply : shape (n,) or None, (volts / nameplate volts) squared: the share of rated power the supply allows.
    mean_c : shape (n,), temperature averaged over the zones.
    gap : shape (n,), True in an interruption of the log too long to interpolate over.

    Each zone's bins lie together in memory: what is worked out across the zones of a bin then runs along whole columns.
    """

    step_s: float
    mid_s: FloatArray
    zone_c: FloatArray
    seen: BoolArray
    set_point_c: FloatArray | None
    output: FloatArray | None
    supply: FloatArray | None
    gap: BoolArray

    mean_c: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean_c", over_zones(self.zone_c))


def _bin_means(which: NDArray[np.intp], values: FloatArray, count: NDArray[np.intp]) -> FloatArray:
    """Mean of ``values`` (samples,) in each bin; NaN where a bin has none. ``count`` is how many samples each has."""
    bins = count.size
    good = np.isfinite(values)
    if not good.all():
        which, values = which[good], values[good]
        count = np.bincount(which, minlength=bins)
    total = np.bincount(which, values, minlength=bins)
    means: FloatArray = np.divide(total, count, out=np.full(bins, np.nan), where=count > 0)
    return means


def _each_binned(which: NDArray[np.intp], values: FloatArray, count: NDArray[np.intp]) -> FloatArray:
    """Bin means (bins, z) of each column; those of a single set point or output, repeated for each zone, but once."""
    zones = range(values.shape[1])
    if len(zones) > 1 and (values.strides[1] == 0 or bool((values == values[:, :1]).all())):
        zones = range(1)
    means = np.stack([_bin_means(which, values[:, zone], count) for zone in zones])
    return np.repeat(means, values.shape[1], axis=0).T if len(zones) < values.shape[1] else means.T


def _filled(values: FloatArray) -> FloatArray:
    """Straight lines across the empty bins."""
    empty = np.isnan(values)
    if not empty.any():
        return values
    if empty.all():
        return values
    at = np.arange(values.size)
    out = values.copy()
    out[empty] = np.interp(at[empty], at[~empty], values[~empty])
    return out


def _filled_bins(
    which: NDArray[np.intp], elapsed_s: FloatArray, count: NDArray[np.intp]
) -> tuple[BoolArray, NDArray[np.intp], FloatArray]:
    """Which bins have samples, shape (bins,), and of these the number and mean time of the samples."""
    has: BoolArray = count > 0
    share = count[has]
    return has, share, np.bincount(which, elapsed_s, minlength=count.size)[has] / share


def _temperatures(
    log: FiringLog, which: NDArray[np.intp], mid_s: FloatArray, count: NDArray[np.intp]
) -> tuple[FloatArray, BoolArray]:
    """Zone temperatures at the bin centres (the mean of a bin belongs to the mean time of its samples)."""
    bins, zones = mid_s.size, log.zone_c.shape[1]
    zone_c = np.empty((zones, bins)).T
    seen = np.empty((zones, bins), dtype=np.bool_).T
    known = np.isfinite(log.zone_c)
    all_rows = _filled_bins(which, log.elapsed_s, count)  # the same for every zone without missing readings
    for zone in range(zones):
        good, at, values = known[:, zone], which, log.zone_c[:, zone]
        has, share, time = all_rows
        if not good.all():
            at, values = which[good], values[good]
            has, share, time = _filled_bins(at, log.elapsed_s[good], np.bincount(at, minlength=bins))
        seen[:, zone] = has
        if not share.size:
            zone_c[:, zone] = np.nan
            continue
        temperature = np.bincount(at, values, minlength=bins)[has] / share
        zone_c[:, zone] = np.interp(mid_s, time, temperature)
    return zone_c, seen


def grid_of(log: FiringLog, volts: float | None = None, sample_s: float | None = None) -> Grid | None:
    """Average a log onto a uniform grid; None if it is too short (under ten bins) or has no temperature.

    The bins of a log of less than twenty minutes are shorter, as far as its samples allow: a kiln that ran away within
    minutes was stopped there. A zone without any reading takes the mean of the others. ``volts`` is the nameplate
    voltage, ``sample_s`` the usual spacing of the samples where it is known already.
    """
    elapsed = log.elapsed_s
    if elapsed.size < 4:
        return None
    spacings = elapsed[1:] - elapsed[:-1]
    spacing = median(spacings) if sample_s is None else sample_s
    step = max(STEP_S, spacing)
    if elapsed[-1] < _FEWEST_BINS * step:
        step = max(float(elapsed[-1]) / (_FEWEST_BINS + 1), spacing)
    bins = int(elapsed[-1] // step)
    if bins < _FEWEST_BINS:
        return None
    which = np.minimum((elapsed / step).astype(np.intp), bins - 1)
    mid_s: FloatArray = (np.arange(bins, dtype=np.float64) + 0.5) * step
    count = np.bincount(which, minlength=bins)
    zone_c, seen = _temperatures(log, which, mid_s, count)
    if not seen.any():
        return None
    dead = ~seen.any(axis=0)
    if dead.any():
        zone_c[:, dead] = zone_c[:, ~dead].mean(axis=1, keepdims=True)
    gaps = np.flatnonzero(spacings > 4 * step)
    gap = np.zeros(bins, dtype=np.bool_)
    for at in gaps:
        gap[which[at] + 1 : which[at + 1]] = True
    set_point = output = supply = None
    if log.set_point_c is not None:
        set_point = _each_binned(which, log.set_point_c, count)
    if log.output is not None:
        output = np.stack([_filled(column) for column in _each_binned(which, log.output, count).T]).T
        output[gap] = np.nan
    if log.volts is not None and volts:
        known = np.where(log.volts > 0.0, log.volts, np.nan)  # a meter that reads nothing
        if not np.isnan(known).all():
            supply = _filled(_bin_means(which, known * known, count)) / (volts * volts)
    return Grid(step, mid_s, zone_c, seen, set_point, output, supply, gap)

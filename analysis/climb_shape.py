"""Full output told from the shape of the climb alone, for logs with neither output nor set point.

A programme asks for ramps of constant rate. A kiln at full output climbs as (P - L) / C: ever slower, smoothly, as its
loss grows. So a climb that keeps slowing over most of an hour or two, and is not faster where it is hotter, is at full
output; one that holds its rate for more than an hour follows its programme with something to spare; and anything
between is not known.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.grid import BoolArray, FloatArray, Grid

_BLOCK_BINS = 5
_SLOWING_BLOCKS = 5
_LONG_BLOCKS = 13
"""Windows in which a climb is seen to slow: most of an hour, and two hours, as a weak kiln crawls to its peak at a rate
that falls by less in an hour than ten minutes' rates are sure of."""

_STEADY_BLOCKS = 8

_RATE_NOISE_C_PER_H = 2.5
"""Error of a rate over ten minutes: two ends known to about 0.3 deg C each."""

_LEAST_SLOWING = 0.04
_MOST_SLOWING, _MOST_EVER = 0.45, 0.8
"""At full output the rate falls by some 2-6 % in ten minutes above 500 deg C; faster is the end of a segment. The share
lost over most of an hour, and the most in any window."""

_STEADY = 0.01
_LEAST_FULL_BLOCKS = 4
"""Fewer slowing blocks than this (40 minutes) in a whole climb are more often a programme's own doing."""

_SURE = 3.0
_FROM_C = 400.0


def _trend(windows: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, change over the window and largest distance from the straight line of each window (w, z, k)."""
    size = windows.shape[-1]
    at = np.arange(size) - (size - 1) / 2.0
    mean = windows.sum(axis=-1) / size
    slope = windows @ at / (at @ at)
    line = mean[..., None] + slope[..., None] * at
    return mean, slope * (size - 1), np.abs(windows - line).max(axis=-1)


def _spread_over(flags: BoolArray, size: int) -> BoolArray:
    """Blocks (w + size - 1, z) covered by the windows of ``size`` blocks flagged (w, z)."""
    windows, zones = flags.shape
    covered = np.zeros((windows + size - 1, zones), dtype=np.bool_)
    for at in range(size):
        covered[at : at + windows] |= flags
    return covered


def _trimmed(flags: BoolArray) -> BoolArray:
    """Runs without their first and last block, where one regime passes into the other."""
    inner = flags.copy()
    inner[1:] &= flags[:-1]
    inner[:-1] &= flags[1:]
    inner[[0, -1]] = False
    return inner


def _block_rates(grid: Grid, end: int) -> FloatArray:
    """Rates of each zone over ten-minute blocks up to bin ``end``, deg C per hour, shape (blocks, z)."""
    count = end // _BLOCK_BINS
    edges = grid.zone_c[: (count + 1) * _BLOCK_BINS : _BLOCK_BINS]
    if edges.shape[0] < count + 1:
        edges = np.vstack((edges, grid.zone_c[-1:]))
    rates: FloatArray = np.diff(edges, axis=0) / (_BLOCK_BINS * grid.step_s) * 3600.0
    return rates


_EVEN = 0.025


def even_climb(grid: Grid, end: int) -> BoolArray:
    """Where a zone climbs at one rate for most of an hour, shape (n, z): that is a programme, not full output.

    A controller without integral action lags such a ramp by a constant few degrees, which must not be taken for
    a kiln at its limit: that would slow by 8 % or more in the time.
    """
    even = np.zeros(grid.zone_c.shape, dtype=np.bool_)
    rates = _block_rates(grid, end)
    count = rates.shape[0]
    if count < _SLOWING_BLOCKS:
        return even
    mean, change, off = _trend(sliding_window_view(rates, _SLOWING_BLOCKS, axis=0))
    holds = (mean > 20.0) & (np.abs(change) < _EVEN * mean + 0.5) & (off < 0.03 * mean + _RATE_NOISE_C_PER_H)
    even[: count * _BLOCK_BINS] = np.repeat(_spread_over(holds, _SLOWING_BLOCKS), _BLOCK_BINS, axis=0)
    return even


_HOTTER_C, _FASTER = 25.0, 0.03
_LESS_PER_C = 0.05
"""How much slower (deg C per hour) a climb at full output is at least for each deg C it is hotter: the wall's loss over
the capacity, 0.3 per 1000 deg C over 0.17 per 100 deg C per hour, is 0.18 for a usual load; a third of it for a heavy
load in a light kiln."""


def overtaken(grid: Grid, end: int) -> BoolArray:
    """Where a zone climbs no faster, the growth of its loss allowed for, than where it is hotter, shape (n, z).

    Then it had power to spare: at full output a climb slows as the loss grows. (Clay gives off its water between 450
    and 720 deg C and holds a climb back, volts sag for an hour, another zone lends heat; what is at full output in such
    a stretch is taken for unknown rather than believed.)
    """
    out = np.zeros(grid.zone_c.shape, dtype=np.bool_)
    rates = _block_rates(grid, end)
    count = rates.shape[0]
    if count < 4:
        return out
    at_c = (grid.zone_c[: count * _BLOCK_BINS].reshape(count, _BLOCK_BINS, -1)).mean(axis=1)
    smooth = rates.copy()
    smooth[1:-1] = (rates[:-2] + rates[1:-1] + rates[2:]) / 3.0
    able = smooth + _LESS_PER_C * at_c
    # the best from each block on, and the block from which on it is hotter than here
    best_from = np.vstack((np.maximum.accumulate(able[::-1])[::-1], np.full((1, able.shape[1]), -np.inf)))
    hottest = np.maximum.accumulate(at_c)
    best = np.empty_like(able)
    for zone in range(able.shape[1]):
        hotter = np.searchsorted(hottest[:, zone], at_c[:, zone] + _HOTTER_C, side="right")
        best[:, zone] = best_from[hotter, zone]
    slower = able + _FASTER * smooth + _RATE_NOISE_C_PER_H < best
    out[: count * _BLOCK_BINS] = np.repeat(slower, _BLOCK_BINS, axis=0)
    return out


_GOES_ON = 0.5
"""A climb at full output goes on slowing: in the next two blocks by at least half as much as before."""

_OFF_LINE = 2.5
"""Most that a rate may lie off the line of a long window, in its own errors: a step from segment to segment does."""


def _levels_off(rates: FloatArray, size: int, at_end: FloatArray, slope: FloatArray) -> BoolArray:
    """Whether the climb holds its rate after each window (w, z) of ``size`` blocks, as after a step to another segment.

    ``at_end`` is the rate at the window's last block and ``slope`` its change per block. Where fewer blocks follow, or
    the climb ends in them, it is not known and False.
    """
    level = np.zeros(at_end.shape, dtype=np.bool_)
    one, two = rates[size:-1], rates[size + 1 :]
    known = one.shape[0]
    if not known:
        return level
    fallen = at_end[:known] - (one + two) / 2.0
    expected = -slope[:known] * 1.5
    level[:known] = (fallen < _GOES_ON * expected - _RATE_NOISE_C_PER_H) & (np.minimum(one, two) > 20.0)
    return level


def _slowing(rates: FloatArray, size: int) -> BoolArray:
    """Blocks (b, z) in windows of ``size`` blocks over which the climb keeps slowing, as it does at full output."""
    windows = sliding_window_view(rates, size, axis=0)
    mean, change, off = _trend(windows)
    slowing = -change / np.maximum(mean, 1.0)
    # error of the change over the window: a straight line's slope from independent rates
    error = _RATE_NOISE_C_PER_H * np.sqrt(12.0 / (size**3 - size)) * (size - 1)
    spans = (size - 1) / (_SLOWING_BLOCKS - 1)
    falls = (mean > 20.0) & (slowing > _LEAST_SLOWING * spans) & (slowing < min(_MOST_SLOWING * spans, _MOST_EVER))
    falls &= -change > _SURE * error
    if size == _SLOWING_BLOCKS:
        # no step among them: a change of segment also lowers the rate, but all at once
        steps = np.diff(windows, axis=-1)
        falls &= steps.max(axis=-1) < _RATE_NOISE_C_PER_H
        falls &= -steps.min(axis=-1) < -0.5 * change + _RATE_NOISE_C_PER_H
    else:
        falls &= off < _OFF_LINE * _RATE_NOISE_C_PER_H
    falls &= ~_levels_off(rates, size, mean + change / 2.0, change / (size - 1))
    return _spread_over(falls, size)


def shape_of_climb(grid: Grid, end: int) -> tuple[BoolArray, BoolArray]:
    """Return where each zone is at full output and where it surely follows a programme, each shape (n, z).

    Only up to bin ``end`` and above 400 deg C.
    """
    bins, zones = grid.zone_c.shape
    full = np.zeros((bins, zones), dtype=np.bool_)
    steady = np.zeros((bins, zones), dtype=np.bool_)
    count = end // _BLOCK_BINS
    if count < _STEADY_BLOCKS + 1:
        return full, steady
    rates = _block_rates(grid, end)
    hot = grid.zone_c[: count * _BLOCK_BINS : _BLOCK_BINS] > _FROM_C
    slows = _slowing(rates, _SLOWING_BLOCKS)
    if count >= _LONG_BLOCKS:
        slows |= _slowing(rates, _LONG_BLOCKS)
    blocks_full = _trimmed(slows & hot)
    if blocks_full.any():
        blocks_full &= ~overtaken(grid, end)[: count * _BLOCK_BINS : _BLOCK_BINS]
    blocks_full[:, blocks_full.sum(axis=0) < _LEAST_FULL_BLOCKS] = False
    mean, change, off = _trend(sliding_window_view(rates, _STEADY_BLOCKS, axis=0))
    holds = (mean > 20.0) & (np.abs(change) < _STEADY * mean + 0.5) & (off < 0.03 * mean + 2.0 * _RATE_NOISE_C_PER_H)
    blocks_steady = _trimmed(_spread_over(holds, _STEADY_BLOCKS)) & ~blocks_full
    full[: count * _BLOCK_BINS] = np.repeat(blocks_full, _BLOCK_BINS, axis=0)
    steady[: count * _BLOCK_BINS] = np.repeat(blocks_steady, _BLOCK_BINS, axis=0)
    return full, steady

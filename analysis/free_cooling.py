"""How far the zones read apart while the kiln cools by itself, with nothing to hold them together."""

from math import inf

import numpy as np

from analysis.full_output import Drive, keeps_rate
from analysis.grid import BoolArray, FloatArray, Grid
from analysis.ranks import median

COOLING_MARKS_C = (900.0, 700.0, 500.0, 300.0)
"""Temperatures at which the zones' readings are compared while the kiln cools without output."""

_ABOUT_C, _APART_C, _SLOWS_BY = 30.0, 100.0, 0.7
"""How near a mark counts; and by how much of what Newton's law of cooling says a kiln left to itself is slower 100 deg
C or more below (walls that are still hot make it more than the law says; one that is led down keeps its rate)."""

FIRST_FALL_C = 100.0
"""The first fall after the heat goes off. Most logs reach so far, and what leaks shows: later on it is hidden by what
the load leaves between zones (in the kilns of two independent simulators this parts a leak from sound firings about as
well as 900 deg C does, and in one of them twice as well as 500)."""

_AROUND_THE_FALL_C = np.linspace(-10.0, 10.0, 5)
"""Temperatures about the end of that fall over whose offsets the mean is taken: at these by straight lines between the
readings, so that a log of few readings tells the same as one of many."""

_LONGEST_LINE_BINS = 4
"""Across more bins without readings no line is drawn (as in `analysis.grid`)."""

_LEAST_BINS = 6

_ROOM_C, _COLD_C = 20.0, 100.0
"""A room, and the heat above which it matters little how warm the room is."""


def _free_below_c(mean_c: FloatArray) -> float:
    """Return the temperature below which a kiln of unknown output cools by itself, -inf if that does not show.

    Left to itself it cools ever slower: while it keeps its rate a controller leads it down and holds its zones
    together.
    """
    marks = (*COOLING_MARKS_C[:3], max(float(mean_c.min()), _COLD_C) + _ABOUT_C)
    took = [_bins_about(mean_c, mark) for mark in marks]
    for number in range(3):
        own = took[number]
        for lower in range(number + 1, 4):
            later = took[lower]
            if own is not None and later is not None and marks[lower] < marks[number] - _APART_C:
                newton = (marks[number] - _ROOM_C) / (marks[lower] - _ROOM_C)
                if later > (1.0 + _SLOWS_BY * (newton - 1.0)) * own:
                    return marks[number] + 2.0 * _ABOUT_C
                break
    return -inf


def _bins_about(mean_c: FloatArray, mark_c: float) -> float | None:
    """Bins that a cooling took from 30 deg C above to 30 below a mark, None if it did not pass both."""
    at = []
    for level in (mark_c + _ABOUT_C, mark_c - _ABOUT_C):
        first = int(np.argmax(mean_c <= level))
        if first == 0:
            return None
        at.append(first - (level - mean_c[first]) / (mean_c[first - 1] - mean_c[first]))
    return float(at[1] - at[0])


def _all_read(grid: Grid) -> BoolArray:
    """Which bins (n,) have readings of every zone, with no zone's about to stop or just come back.

    The grid draws lines across what is missing and holds the last reading, which is right for a kiln's heat and wrong
    for how its zones differ: where one couple drops out while all cool, the others would seem to cool faster.
    """
    zones = grid.seen.sum(axis=1, dtype=np.intp)
    read: BoolArray = zones == grid.seen.shape[1]
    partly: BoolArray = ~read & (zones > 0)
    read[1:] &= ~partly[:-1]
    read[:-1] &= ~partly[1:]
    return read


def offsets_at_marks(grid: Grid, drive: Drive) -> tuple[tuple[float | None, ...], ...]:
    """Return each zone's reading less the mean of all where the free cooling passes each of ``COOLING_MARKS_C``.

    Zone after zone, None for a mark that it does not pass; empty with one zone or without a cooling.
    """
    zones = grid.zone_c.shape[1]
    if zones < 2 or drive.end >= grid.mid_s.size - 5:
        return ()
    mean, read = grid.mean_c[drive.end :], _all_read(grid)[drive.end :]
    offset = grid.zone_c[drive.end :] - mean[:, None]
    free_below = inf if drive.logged else _free_below_c(mean)
    rows: list[tuple[float, ...] | None] = []
    for mark in COOLING_MARKS_C:
        near = np.flatnonzero(read & (np.abs(mean - mark) < _ABOUT_C))
        ok = near.size >= 3 and mark + _ABOUT_C < min(mean[0], free_below)
        rows.append(tuple(median(offset[near, zone]) for zone in range(zones)) if ok else None)
    return tuple(tuple(None if row is None else row[zone] for row in rows) for zone in range(zones))


def offsets_after_first_fall(grid: Grid, drive: Drive) -> tuple[float, ...]:
    """Return each zone's reading less the mean of all once the kiln has cooled by ``FIRST_FALL_C`` with no output.

    Empty with one zone, or where the log does not reach so far or a zone was not read there, or where a cooling of
    unknown output keeps its rate so far: then a controller may lead it down, and holds its zones together.
    """
    mean = grid.mean_c[drive.end :]
    if grid.zone_c.shape[1] < 2 or mean.size < _LEAST_BINS:
        return ()
    # from where the heat went off, which a log of few readings shows best in the last bin before
    below = grid.mean_c[max(drive.end - 1, 0) :][: _LEAST_BINS // 2 + 1].max() - FIRST_FALL_C
    fallen = int(np.argmax(mean <= below))
    if fallen < 2 or (not drive.logged and keeps_rate(mean[:fallen] - mean[1 : fallen + 1])):
        return ()
    read = np.flatnonzero(_all_read(grid)[drive.end :])
    after = int(np.searchsorted(read, fallen))
    if after in (0, read.size) or read[after] - read[after - 1] > _LONGEST_LINE_BINS:
        return ()
    read = read[read < 2 * fallen]
    colder = np.maximum.accumulate(-mean[read])
    offset = grid.zone_c[drive.end :][read] - mean[read, None]
    means = [float(np.interp(_AROUND_THE_FALL_C - below, colder, zone).mean()) for zone in offset.T]
    return tuple(round(x, 2) for x in means)

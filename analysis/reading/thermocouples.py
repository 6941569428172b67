"""Thermocouple readings no kiln can give: spikes, dropouts and a sensor stuck; taken out and counted."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray, Spike

_LOWEST_C, _HIGHEST_C = -60.0, 1820.0  # below any unheated studio; above type B, the hottest couple (IEC 60584-1)
_RATE_C_PER_S = 1.0  # faster than any element kiln climbs; a door opened hot may cool a couple as fast
_SLACK_C = 30.0
_LONGEST_SPIKE_S = 1200.0
_STUCK_S = 1800.0
_STUCK_ROWS = 20
_STUCK_MOVED_C = 60.0
_ONE_STEP, _TELLS_C, _SLOWER = 1.5, 10.0, 0.25

_FAR_C, _WARMED = 400.0, 0.05
"""A zone without power is warmed by its neighbours, who send it a kilowatt or so at 400 deg C: by far more than a
twentieth of what they rise by. A couple shorted on its way reads the room there, which warms by that much at most."""

_MOST_JUMPS = 2000
_MOST_TOLD = 200  # runs of bad samples told each by itself, the last ones; the earlier ones are told as one


def clean_zones(
    elapsed_s: FloatArray, zone_c: FloatArray, set_point_c: FloatArray | None
) -> tuple[FloatArray, tuple[Spike, ...]]:
    """Set impossible samples to NaN.

    ``zone_c`` (n, z) in deg C. Returns the cleaned array (the same one where nothing was found) and what was taken out.
    """
    spikes: list[Spike] = []
    out = zone_c
    for z in range(zone_c.shape[1]):
        x = zone_c[:, z]
        bad, kinds = _bad_samples(elapsed_s, x)
        stuck = _stuck(elapsed_s, x, zone_c, z, set_point_c)
        if stuck is not None:
            bad = stuck if bad is None else bad | stuck
            kinds = kinds if kinds is not None else np.zeros(x.size, np.uint8)
            kinds[stuck & (kinds == 0)] = 3
        if bad is None or kinds is None:
            continue
        if out is zone_c:
            out = zone_c.copy(order="K")
        spikes += _described(elapsed_s, x, bad, kinds, z)
        out[bad, z] = np.nan
    return out, tuple(spikes)


def _bad_samples(t: FloatArray, x: FloatArray) -> tuple[NDArray[np.bool_] | None, NDArray[np.uint8] | None]:
    """Return which samples are bad, and kind 1 spike, 2 dropout; None where all is well."""
    low, high = x.min(initial=0.0), x.max(initial=0.0)
    if low >= _LOWEST_C and high <= _HIGHEST_C:  # NaN fails this
        step = x[1:] - x[:-1]
        steady = step.min(initial=0.0) >= -_SLACK_C and step.max(initial=0.0) <= _SLACK_C
        if steady or not bool((np.abs(step) > _SLACK_C + _RATE_C_PER_S * np.diff(t)).any()):
            return None, None
    missing = ~((x >= _LOWEST_C) & (x <= _HIGHEST_C)) & ~_seldom_logged(x)
    kinds = np.where(missing, np.uint8(2), np.uint8(0))
    good = np.flatnonzero(~missing & np.isfinite(x))
    if good.size < 3:
        return (missing, kinds) if missing.any() else (None, None)
    xs, ts = x[good], t[good]
    jumps = np.flatnonzero(np.abs(np.diff(xs)) > _SLACK_C + _RATE_C_PER_S * np.diff(ts))
    if 0 < jumps.size <= _MOST_JUMPS:
        for first, last in _spans(xs, ts, jumps.tolist()):
            kinds[good[first:last]] = 1
    bad = kinds > 0
    return (bad, kinds) if bad.any() else (None, None)


def _seldom_logged(x: FloatArray) -> NDArray[np.bool_]:
    """Return the blanks of a zone that is written only in some of the rows: no dropouts."""
    blank = np.isnan(x)
    count = int(np.count_nonzero(blank))
    if count < 0.2 * x.size:
        return np.zeros(x.size, bool)
    runs = int(np.count_nonzero(blank[1:] & ~blank[:-1])) + 1
    return blank if count < 6 * runs else np.zeros(x.size, bool)


def _spans(x: FloatArray, t: FloatArray, jumps: list[int]) -> list[tuple[int, int]]:
    """Pair jumps that return: samples first..last-1 lie off a course that goes on after them."""
    spans, k = [], 0
    while k < len(jumps):
        i = jumps[k]
        size = float(x[i + 1] - x[i])
        back = None
        for m in range(k + 1, min(k + 12, len(jumps))):
            j = jumps[m]
            if t[j + 1] - t[i] > _LONGEST_SPIKE_S:
                break
            if abs(float(x[j + 1] - x[i])) <= 0.35 * abs(size) + _RATE_C_PER_S * 0.5 * float(t[j + 1] - t[i]):
                back = m
                break
        if back is not None:
            spans.append((i + 1, jumps[back] + 1))
            k = back + 1
        elif i == 0 and abs(size) > 2 * _SLACK_C:  # the very first sample is off
            spans.append((0, 1))
            k += 1
        else:
            k += 1
    return spans


def _stuck(
    t: FloatArray, x: FloatArray, zone_c: FloatArray, z: int, set_point_c: FloatArray | None
) -> NDArray[np.bool_] | None:
    """Return the samples (but the first) of a value held while the other zones or the set point moved far."""
    if not _held_somewhere(x):
        return None
    changes = np.flatnonzero(np.diff(x) != 0)
    edges = np.concatenate(([-1], changes, [x.size - 1]))
    length = np.diff(edges)
    if int(length.max()) < _STUCK_ROWS:
        return None
    out: NDArray[np.bool_] | None = None
    for run in np.flatnonzero(length >= _STUCK_ROWS).tolist():
        start, stop = int(edges[run]) + 1, int(edges[run + 1]) + 1
        if not np.isfinite(x[start]) or t[stop - 1] - t[start] < _STUCK_S:
            continue
        moved = _others_moved(zone_c, z, start, stop)
        follows = False
        if moved < _STUCK_MOVED_C and zone_c.shape[1] == 1 and set_point_c is not None:
            wanted = set_point_c[start:stop, z]
            rises = np.isfinite(wanted) & (wanted > x[start])
            follows = bool(rises.any()) and float(np.ptp(wanted[rises])) > 2 * _STUCK_MOVED_C and x[start] > 100.0
        if (moved >= _STUCK_MOVED_C or follows) and not _creeps(t, x, zone_c, z, start, stop):
            out = np.zeros(x.size, bool) if out is None else out
            out[start + 1 : stop] = True
    return out


def _others_moved(zone_c: FloatArray, z: int, start: int, stop: int) -> float:
    """How far the other zones moved, the middle one of them (of two the lesser): one alone may be a dead zone."""
    others = np.delete(zone_c[start:stop], z, axis=1)
    others = others[:, np.isfinite(others).any(axis=0)]
    moved = np.sort(np.nanmax(others, 0) - np.nanmin(others, 0)) if others.size else np.zeros(1)
    return float(moved[(moved.size - 1) // 2])


def _creeps(t: FloatArray, x: FloatArray, zone_c: FloatArray, z: int, start: int, stop: int) -> bool:
    """Tell a zone that hardly warms, written in whole degrees, from a sensor stuck: it goes on by a degree at a time.

    One that is stuck lets go with a jump. A scale at its end lets go by a degree, and one stuck to the log's end not at
    all: they had moved with the others before. One that reads the room goes on by degrees, but hardly any.
    """
    all_along = x[:stop][np.isfinite(x[:stop])]
    far = _others_moved(zone_c, z, 0, stop)
    if far > _FAR_C and float(np.ptp(all_along)) < _WARMED * far:
        return False
    first = int(np.searchsorted(t, t[start] - (t[stop - 1] - t[start])))
    own = x[first:start][np.isfinite(x[first:start])]
    moved = _others_moved(zone_c, z, first, start) if own.size > 1 else 0.0
    if moved > _TELLS_C and float(np.ptp(own)) >= _SLOWER * moved:
        return False
    after = np.flatnonzero(np.isfinite(x[stop:]))
    if not after.size:
        return moved > _TELLS_C
    steps = np.abs(np.diff(x))
    finest = float(steps[steps > 0.0].min(initial=np.inf))  # NaN is not above
    return abs(float(x[stop + after[0]] - x[start])) <= _ONE_STEP * finest


def _held_somewhere(x: FloatArray) -> bool:
    """Tell quickly whether a value may be held for 20 rows: it is then the same in four rows five apart."""
    apart = _STUCK_ROWS // 4
    few = x[::apart]
    same = few[1:] == few[:-1]
    places = np.flatnonzero(same[:-2] & same[1:-1] & same[2:]) * apart
    if not places.size:
        return False
    rows = x[places[:, None] + np.arange(3 * apart + 1)]
    return bool((rows == rows[:, :1]).all(axis=1).any())


def _described(t: FloatArray, x: FloatArray, bad: NDArray[np.bool_], kinds: NDArray[np.uint8], z: int) -> list[Spike]:
    """Return one entry for each run of bad samples of a kind, so that when they came can be told."""
    out: list[Spike] = []
    words: tuple[tuple[int, Literal["spike", "dropout", "stuck"]], ...] = ((1, "spike"), (2, "dropout"), (3, "stuck"))
    for code, kind in words:
        of_kind = np.flatnonzero(bad & (kinds == code))
        if not of_kind.size:
            continue
        off = None
        if code == 1:
            off = x[of_kind] - (np.interp(t[of_kind], t[~bad], x[~bad]) if (~bad).any() else 0.0)
        runs = np.split(np.arange(of_kind.size), np.flatnonzero(np.diff(of_kind) > 1) + 1)
        if len(runs) > _MOST_TOLD:
            runs = [np.concatenate(runs[:-_MOST_TOLD]), *runs[-_MOST_TOLD:]]
        for run in runs:
            size = None if off is None else float(off[run][np.argmax(np.abs(off[run]))])
            out.append(Spike(z, float(t[of_kind[run[0]]]), run.size, kind, size))
    return out

"""One firing's shape: its segments, how it ended, and what programme it looks like."""

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Literal

import numpy as np

from analysis.findings import End
from analysis.full_output import Drive
from analysis.grid import FloatArray, Grid
from analysis.reading.firing_log import FiringLog

SegmentKind = Literal["climb", "hold", "cooling"]

_HOLD_C_PER_H = 12.0
"""Slower than this over ten minutes counts as a hold: programmes ramp at 15 deg C per hour or more."""

_REACHED_C = 6.0
"""A firing this near its planned peak reached it: controllers end a segment within their band of a few degrees."""

_TRIAL_S = 1200.0
"""A firing that stalls goes on at full output for hours; after a repair people try for minutes whether a kiln heats."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of steady climb, hold or cooling; ``c_per_h`` is the rate achieved, ``full_share`` 0..1 or None."""

    kind: SegmentKind
    start_s: float
    end_s: float
    from_c: float
    to_c: float
    c_per_h: float
    full_share: float | None = None


@dataclass(frozen=True, slots=True)
class Shape:
    """What a programme looks like from outside, to recognise it without its name.

    ``peak_c`` is the planned peak where a set point tells it, else the peak reached. ``pace_h`` are hours spent
    climbing from 150 to 550 deg C, from 550 to 150 below the peak, and over the last 150: None where not reached.
    """

    peak_c: float
    pace_h: tuple[float | None, float | None, float | None]


@dataclass(frozen=True, slots=True)
class Firing:
    """One firing as a person would describe it.

    Attributes
    ----------
    started : aware UTC or None.  duration_s : length of the log.
    heating_s : time from the first sample to the end of heating.
    end : as far as this log alone tells; ``analysis.state`` corrects it from the kiln's earlier firings.
    peak_c : highest mean temperature of the zones.  planned_peak_c : highest set point seen, None without one.
    short_c : how far the peak stayed below the planned one, None where unknown, 0 if reached.
    programme : the name in the log, or "" (then ``analysis.programmes`` gives it a number by its shape).
    """

    started: datetime | None
    duration_s: float
    heating_s: float
    end: End
    peak_c: float
    planned_peak_c: float | None
    short_c: float | None
    programme: str
    shape: Shape
    segments: tuple[Segment, ...] = ()


def _crossing_h(mean_c: FloatArray, mid_s: FloatArray, level_c: float) -> float | None:
    """Hour at which the climb first passes ``level_c``."""
    above = mean_c >= level_c
    first = int(above.argmax())
    return float(mid_s[first]) / 3600.0 if above[first] else None


def shape_of(mean_c: FloatArray, mid_s: FloatArray, peak_c: float) -> Shape:
    """Measure the pace of the climb between temperatures that every programme of that peak passes."""
    marks = [_crossing_h(mean_c, mid_s, level) for level in (150.0, 550.0, peak_c - 150.0, peak_c - 5.0)]
    pace: list[float | None] = []
    for early, late in pairwise(marks):
        pace.append(None if early is None or late is None or late < early else late - early)
    return Shape(peak_c=peak_c, pace_h=(pace[0], pace[1], pace[2]))


def segments_of(grid: Grid, drive: Drive) -> tuple[Segment, ...]:
    """Cut a firing into climbs, holds and coolings from its ten-minute rates; short ones join their neighbours."""
    mean = grid.mean_c
    width = max(1, round(600.0 / grid.step_s))
    count = mean.size // width
    if count < 2:
        return ()
    edges = [*range(0, count * width, width), mean.size - 1]
    if width == 1:  # the last block begins at the last bin
        edges.pop()
    places = np.array(edges)
    at_c, at_s = mean[places], grid.mid_s[places]
    rates = (at_c[1:] - at_c[:-1]) / (at_s[1:] - at_s[:-1]) * 3600.0
    kinds = (rates > _HOLD_C_PER_H).astype(np.int8) - (rates < -_HOLD_C_PER_H)
    cuts = [0, *(np.flatnonzero(kinds[1:] != kinds[:-1]) + 1).tolist(), kinds.size]
    spans = [[a, b, int(kinds[a])] for a, b in pairwise(cuts)]
    joined: list[list[int]] = []
    for span in spans:
        # a single ten-minute block between two alike is a ripple, not a segment
        if joined and (span[2] == joined[-1][2] or (span[1] - span[0] == 1 and span[1] < kinds.size)):
            joined[-1][1] = span[1]
        else:
            joined.append(span)
    names: dict[int, SegmentKind] = {1: "climb", 0: "hold", -1: "cooling"}
    # zone-bins at full output up to each bin: a segment's share is a difference of two
    full = [0, *drive.full.sum(axis=1).cumsum().tolist()]
    zones = drive.full.shape[1]
    known = drive.logged or full[-1] > 0
    out: list[Segment] = []
    for a, b, kind in joined:
        start, stop = edges[a], edges[b]
        start_s, end_s, from_c, to_c = float(at_s[a]), float(at_s[b]), float(at_c[a]), float(at_c[b])
        hours = (end_s - start_s) / 3600.0
        out.append(
            Segment(
                kind=names[kind],
                start_s=start_s,
                end_s=end_s,
                from_c=from_c,
                to_c=to_c,
                c_per_h=(to_c - from_c) / hours if hours > 0 else 0.0,
                full_share=(full[stop] - full[start]) / (zones * (stop - start)) if known and stop > start else None,
            )
        )
    return tuple(out)


def planned_peak(grid: Grid) -> float | None:
    """Highest set point of the log (the programme's peak once its last climb has begun), None without set points."""
    if grid.set_point_c is None:
        return None
    points = grid.set_point_c[np.isfinite(grid.set_point_c)]
    return float(points.max()) if points.size else None


def _end_of(log: FiringLog, grid: Grid, drive: Drive, peak_c: float, planned_c: float | None) -> End:
    """Judge the end from this log alone.

    Complete needs a peak at the planned one; without set points a firing that cools from its peak is taken as
    complete until the kiln's programmes say otherwise. A stop well below, with the set point running ahead, is
    a stall; otherwise somebody or something stopped it, as a run of minutes that only tries whether the kiln heats.
    """
    heating = drive.end >= grid.mid_s.size
    if not log.complete_tail and heating:
        return "incomplete"
    if planned_c is None:
        return "incomplete" if heating else "complete"
    if peak_c >= planned_c - _REACHED_C:
        return "complete"
    last = slice(max(0, drive.end - 15), max(1, drive.end))
    behind = drive.full[last].any(axis=1).mean() if drive.full[last].size else 0.0
    return "stalled" if behind > 0.6 and log.elapsed_s[-1] >= _TRIAL_S else "aborted"


def firing_of(log: FiringLog, grid: Grid, drive: Drive) -> Firing:
    """Describe one firing."""
    mean = grid.mean_c
    peak = float(mean.max())
    planned = planned_peak(grid)
    heating_s = float(grid.mid_s[min(drive.end, grid.mid_s.size - 1)])
    short = None if planned is None else max(0.0, planned - peak)
    return Firing(
        started=log.started,
        duration_s=float(log.elapsed_s[-1]),
        heating_s=heating_s,
        end=_end_of(log, grid, drive, peak, planned),
        peak_c=peak,
        planned_peak_c=planned,
        short_c=0.0 if short is not None and short < _REACHED_C else short,
        programme=log.programme or "",
        shape=shape_of(mean, grid.mid_s, planned if planned is not None else peak),
        segments=segments_of(grid, drive),
    )


def short_firing(log: FiringLog) -> Firing:
    """A log too short to be measured (under ten bins): only its length and highest temperature are known."""
    peak = float(np.nanmax(log.zone_c)) if np.isfinite(log.zone_c).any() else 0.0
    duration = float(log.elapsed_s[-1]) if log.elapsed_s.size else 0.0
    planned = None
    if log.set_point_c is not None and np.isfinite(log.set_point_c).any():
        planned = float(np.nanmax(log.set_point_c))
    return Firing(
        started=log.started,
        duration_s=duration,
        heating_s=duration,
        end="incomplete" if not log.complete_tail else "aborted",
        peak_c=peak,
        planned_peak_c=planned,
        short_c=None if planned is None else max(0.0, planned - peak),
        programme=log.programme or "",
        shape=Shape(peak_c=peak, pace_h=(None, None, None)),
    )

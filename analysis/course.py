"""The usual course of a programme on one kiln, and how long a firing at full output still needs.

Heat balance at full output: dT/dt = (P - L(T)) / C, so the climb fades as r(T') = r(T) - b (T' - T) with
b = L'(T) / C in 1/h. Losses grow somewhat faster than temperature (about its power 1.5 near a stoneware peak,
conduction and radiation together): a chamber that would cool by 150 to 230 deg C an hour at 1220 deg C gives b = 0.18
to 0.28 (own estimate from the balance, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FiringLog

FADE_PER_H = 0.23
FADE_ERROR = 0.05
LEAST_CLIMB_C_H = 4.0
"""A climb below this is taken for none."""
WAITS_C = 15.0
"""From so far behind on, a controller may hold its set point back."""
REFERENCE_C = 150.0
"""Courses are compared from where they pass this: earlier drying and delayed starts vary."""


@dataclass(frozen=True, slots=True)
class PastCourse:
    """One complete earlier firing: mean temperature (n,) and set point (n,) or (), deg C, at elapsed seconds (n,)."""

    elapsed_s: tuple[float, ...]
    temperature_c: tuple[float, ...]
    set_point_c: tuple[float, ...] = ()
    programme: str = ""


@dataclass(frozen=True, slots=True)
class UsualCourse:
    """The usual way up: seconds left to the peak at each temperature, from the median of the earlier firings.

    ``at_c`` and ``left_s`` have equal length and rise and fall; ``duration_s`` runs from ``REFERENCE_C`` to the
    peak, ``spread_s`` is its usual scatter, ``after_peak_s`` the hold at the peak.
    """

    peak_c: float
    duration_s: float
    spread_s: float
    after_peak_s: float
    at_c: tuple[float, ...]
    left_s: tuple[float, ...]

    def remaining_s(self, temperature_c: float) -> float:
        """Return the usual seconds from a temperature to the peak."""
        return float(np.interp(temperature_c, self.at_c, self.left_s))


@dataclass(frozen=True, slots=True)
class Remaining:
    """What full output still needs to the usual peak: seconds, the soonest, or that it never gets there.

    ``ceiling_c`` is where the climb fades out. ``never`` is claimed only if the most hopeful fading fails too.
    """

    seconds: float | None
    soonest_s: float | None
    never: bool
    ceiling_c: float


def same_programme(past: Sequence[PastCourse], log: FiringLog) -> tuple[PastCourse, ...]:
    """Return those earlier firings that ran the programme this log runs, as far as can be told.

    A name in the log decides. Without one the set point's pace does, as long as the kiln kept to it (a controller may
    make its set point wait for a kiln that falls behind); if programmes with peaks apart fit
    alike, none is returned: it is not known yet where this firing is going.
    """
    if log.programme:
        return tuple(course for course in past if course.programme == log.programme)
    if log.set_point_c is None:
        return ()
    set_point_c = log.set_point_c.max(axis=1)
    kept = _kept_pace(log)
    top_c = float(np.nanmax(set_point_c, initial=-np.inf))
    fitting = tuple(
        course
        for course in past
        if max(course.set_point_c, default=-np.inf) >= top_c - 5.0
        and _paced_alike(course, log.elapsed_s[:kept], set_point_c[:kept])
    )
    peaks = [max(course.temperature_c) for course in fitting]
    return fitting if peaks and max(peaks) - min(peaks) <= 30.0 else ()


def _kept_pace(log: FiringLog) -> int:
    """Return the number of rows until the temperature first stays well behind the set point."""
    if log.set_point_c is None:
        return int(log.elapsed_s.size)
    lag = np.where(np.isfinite(log.zone_c), log.set_point_c - log.zone_c, 0.0).max(axis=1)
    behind = (lag >= WAITS_C) & (log.elapsed_s >= 3600.0)
    return int(np.argmax(behind)) if behind.any() else int(log.elapsed_s.size)


def _paced_alike(course: PastCourse, elapsed_s: NDArray[np.float64], set_point_c: NDArray[np.float64]) -> bool:
    if len(course.set_point_c) < 6 or len(course.temperature_c) < 6:
        return False
    theirs = np.asarray(course.set_point_c)
    known, known_theirs = np.isfinite(set_point_c), np.isfinite(theirs)
    if known.sum() < 6 or known_theirs.sum() < 6:
        return False
    marks = np.linspace(REFERENCE_C, min(float(np.max(set_point_c[known])), float(np.max(theirs[known_theirs]))), 5)
    if marks[-1] < REFERENCE_C + 100.0:
        return False
    mine_s = _first_passes(elapsed_s[known], set_point_c[known], marks)
    their_s = _first_passes(np.asarray(course.elapsed_s)[known_theirs], theirs[known_theirs], marks)
    mine_s, their_s = mine_s - mine_s[0], their_s - their_s[0]
    return bool(np.abs(mine_s - their_s).max() <= 0.06 * max(float(their_s[-1]), 1800.0))


def _first_passes(
    elapsed: NDArray[np.float64], values: NDArray[np.float64], marks: NDArray[np.float64]
) -> NDArray[np.float64]:
    highest = np.maximum.accumulate(values)
    return elapsed[np.minimum(np.searchsorted(highest, marks), elapsed.size - 1)]


def usual_course(past: Sequence[PastCourse], newest: int = 8) -> UsualCourse | None:
    """Return the usual course of the newest earlier firings, or None for fewer than two of like peak."""
    tops = [max(course.temperature_c) for course in past[-newest:] if len(course.temperature_c) > 5]
    if len(tops) < 2:
        return None
    peak_c = float(np.median(tops))
    alike = [c for c in past[-newest:] if len(c.temperature_c) > 5 and abs(max(c.temperature_c) - peak_c) <= 25.0]
    if len(alike) < 2:
        return None
    grid = np.linspace(REFERENCE_C, peak_c - 5.0, 60)
    ways = [_left_to_peak(course, grid) for course in alike]
    left = np.median([way for way, _ in ways], axis=0)
    durations = np.array([way[0] for way, _ in ways])
    spread = float(np.median(np.abs(durations - np.median(durations)))) * 1.4826
    return UsualCourse(
        peak_c=peak_c,
        duration_s=float(left[0]),
        spread_s=spread,
        after_peak_s=float(np.median([hold for _, hold in ways])),
        at_c=tuple(float(c) for c in grid),
        left_s=tuple(float(s) for s in left),
    )


def _left_to_peak(course: PastCourse, grid: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Return the seconds left to the peak at each temperature of the grid, and the hold near the peak."""
    elapsed, temperature = np.asarray(course.elapsed_s), np.asarray(course.temperature_c)
    top = float(temperature.max())
    reached = int(np.argmax(temperature >= top - 5.0))
    last = int(temperature.size - 1 - np.argmax(temperature[::-1] >= top - 10.0))
    climb = np.maximum.accumulate(temperature[: reached + 1])
    passed = np.interp(grid, climb, elapsed[: reached + 1])
    return np.maximum(elapsed[reached] - passed, 0.0), float(elapsed[last] - elapsed[reached])


def late_so_far(
    elapsed_s: NDArray[np.float64], temperature_c: NDArray[np.float64], now_c: float, usual: UsualCourse
) -> float:
    """Return by how many seconds this climb from ``REFERENCE_C`` to ``now_c`` took longer than usual (or less)."""
    known = np.isfinite(temperature_c)
    elapsed, highest = elapsed_s[known], np.maximum.accumulate(temperature_c[known])
    passed = elapsed[min(int(np.searchsorted(highest, REFERENCE_C)), elapsed.size - 1)]
    return float(elapsed[-1] - passed - (usual.duration_s - usual.remaining_s(now_c)))


def remaining_at_full_output(
    elapsed_s: NDArray[np.float64], mean_c: NDArray[np.float64], over_s: float, usual: UsualCourse
) -> Remaining:
    """Return how long the newest climb, taken at full output and fading, still needs to the usual peak.

    ``elapsed_s`` and ``mean_c`` have shape (n,); the newest ``over_s`` seconds, all at full output, give the rate.
    """
    known = np.isfinite(mean_c)
    elapsed, temperature = elapsed_s[known], mean_c[known]
    now_c = float(np.median(temperature[-3:]))
    rate, error = _slope(elapsed, temperature, elapsed[-1] - over_s, elapsed[-1])
    rate -= FADE_PER_H * rate * over_s / 7200.0  # the line's slope is that of its middle
    still = usual.peak_c - 5.0 - now_c
    seconds = _time(rate, FADE_PER_H, still)
    soonest = _time(rate + 2 * error, FADE_PER_H - 2 * FADE_ERROR, still)
    ceiling = now_c + max(rate, 0.0) / FADE_PER_H
    return Remaining(seconds, soonest, never=soonest is None, ceiling_c=min(ceiling, usual.peak_c - 5.0))


def _time(rate_c_h: float, fade_per_h: float, still_c: float) -> float | None:
    """Return the seconds of a fading climb over ``still_c``, or None if it fades out before."""
    last = rate_c_h - fade_per_h * still_c
    if last < LEAST_CLIMB_C_H or rate_c_h <= 0.0:
        return None
    return float(np.log(rate_c_h / last) / fade_per_h * 3600.0)


def _slope(
    elapsed: NDArray[np.float64], temperature: NDArray[np.float64], start: float, end: float
) -> tuple[float, float]:
    """Return the least-squares rise in deg C per hour between two moments and its standard error; NaN without data."""
    part = (elapsed >= start) & (elapsed <= end)
    if part.sum() < 4:
        return float("nan"), float("nan")
    hours, values = elapsed[part] / 3600.0, temperature[part]
    hours = hours - hours.mean()
    spread = float((hours**2).sum())
    if spread <= 0.0:
        return float("nan"), float("nan")
    slope = float((hours * values).sum()) / spread
    left = values - values.mean() - slope * hours
    # one degree of rounding is part of every log
    error = np.sqrt((float((left**2).sum()) / max(part.sum() - 2, 1) + 1.0 / 12.0) / spread)
    return slope, float(error)

"""Several firings in one file are parted; one firing cut over two files is joined."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from analysis.reading.clock_repairs import clock_text
from analysis.reading.firing_log import Event, FiringLog, FloatArray, Spike

_HOT_C, _COLD_C = 350.0, 180.0
_NEW_RISE_C = 150.0
_LONGEST_BREAK_S, _SHORT_BREAK_S = 6 * 3600.0, 2 * 3600.0
_LOADING_C, _LUKEWARM_C = 250.0, 60.0  # nobody unloads and loads a kiln hotter than this; common practice, no source
_SLACK_C = 40.0
_LEAST_ROWS = 5
_MOST_LOOKED_AT = 4000
_FASTEST_C_PER_S = 600.0 / 3600.0  # a firing that went on while nothing was logged


def part_firings(elapsed_s: FloatArray, hottest_c: FloatArray, cuts: list[int]) -> list[int]:
    """Return the positions where a further firing begins (empty for one firing).

    ``hottest_c`` (n,) is each row's hottest zone, ``cuts`` are positions where the time restarts or a gap ends.
    """
    x = hottest_c
    found: set[int] = set()
    if not cuts and not _heats_again(x[:: x.size // _MOST_LOOKED_AT + 1]):
        return []
    hot, cold = x > _HOT_C, x < _COLD_C
    sure = np.flatnonzero(hot | cold)
    if sure.size:
        state = hot[sure]
        ups = np.flatnonzero(state[1:] & ~state[:-1])
        downs = np.flatnonzero(~state[1:] & state[:-1])
        for up in ups.tolist():
            earlier = downs[downs < up]
            if not earlier.size:
                continue
            start, stop = int(sure[earlier[-1]]) + 1, int(sure[up]) + 1
            valley = x[start:stop]
            inside = [cut for cut in cuts if start <= cut <= stop]
            low = float(np.nanmin(valley))
            at = start + int(np.flatnonzero(valley <= low + 2.0)[-1])
            gap = max(inside, key=lambda cut: elapsed_s[cut] - elapsed_s[cut - 1], default=None)
            found.add(gap if gap is not None and elapsed_s[gap] - elapsed_s[gap - 1] > 1800 else at)
    for cut in cuts:
        if not any(abs(cut - other) < _LEAST_ROWS for other in found) and _new_firing(x, cut, found):
            found.add(cut)
    return sorted(cut for cut in found if _LEAST_ROWS <= cut <= x.size - _LEAST_ROWS)


def _heats_again(x: FloatArray) -> bool:
    """Tell quickly whether a kiln gets hot, cold and hot again."""
    hot = x > _HOT_C
    state = hot[hot | (x < _COLD_C)]
    falls = np.flatnonzero(state[:-1] & ~state[1:])
    return bool(falls.size) and bool(state[falls[0] + 1 :].any())


def _new_firing(x: FloatArray, cut: int, found: set[int]) -> bool:
    """After a restart or gap: cold again, or cooled before it, and climbing anew."""
    begin = max((other for other in found if other < cut), default=0)
    before, after = x[begin:cut], x[cut:]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if before.size < _LEAST_ROWS or after.size < _LEAST_ROWS:
        return False
    last, top, first = float(before[-1]), float(before.max()), float(after[0])
    cooled = top - last > 0.5 * top and top > 200
    cold_again = first < 0.4 * last and last > 150
    return (cooled or cold_again) and float(after.max()) > first + _NEW_RISE_C


def stretch(log: FiringLog, start: int, stop: int) -> FiringLog:
    """Return samples ``start`` to ``stop`` (exclusive) of a log as a firing of its own."""
    t0, t1 = float(log.elapsed_s[start]), float(log.elapsed_s[stop - 1])
    began = None if log.started is None else log.started + timedelta(seconds=t0)

    def cut(values: FloatArray | None) -> FloatArray | None:
        return None if values is None else values[start:stop]

    return replace(
        log,
        elapsed_s=log.elapsed_s[start:stop] - t0,
        zone_c=log.zone_c[start:stop],
        set_point_c=cut(log.set_point_c),
        output=cut(log.output),
        volts=cut(log.volts),
        amps=cut(log.amps),
        room_c=cut(log.room_c),
        segment=cut(log.segment),
        started=began,
        events=tuple(Event(e.elapsed_s - t0, e.text) for e in log.events if t0 <= e.elapsed_s <= t1),
        spikes=tuple(replace(s, elapsed_s=s.elapsed_s - t0) for s in log.spikes if t0 <= s.elapsed_s <= t1),
        complete_tail=log.complete_tail if stop == log.elapsed_s.size else True,
    )


def join_logs(earlier: FiringLog, later: FiringLog) -> FiringLog | None:
    """Join a firing that was cut over two files; None if the later log is a firing of its own.

    They are one firing if both have the same zones, known starts and no two programmes, and the later takes up within
    six hours where the earlier left off. The earlier must have been cut before it cooled from its peak, and the later
    begin hotter than anyone loads a kiln; or the later must be nothing but the rest of the cooling.
    """
    if earlier.started is None or later.started is None or earlier.zone_c.shape[1] != later.zone_c.shape[1]:
        return None
    if not (_dated_to_the_minute(earlier) and _dated_to_the_minute(later)):
        return None
    if earlier.programme and later.programme and earlier.programme != later.programme:
        return None
    shift = (later.started - earlier.started).total_seconds()
    pause = shift - float(earlier.elapsed_s[-1])
    if not -60.0 < pause <= _LONGEST_BREAK_S or not _goes_on(_hottest(earlier), _hottest(later), pause):
        return None
    keep = later.elapsed_s + shift > earlier.elapsed_s[-1]
    if not keep.any():
        return None
    t = np.concatenate((earlier.elapsed_s, later.elapsed_s[keep] + shift))
    at = clock_text(float(earlier.elapsed_s[-1]))

    def both(a: FloatArray | None, b: FloatArray | None) -> FloatArray | None:
        if a is None and b is None:
            return None
        if a is None:
            a = np.full((earlier.elapsed_s.size, *(b.shape[1:] if b is not None else ())), np.nan)
        if b is None or b.shape[1:] != a.shape[1:]:
            b = np.full((later.elapsed_s.size, *a.shape[1:]), np.nan)
        return np.concatenate((a, b[keep]))

    zone = both(earlier.zone_c, later.zone_c)
    assert zone is not None
    return replace(
        earlier,
        elapsed_s=t,
        zone_c=zone,
        set_point_c=both(earlier.set_point_c, later.set_point_c),
        output=both(earlier.output, later.output),
        output_kind=earlier.output_kind or later.output_kind,
        volts=both(earlier.volts, later.volts),
        amps=both(earlier.amps, later.amps),
        room_c=both(earlier.room_c, later.room_c),
        segment=both(earlier.segment, later.segment),
        programme=earlier.programme or later.programme,
        events=earlier.events + tuple(Event(e.elapsed_s + shift, e.text) for e in later.events),
        spikes=earlier.spikes
        + tuple(Spike(s.zone, s.elapsed_s + shift, s.count, s.kind, s.size_c) for s in later.spikes),
        complete_tail=later.complete_tail,
        problems=(
            *earlier.problems,
            f"the firing goes on in a second log after a break of {pause / 60:.0f} min at {at}; joined",
            *later.problems,
        ),
    )


def _dated_to_the_minute(log: FiringLog) -> bool:
    """Tell whether a log's own rows, text or name give its start with the time of day."""
    day_only = any("hour is not known" in problem for problem in log.problems)
    return log.started_from in {"rows", "text", "file name"} and not day_only


def _goes_on(before: FloatArray, after: FloatArray, pause_s: float) -> bool:
    """Tell whether a kiln can have come from the last reading of one log to the first of the next in mid-firing."""
    if not before.size or not after.size:
        return False
    last, top, first = float(before[-1]), float(before.max()), float(after[0])
    if first > last + _SLACK_C + _FASTEST_C_PER_S * max(pause_s, 0.0) or first < 0.5 * last:
        return False
    if float(after.max()) <= first + _SLACK_C:
        return first > _LUKEWARM_C  # the rest of the cooling
    cut_early = last < _LOADING_C and pause_s < _SHORT_BREAK_S and abs(first - last) < 2 * _SLACK_C
    return last > top - max(_SLACK_C, 0.06 * top) and (first >= _LOADING_C or cut_early)


def _hottest(log: FiringLog) -> FloatArray:
    finite = log.zone_c[np.isfinite(log.zone_c).any(axis=1)]
    return np.asarray(np.nanmax(finite, axis=1)) if finite.size else np.empty(0)

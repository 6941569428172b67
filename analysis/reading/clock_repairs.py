"""Rows put in order and clocks made straight: repeats, swaps, restarts, daylight saving, corrected clocks, gaps."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray
from analysis.reading.time_base import TimeKind

_HOUR_S = 3600.0
_SWAP_ROWS = 6
_MOST_STEPS = 1000
_NAMED = 4  # repairs named one by one before they are only counted
_GAP_STEPS = 10.0
_GAP_S = 600.0
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - local wall time is counted from here


@dataclass(slots=True)
class Straight:
    """``order``: indices of the rows kept, in time order; ``elapsed_s`` the same length, strictly increasing.

    ``sample_s`` is the usual step from one to the next.
    ``cuts`` are positions in ``order`` where a new stretch began after a restart or gap: firings may part there.
    """

    order: NDArray[np.intp]
    elapsed_s: FloatArray
    sample_s: float
    repeated: int = 0
    left_out: int = 0
    cuts: list[int] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    gaps: list[tuple[int, float]] = field(default_factory=list)
    went_back: bool = False
    moved: bool = False


def clock_text(seconds: float) -> str:
    """Return elapsed seconds as ``h:mm``."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def median_step(seconds: FloatArray) -> float:
    """Return the usual sampling interval, in seconds, of rows in order (1 if there is none)."""
    if seconds.size > _MOST_STEPS:  # as many steps, spread evenly, tell as much
        places = np.arange(_MOST_STEPS) * (seconds.size - 2) // (_MOST_STEPS - 1)
        step = seconds[places + 1] - seconds[places]
    else:
        step = seconds[1:] - seconds[:-1]
    step = step[step > 0]
    if not step.size:
        return 1.0
    step.partition(step.size // 2)
    return float(step[step.size // 2])


def straighten(
    raw: FloatArray, kind: TimeKind, zone: ZoneInfo | None, table: Callable[[], FloatArray], hot: FloatArray
) -> Straight:
    """Put rows in order and take jumps out of their time.

    ``raw`` (n,) seconds as logged, finite; ``table()`` (n, k) all numbers of the rows, to tell repeats; ``hot`` (n,)
    a temperature in any unit. ``zone`` is the kiln's time zone for local clocks, None if unknown.
    """
    n = raw.size
    step = raw[1:] - raw[:-1]
    if kind == "clock":
        raw = raw + np.concatenate(([0.0], np.cumsum((step < -12 * _HOUR_S) * 86400.0)))
        step = np.diff(raw)
        kind = "local"
    elapsed_s = raw - raw[0] if raw[0] else raw
    usual = median_step(elapsed_s)
    result = Straight(np.arange(n), elapsed_s, usual)
    if n < 2 or (float(step.min()) > 0 and float(step.max()) < _odd_step(usual, kind)):
        return result
    raw = _without_strays(result, raw, usual)
    if float(np.diff(raw).min()) <= 0:
        raw = _in_order(result, raw, table(), usual, zone if kind == "local" else None)
    raw = _coarse(result, raw)
    usual = median_step(raw)
    _level(result, raw, kind, zone, hot, usual)
    _only_rising(result)
    result.sample_s = median_step(result.elapsed_s)
    return result


def _odd_step(usual: float, kind: TimeKind) -> float:
    """Return from which step on (s) a gap or a clock jump is looked for: an hour's jump also between rare samples."""
    gap = max(_GAP_STEPS * usual, _GAP_S)
    return min(gap, max(1.5 * usual, 0.8 * _HOUR_S)) if kind == "local" else gap


def _without_strays(result: Straight, raw: FloatArray, usual: float) -> FloatArray:
    """Leave out single rows whose time lies far off both neighbours, which fit each other (a damaged digit)."""
    if raw.size < 5:
        return raw
    around = np.concatenate((raw[:1], raw[:1], raw, raw[-1:], raw[-1:]))
    before, after = (around[:-4], around[1:-3]), (around[3:-1], around[4:])
    lowest = np.minimum(np.minimum(*before), np.minimum(*after))
    highest = np.maximum(np.maximum(*before), np.maximum(*after))
    outside = np.flatnonzero((raw < lowest) | (raw > highest))
    if not outside.size:
        return raw
    middle = np.median(around[outside[:, None] + np.arange(5)], axis=1)
    off = outside[np.abs(raw[outside] - middle) > max(30 * usual, _GAP_S)]
    if not off.size or off.size > max(2, 0.02 * raw.size):
        return raw
    kept = np.delete(np.arange(raw.size), off)
    times = [float(raw[max(0, i - 1)] - raw[kept[0]]) for i in off.tolist()]
    result.problems.append(_named("row", off.size, "with an impossible time left out", times))
    result.order = kept
    result.moved = True
    result.left_out += off.size
    return raw[kept]


def _only_rising(result: Straight) -> None:
    """Leave out rows that do not move time on after all repairs (times too far off to be told apart)."""
    top = np.maximum.accumulate(result.elapsed_s)
    keep = np.concatenate(([True], result.elapsed_s[1:] > top[:-1]))
    count = int(np.count_nonzero(~keep))
    if count:
        result.problems.append(f"{count} row{'s' if count > 1 else ''} whose time does not go on left out")
        result.order, result.elapsed_s = result.order[keep], result.elapsed_s[keep]
        result.cuts = [int(np.count_nonzero(keep[:cut])) for cut in result.cuts]
        result.gaps = [(int(np.count_nonzero(keep[:at])), size) for at, size in result.gaps]
        result.moved = True
        result.left_out += count


def _in_order(result: Straight, raw: FloatArray, table: FloatArray, usual: float, zone: ZoneInfo | None) -> FloatArray:
    """Drop repeated rows and sort rows that only changed places."""
    problems = result.problems
    table = table[result.order]
    first_s, all_rows = raw[0], raw.size
    repeats: list[float] = []
    once = _once(raw, table, repeats)  # a row written twice at once hides what happened to its neighbours
    raw, table = raw[once], table[once]
    order = np.arange(raw.size)
    top = np.maximum.accumulate(raw)
    behind = raw < top
    edges = np.flatnonzero(np.diff(behind, prepend=False, append=False)).tolist()
    drop = np.zeros(raw.size, bool)
    swaps: list[float] = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        earlier = np.searchsorted(top[:start], raw[start:stop])
        earlier = np.minimum(earlier, start - 1)
        hour_back = _hour_back(float(top[start]) - _first_after(raw, start, usual), stop - start, usual)
        # An hour that the zone's clock shows twice is no repeat, even if nothing changed in it (an idle kiln).
        twice = hour_back and zone is not None and all(_comes_twice(raw[i], zone) for i in (start, stop - 1))
        same = bool((raw[earlier] == raw[start:stop]).all()) and _equal(table[earlier], table[start:stop]).all()
        if same and not twice:
            drop[start:stop] = True
            repeats.append(float(raw[start] - first_s))
        elif hour_back:
            inside = np.flatnonzero(np.diff(raw[start:stop]) < 0)
            if inside.size:  # the hour runs twice, but each time forwards
                order[start:stop] = start + np.argsort(raw[start:stop], kind="stable")
                swaps += [float(raw[start + i] - first_s) for i in inside.tolist()]
        elif (low := _block_swap(raw, start, stop)) is not None:
            window = order[low:stop]
            order[low:stop] = window[np.argsort(raw[window], kind="stable")]
            swaps.append(float(raw[start] - first_s))
        elif (places := _swap_at_the_hour(raw, start, stop, usual)) is not None:
            low, high = places
            window = np.arange(low, high)
            before = raw[low:high] >= raw[start - 1] - usual * _SWAP_ROWS  # before the clock was set back
            order[low:high] = np.concatenate((window[before][np.argsort(raw[low:high][before])], window[~before]))
            swaps.append(float(raw[low] - first_s))
        elif stop - start > _SWAP_ROWS:  # a clock set back otherwise, or in a gap: it runs on forwards from there
            back = np.diff(raw[start:stop])
            if 0 > float(back.min()) >= -_SWAP_ROWS * usual:
                order[start:stop] = start + np.argsort(raw[start:stop], kind="stable")
                swaps += [float(raw[start + i] - first_s) for i in np.flatnonzero(back < 0).tolist()]
    order = order[~drop[order]]
    order = order[_once(raw[order], table[order], repeats)]
    result.repeated = all_rows - order.size
    result.order = result.order[once[order]]
    result.moved = True
    if result.repeated:
        problems.append(_named("repeated row", result.repeated, "dropped", repeats))
    if swaps:
        problems.append(_named("swapped row", len(swaps), "put back in order", swaps))
    return np.asarray(raw[order])


def _once(raw: FloatArray, table: FloatArray, repeats: list[float]) -> NDArray[np.intp]:
    """Return the rows that are not the same as the row before; the times of some others are added to ``repeats``."""
    twins = np.flatnonzero(np.diff(raw) == 0) + 1
    if twins.size:
        twins = twins[_equal(table[twins], table[twins - 1])]
        repeats += [float(raw[i] - raw[0]) for i in twins[:_NAMED].tolist()]
    return np.delete(np.arange(raw.size), twins)


def _block_swap(raw: FloatArray, start: int, stop: int) -> int | None:
    """Return where rows that came too early begin, if a few rows changed places with a few others as they were.

    After a clock was set back rows lie between the earlier ones in time; after a swap all lie before them.
    """
    late = raw[start:stop]
    early = start
    while early > 0 and start - early <= _SWAP_ROWS and raw[early - 1] > late.min():
        early -= 1
    few = stop - start <= _SWAP_ROWS and 0 < start - early <= _SWAP_ROWS
    return early if few and float(late.max()) < float(raw[early:start].min()) else None


def _hour_back(back_s: float, rows: int, usual: float) -> bool:
    """Tell the hour that comes twice in autumn, sampled coarsely, from a few swapped rows."""
    return abs(back_s + usual - _HOUR_S) <= 0.5 * usual + 60.0 and rows * usual >= 0.5 * _HOUR_S


def _first_after(raw: FloatArray, start: int, usual: float) -> float:
    """Return the earliest time of the first rows after a clock was set back: they may have changed places."""
    first, least = float(raw[start]), float(raw[start : start + 3].min())
    return least if first - least <= 3 * usual else first


def _swap_at_the_hour(raw: FloatArray, start: int, stop: int, usual: float) -> tuple[int, int] | None:
    """Return the rows (first, end) that changed places just where the clock was set back an hour.

    Either rows before the change did (their run of early rows goes on into the hour that comes twice), or the last
    row before it and the first after it did (a single row an hour back, then one as before).
    """
    last = float(raw[start - 1])
    falls = np.flatnonzero(np.diff(raw[start : min(stop, start + _SWAP_ROWS + 1)]) < 0)
    if falls.size:
        head = start + int(falls[0]) + 1
        low = _block_swap(raw, start, head)
        return (low, head) if low is not None and _hour_back(last - float(raw[head]), stop - head, usual) else None
    if stop - start == 1 and stop + 1 < raw.size:
        there = abs(last - float(raw[start]) + usual - _HOUR_S) <= 2.5 * usual
        again = abs(float(raw[stop] - raw[stop + 1]) + usual - _HOUR_S) <= 2.5 * usual
        if there and again and 0 < raw[stop] - last <= 2.5 * usual:
            return start, stop + 1
    return None


def _equal(a: FloatArray, b: FloatArray) -> NDArray[np.bool_]:
    both_nan = np.isnan(a) & np.isnan(b)
    return np.asarray(((a == b) | both_nan).all(axis=1))


def _named(what: str, count: int, done: str, times: list[float]) -> str:
    at = ", ".join(clock_text(t) for t in sorted(times)[:_NAMED])
    more = " ..." if count > _NAMED else ""
    return f"{count} {what}{'s' if count > 1 else ''} {done} at {at}{more}"


def _coarse(result: Straight, raw: FloatArray) -> FloatArray:
    """Spread rows that share a stamp because the clock is logged more coarsely than the samples."""
    still = np.diff(raw) == 0
    count = int(np.count_nonzero(still))
    if not count:
        return raw
    if count > 0.2 * raw.size:
        first = np.concatenate(([True], ~still))
        stamp = np.cumsum(first) - 1
        starts = np.flatnonzero(first)
        sizes = np.diff(np.append(starts, raw.size))
        within = np.arange(raw.size) - starts[stamp]
        times = raw[starts]
        width = np.diff(times)
        usual = float(np.median(np.abs(width))) if width.size else 1.0
        width = np.append(np.where((width > 0) & (width < 1.5 * usual), width, usual), usual)
        result.problems.append(f"the clock is logged in steps of {usual:.0f} s only; rows between are spread evenly")
        return np.asarray(raw + within / sizes[stamp] * width[stamp])
    keep = np.concatenate(([True], ~still))
    gone = raw[~keep] - raw[0]
    result.problems.append(
        _named("row", count, "with the time of the row before, but other numbers, left out", list(gone[:_NAMED]))
    )
    result.order = result.order[keep]
    result.moved = True
    result.left_out += count
    return raw[keep]


def _level(
    result: Straight, raw: FloatArray, kind: TimeKind, zone: ZoneInfo | None, hot: FloatArray, usual: float
) -> None:
    """Take clock jumps out and name gaps."""
    step = np.diff(raw)
    odd = np.flatnonzero((step <= 0) | (step > _odd_step(usual, kind)))
    temps = hot[result.order]
    new = step.copy()
    for i in odd.tolist():
        at = clock_text(float(new[:i].sum()))
        jump = float(step[i])
        if kind == "elapsed":
            true, text = _elapsed_jump(raw, i, usual, at)
        else:
            true, text = _clock_jump(raw, i, usual, kind, zone, temps, at)
        new[i] = true
        if text:
            result.problems.append(text)
        result.went_back |= jump < 0 and kind != "elapsed"
        if jump < 0 or true > _GAP_S:
            result.cuts.append(i + 1)
        if true > max(_GAP_STEPS * usual, _GAP_S):
            result.gaps.append((i + 1, true))
    result.elapsed_s = np.concatenate(([0.0], np.cumsum(new)))


def _elapsed_jump(raw: FloatArray, i: int, usual: float, at: str) -> tuple[float, str]:
    if raw[i + 1] < raw[i]:
        if raw[i + 1] <= raw[0] + max(20 * usual, 120.0):
            return usual, f"elapsed time starts again at {at} (a power cut?); the length of the break is not known"
        return usual, f"elapsed time goes back by {raw[i] - raw[i + 1]:.0f} s at {at}; taken to run on"
    return float(raw[i + 1] - raw[i]), f"gap of {_long(raw[i + 1] - raw[i])} at {at}"


def _long(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 2 * _HOUR_S else f"{seconds / _HOUR_S:.1f} h"


def _clock_jump(
    raw: FloatArray, i: int, usual: float, kind: TimeKind, zone: ZoneInfo | None, temps: FloatArray, at: str
) -> tuple[float, str]:
    jump = float(raw[i + 1] - raw[i])
    if kind == "local" and zone is not None:
        change = _offset(raw[i], zone, 0) - _offset(raw[i + 1], zone, 1)  # > 0: the clock went back
        if change > 0 and jump < 0 < jump + change:
            true, least = jump + change, usual + 0.5 * _GAP_S
            if true <= least or not _runs_through(raw, temps, i, usual, true):
                text = f"clock set back {_long(change)} for the end of daylight saving at {at}: taken out"
                return true, text + (f"; a gap of {_long(true)} remains" if true > least else "")
        if change < 0 and jump + change > 0:
            true = jump + change
            text = f"clock set on {_long(-change)} for daylight saving at {at}: taken out"
            if true > max(_GAP_STEPS * usual, _GAP_S):
                text += f"; a gap of {_long(true)} remains"
            return true, text
    elif kind == "local" and jump < 0 and abs(jump + _HOUR_S - usual) <= max(3 * usual, 90.0):
        return jump + _HOUR_S, f"clock goes back one hour at {at} (end of daylight saving?): taken out"
    if jump < 0:
        return usual, f"clock set back by {_long(usual - jump)} at {at}: taken out"
    if _runs_through(raw, temps, i, usual, jump):
        return usual, f"clock set on by {_long(jump - usual)} at {at} while the temperature ran on: taken out"
    return jump, f"gap of {_long(jump)} at {at}" if jump > max(_GAP_STEPS * usual, _GAP_S) else ""


def _offset(local_s: float, zone: ZoneInfo, fold: int) -> float:
    moment = (_EPOCH + timedelta(seconds=float(local_s))).replace(tzinfo=zone, fold=fold)
    offset = moment.utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def _comes_twice(local_s: float, zone: ZoneInfo) -> bool:
    """Tell whether a wall time lies in the hour that comes twice when daylight saving ends."""
    return _offset(local_s, zone, 0) > _offset(local_s, zone, 1)


def _runs_through(raw: FloatArray, temps: FloatArray, i: int, usual: float, jump: float) -> bool:
    """Tell a clock that jumped from a real gap: the temperature went on as in one sample, at a rate that matters."""
    reach = 6
    if i < reach or i + reach + 1 >= raw.size:
        return False
    run_up, run_on = raw[i] - raw[i - reach], raw[i + 1 + reach] - raw[i + 1]
    if run_up <= 0 or run_on <= 0:
        return False
    before = (temps[i] - temps[i - reach]) / run_up
    after = (temps[i + 1 + reach] - temps[i + 1]) / run_on
    if not np.isfinite(before + after) or before * after <= 0 or not 0.6 < before / after < 1.6:
        return False
    rate = 0.5 * (before + after)
    off = abs(float(temps[i + 1] - temps[i]) - rate * usual)
    return bool(abs(rate) * jump > 40.0 and off < 0.1 * abs(rate) * jump)


def to_utc(local_s: float, zone: ZoneInfo, *, went_back_later: bool) -> datetime:
    """Return a local wall time as aware UTC; in the hour that comes twice, the first if the clock went back later."""
    moment = (_EPOCH + timedelta(seconds=local_s)).replace(tzinfo=zone, fold=0 if went_back_later else 1)
    if moment.replace(fold=0).utcoffset() == moment.replace(fold=1).utcoffset():
        moment = moment.replace(fold=0)
    return moment.astimezone(UTC)

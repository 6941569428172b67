"""What a column does, whatever it is called: climbs like a kiln, is ruled like a set point, is bounded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.reading.firing_log import FloatArray

Conduct = Literal["empty", "constant", "clock", "segment", "on-off", "volts", "temperature", "bounded", "other"]

_MOST = 4000
_REPEATED, _COOLS = 4, 10.0
"""Rows that repeat a value, and degrees (C or F) another column falls meanwhile, that no kiln's zone shows."""
_FINE_TICK = 0.05
"""Times written this finely against the rows' spacing are rounded; coarser ones are the rows' own numbers."""
_STANDS = 0.5
_AS_RULED, _FINER_LINE, _FINER = 0.15, 0.5, 0.2
"""Columns whose scores lie so close are ruled about alike; one half as uneven as any other (degrees) is the ruler."""
_NEAR, _MUCH = 0.03, 0.4
"""How near a failing couple keeps to the temperature it measures (of its range), and in which share of the rows."""


@dataclass(frozen=True, slots=True)
class Behaviour:
    """Conduct of one numeric column with the figures it rests on."""

    conduct: Conduct
    low: float
    high: float
    integers: bool
    zero_share: float


def behaviour_of(values: FloatArray) -> Behaviour:
    """Classify one column (shape (n,), NaN where blank) from all its rows, thinned to some thousands."""
    x = values[np.isfinite(values)]
    if x.size < max(3, 0.02 * values.size):
        return Behaviour("empty", np.nan, np.nan, integers=False, zero_share=0.0)
    low, high = float(x.min()), float(x.max())
    if x.size > _MOST:
        x = x[: x.size // _MOST * _MOST].reshape(_MOST, -1)[:, 0] if x.size > 4 * _MOST else x
    integers = bool((x == np.rint(x)).all())
    zero = float(np.count_nonzero(x == 0)) / x.size
    return Behaviour(_conduct(x, low, high, integers, zero), low, high, integers, zero)


def _conduct(x: FloatArray, low: float, high: float, integers: bool, zero: float) -> Conduct:  # noqa: FBT001
    if high == low:
        return "constant"
    step = np.diff(x)
    rising, falling = int(np.count_nonzero(step > 0)), int(np.count_nonzero(step < 0))
    if max(rising, falling) >= 0.97 * step.size and x.size > 3:
        return "clock"
    changes = int(np.count_nonzero(step))
    if integers and low >= -1 and high <= 99 and changes <= max(40, 0.02 * x.size):
        levels = np.unique(x)
        if levels.size > 2 or changes <= 6:
            ups = int(np.count_nonzero(step == 1)) + int(np.count_nonzero(x[step.size :] == 0))
            if levels.size <= 60 and (ups >= 0.4 * changes or changes <= 3):
                return "segment"
    if zero > 0.0 and bool(((x == 0) | (x == high)).all()):
        return "on-off"
    spread = high - low
    if low > 80 and high < 720 and spread < 0.3 * high and _rough(step, spread):
        return "volts"
    if spread > 100 and high > 120 and low > -60 and not _rough(step, spread):
        return "temperature"
    if low >= -1 and high <= 500:
        return "bounded"
    return "other"


def _rough(step: FloatArray, spread: float) -> bool:
    """Tell whether a column jumps about instead of moving on slowly."""
    return float(np.mean(np.abs(step) > 0.06 * spread)) > 0.1 or float(np.abs(step).sum()) > 12 * spread


def ruledness(values: FloatArray, time_s: FloatArray) -> float:
    """Say how much a temperature column looks drawn with a ruler (a set point), about 0..1.5.

    Up to its peak a set point lies on straight lines, so that each sample is within rounding of the line through
    its neighbours; and after the programme's end it stands still, drops at once or is blank, which no kiln does.
    """
    good = np.isfinite(values) & np.isfinite(time_s)
    x, t = values[good], time_s[good]
    if x.size < 12:
        return 0.0
    if not np.diff(x).any():
        return 0.0
    quantum, tick = _resolution(x), _resolution(t)
    if tick > _FINE_TICK * float(np.median(np.diff(t))):
        tick = 0.0
    top = float(x.max())
    last = int(np.flatnonzero(x >= 0.98 * top)[-1])
    stop = max(last, 10)
    score = 0.0
    for lag in (2, 5):
        a, b, c = x[: stop - 2 * lag], x[lag : stop - lag], x[2 * lag : stop]
        ta, tb, tc = t[: stop - 2 * lag], t[lag : stop - lag], t[2 * lag : stop]
        if not a.size:
            continue
        span = np.where(tc > ta, tc - ta, 1.0)
        rate = (c - a) / span
        off = np.abs(b - (a + rate * (tb - ta)))
        # a time written in whole seconds moves a fine set point by a second's climb
        score += 0.5 * float(np.mean(off <= 1.05 * quantum + np.abs(rate) * tick))
    tail = x[stop:]
    blank_tail = good.size - int(np.flatnonzero(good)[-1]) - 1 > 0.05 * good.size
    drops = tail.size > 0 and float(-np.diff(x[max(0, stop - 1) :]).min(initial=0.0)) > 0.4 * top
    still = tail.size > 0.05 * x.size and float(np.ptp(tail[tail.size // 2 :])) < 1e-6
    return score + 0.5 * float(blank_tail or drops or still)


def unevenness(values: FloatArray, time_s: FloatArray) -> float:
    """Mean distance (deg C or F) of the samples up to the peak from the line through their neighbours two rows away."""
    good = np.isfinite(values) & np.isfinite(time_s)
    x, t = values[good], time_s[good]
    if x.size < 12:
        return 0.0
    stop = max(int(np.flatnonzero(x >= 0.98 * x.max())[-1]), 10)
    x, t = x[:stop], t[:stop]
    span = np.where(t[4:] > t[:-4], t[4:] - t[:-4], 1.0)
    return float(np.mean(np.abs(x[2:-2] - (x[:-4] + (x[4:] - x[:-4]) * (t[2:-2] - t[:-4]) / span))))


def stands_at_its_peak(values: FloatArray, others: Sequence[FloatArray]) -> bool:
    """Tell whether a column ends in rows that all repeat its highest value while another one cools in them.

    So does the set point of a firing that was given up before its programme's end.
    """
    x = values[np.isfinite(values)]
    below = np.flatnonzero(x < x.max(initial=-np.inf))
    rows = x.size - 1 - int(below[-1]) if below.size else 0
    if rows < _REPEATED:
        return False
    ends = (other[-rows:][np.isfinite(other[-rows:])] for other in others)
    return any(end.size > 1 and float(end[0] - end[-1]) > _COOLS for end in ends)


def how_ruled(columns: Mapping[int, FloatArray], time_s: FloatArray | None) -> dict[int, float]:
    """Score temperature columns, by index, as set points (`ruledness`, and what tells one beside the others)."""
    if time_s is None:
        time_s = np.arange(max((own.size for own in columns.values()), default=0), dtype=float)
    scores = {index: ruledness(own, time_s) for index, own in columns.items()}
    for index, own in columns.items():
        if stands_at_its_peak(own, [other for at, other in columns.items() if at != index]):
            scores[index] += _STANDS
    # a zone in whole degrees may lie as near its line, within rounding, as a set point in tenths: the finer is ruled
    best = max(scores.values(), default=0.0)
    alike = [index for index, score in scores.items() if score > best - _AS_RULED]
    if len(alike) > 1:
        off = {index: unevenness(own, time_s) for index, own in columns.items()}
        finest = min(off, key=lambda index: off[index])
        if finest in alike and off[finest] < _FINER_LINE * min(o for index, o in off.items() if index != finest):
            scores[finest] += _FINER
    return scores


def only_falls(values: FloatArray) -> bool:
    """Tell whether a column never rises, as what is left of a firing does, and a kiln only while it cools."""
    return not bool((np.diff(values[np.isfinite(values)]) > 0.0).any())


def follows(values: FloatArray, temperatures: Sequence[FloatArray]) -> bool:
    """Tell whether a column that jumps about keeps to a temperature for much of the time: a couple that fails does."""
    for other in temperatures:
        near = np.abs(values - other) < _NEAR * np.ptp(other[np.isfinite(other)])
        if float(np.mean(near)) > _MUCH:
            return True
    return False


def _resolution(x: FloatArray) -> float:
    """Return the step in which values are written: the largest of the usual ones that nearly all are multiples of."""
    few = x[:: x.size // 1000 + 1]
    for step in (1.0, 0.5, 0.1, 0.05):
        if float(np.mean(np.abs(few / step - np.rint(few / step)) < 0.01)) > 0.95:
            return step
    return 0.01

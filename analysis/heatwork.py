"""Heat-work: which pyrometric cone a firing equals, from its peak, the rate over the last 100 deg C and the hold.

Equivalents are a cone manufacturer's chart (2016) for self-supporting regular cones at 15, 60 and 150 deg C/h over
the last 100 deg C. Rows 07 to 12 are from memory of that chart; the others were read in two copies of its text.
Other charts (large cones, other rates) differ by up to two cones' spacing, so a cone is always shown with its kind.
"""

from bisect import bisect_right
from dataclasses import dataclass, replace
from functools import lru_cache
from math import isnan, log, log2

import numpy as np

from analysis.ranks import quantile
from analysis.reading.firing_log import FiringLog, FloatArray

KIND = "self-supporting regular cone, by the heating rate over the last {dc:100}"
SOURCE = "a cone manufacturer's chart of 2016"
RATES_C_PER_H = (15.0, 60.0, 150.0)
_NONE = float("nan")
CHART: tuple[tuple[str, float, float, float], ...] = (
    ("022", _NONE, 586, 590),
    ("021", _NONE, 600, 617),
    ("020", _NONE, 626, 638),
    ("019", 656, 678, 695),
    ("018", 686, 715, 734),
    ("017", 705, 738, 763),
    ("016", 742, 772, 796),
    ("015", 750, 791, 818),
    ("014", 757, 807, 838),
    ("013", 807, 837, 861),
    ("012", 843, 861, 882),
    ("011", 857, 875, 894),
    ("010", 891, 903, 915),
    ("09", 907, 920, 930),
    ("08", 922, 942, 956),
    ("07", 962, 976, 987),
    ("06", 981, 998, 1013),
    ("05.5", 1004, 1015, 1025),
    ("05", 1021, 1031, 1044),
    ("04", 1046, 1063, 1077),
    ("03", 1071, 1086, 1104),
    ("02", 1078, 1102, 1122),
    ("01", 1093, 1119, 1138),
    ("1", 1109, 1137, 1154),
    ("2", 1112, 1142, 1164),
    ("3", 1115, 1152, 1170),
    ("4", 1141, 1162, 1183),
    ("5", 1159, 1186, 1207),
    ("5.5", 1167, 1203, 1225),
    ("6", 1185, 1222, 1243),
    ("7", 1201, 1239, 1257),
    ("8", 1211, 1249, 1271),
    ("9", 1224, 1260, 1280),
    ("10", 1251, 1285, 1305),
    ("11", 1272, 1294, 1315),
    ("12", 1285, 1306, 1326),
)
CONES = tuple(row[0] for row in CHART)
_FIRST_FROM_MEMORY = CONES.index("07")
_TEMPERATURE_C = tuple(row[1:] for row in CHART)
_LOG_RATES = tuple(log(rate) for rate in RATES_C_PER_H)
# A soak of 1 to 2 h near the equivalent bends the next cone, 4 to 6 h the second (a potters' schedule sheet):
# one cone at 1.5 h and two at 4.5 h is log2(1 + h / 1.5).
SOAK_HALF_H = 1.5
_SLOWEST, _FASTEST = 10.0, 300.0  # deg C per hour; beyond these the chart says nothing
_BELOW_FIRST_C = 20.0
_NEAR_PEAK_C = 30.0  # farther from its set peak a firing was not over-fired for its pace but under-fired


@dataclass(frozen=True, slots=True)
class LastClimb:
    """How a firing ended: peak, mean rate over the last 100 deg C before it, and time held within 6 deg C of it."""

    peak_c: float
    rate_c_per_h: float
    hold_h: float


@dataclass(frozen=True, slots=True)
class HeatWork:
    """The nearest cone, and the peak that would have done the same work at 60 deg C/h without a hold.

    ``rate_c_per_h`` is the climb over the last 100 deg C, ``planned_c_per_h`` the set point's; ``more_than_planned_c``
    what the slower climb added (see `more_than_planned_c`). The last two are None where the plan is not known.
    """

    cone: str
    equivalent_c: float
    kind: str = KIND
    source: str = SOURCE
    from_memory: bool = False
    rate_c_per_h: float | None = None
    planned_c_per_h: float | None = None
    more_than_planned_c: float | None = None


def of_firing(log: FiringLog) -> HeatWork | None:
    """Return the cone that the mean of the zones earned, and what a climb slower than the set point's added.

    None if it never climbed 100 deg C or ended below the chart. The plan counts as known where the set point climbed
    100 deg C at a rate the chart knows and the kiln came near its peak: else there is no like peak to compare at.
    """
    climb = last_climb(log.elapsed_s, _mean_c(log.zone_c))
    work = None if climb is None else heat_work(climb)
    if climb is None or work is None:
        return None
    plan = None if log.set_point_c is None else last_climb(log.elapsed_s, _mean_c(log.set_point_c))
    if plan is None or plan.rate_c_per_h > _FASTEST or abs(plan.peak_c - climb.peak_c) > _NEAR_PEAK_C:
        return replace(work, rate_c_per_h=climb.rate_c_per_h)
    more = more_than_planned_c(climb.peak_c, climb.rate_c_per_h, plan.rate_c_per_h)
    return replace(work, rate_c_per_h=climb.rate_c_per_h, planned_c_per_h=plan.rate_c_per_h, more_than_planned_c=more)


def _mean_c(values_c: FloatArray) -> FloatArray:
    """Return the mean over the zones, shape (n,), of what is not NaN in each row."""
    if values_c.shape[1] == 1:
        return values_c[:, 0]
    mean: FloatArray = values_c.sum(axis=1) / values_c.shape[1]
    known = np.isfinite(mean)
    if known.all():
        return mean
    some = values_c[~known]
    seen = np.isfinite(some)
    count = seen.sum(axis=1)
    mean[~known] = np.where(count > 0, np.where(seen, some, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)
    return mean


def last_climb(elapsed_s: FloatArray, temperature_c: FloatArray) -> LastClimb | None:
    """Return how a firing ended, or None if it never climbed 100 deg C.

    ``elapsed_s`` and ``temperature_c`` have shape (n,); NaN temperatures are left out. The peak is the 99.9th
    percentile, so that a lone high sample does not set it.
    """
    good = np.isfinite(temperature_c)
    time, temp = (elapsed_s, temperature_c) if good.all() else (elapsed_s[good], temperature_c[good])
    if time.size < 10:
        return None
    peak = quantile(temp, 0.999)
    reached = int(np.argmax(temp >= peak - 3.0))
    below = np.flatnonzero(temp[: reached + 1] <= peak - 100.0)
    if below.size == 0:
        return None
    start = int(below[-1])
    hours = float(time[reached] - time[start]) / 3600.0
    rise = float(temp[reached] - temp[start])
    held = (time[reached + 1 :] - time[reached:-1])[temp[reached:-1] >= peak - 6.0]
    hold = max(0.0, float(held.sum()) / 3600.0 - 3.0 / max(rise / max(hours, 1e-6), 1.0))
    return LastClimb(peak, rise / hours, hold) if hours > 0 else None


@lru_cache(maxsize=4)  # a firing asks for those of one rate twice
def equivalents_c(rate_c_per_h: float) -> tuple[float, ...]:
    """Return each cone's temperature in deg C at a heating rate, as many as ``CONES``; NaN where the chart has none.

    Interpolated in the logarithm of the rate between the chart's columns and carried on with the outer slope to
    10 and 300 deg C/h.
    """
    x = log(min(max(rate_c_per_h, _SLOWEST), _FASTEST))
    at = 0 if x < _LOG_RATES[1] else 1
    share = (x - _LOG_RATES[at]) / (_LOG_RATES[at + 1] - _LOG_RATES[at])
    return tuple([row[at] + (row[at + 1] - row[at]) * share for row in _TEMPERATURE_C])


def heat_work(climb: LastClimb) -> HeatWork | None:
    """Return the cone a firing equals; None if it ended below the chart's lowest cone."""
    table = equivalents_c(climb.rate_c_per_h)
    first = next(cone for cone, at_c in enumerate(table) if not isnan(at_c))  # only the lowest cones lack a rate
    if climb.peak_c < table[first] - _BELOW_FIRST_C:
        return None
    below = max(bisect_right(table, climb.peak_c, lo=first), first + 1) - 1
    last = len(CONES) - 1
    place = float(below)
    if below < last:
        place += max(0.0, (climb.peak_c - table[below]) / (table[below + 1] - table[below]))
    place = min(place + log2(1.0 + climb.hold_h / SOAK_HALF_H), float(last))
    lower = min(int(place), last - 1)
    at_60 = _TEMPERATURE_C[lower][1] + (place - lower) * (_TEMPERATURE_C[lower + 1][1] - _TEMPERATURE_C[lower][1])
    cone = round(place)
    return HeatWork(CONES[cone], at_60, from_memory=cone >= _FIRST_FROM_MEMORY)


def more_than_planned_c(peak_c: float, rate_c_per_h: float, planned_c_per_h: float) -> float:
    """Return how much hotter ware was fired than planned, in deg C at the planned rate, when the climb was slower.

    A kiln that climbs slower to the same peak over-fires: positive numbers.
    """
    actual = heat_work(LastClimb(peak_c, rate_c_per_h, 0.0))
    planned = heat_work(LastClimb(peak_c, planned_c_per_h, 0.0))
    return 0.0 if actual is None or planned is None else actual.equivalent_c - planned.equivalent_c

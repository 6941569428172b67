"""Four general methods on the same firings, for comparison: what can be had without knowing kilns.

Each sees the same logs as the program does and judges online, from a firing and those before it:

duration      a firing 10 % longer than the median of the first eight with a like peak (the trade's rule of thumb)
change point  PELT (ruptures, Killick 2012) on the logarithm of the climb over the last 100 deg C
EWMA chart    lambda 0.2, limits 2.7 sigma, on the same climb, reference the first eight firings
CUSUM chart   k 0.5, h 5 sigma, lower side, on the same climb and reference (Page 1954; optimal for a known shift)

``tests/outside/test_control_charts.py`` checks the two charts against published worked examples.
"""

import math
from collections.abc import Sequence
from statistics import median, stdev

import numpy as np

from analysis.heatwork import last_climb
from analysis.reading import FiringLog

REFERENCE = 8
LIKE_PEAK_C = 30.0


def facts_of(log: FiringLog) -> dict | None:
    """Return duration to the peak, peak, and the climb over the last 100 deg C; None if it never climbed that far."""
    seen = np.isfinite(log.zone_c)
    count = seen.sum(axis=1)
    total = np.where(seen, log.zone_c, 0.0).sum(axis=1)
    temp = np.divide(total, count, out=np.full(count.size, np.nan), where=count > 0)
    climb = last_climb(log.elapsed_s, temp)
    if climb is None:
        return None
    top = int(np.nanargmax(temp))
    return {"hours": float(log.elapsed_s[top]) / 3600.0, "peak_c": climb.peak_c, "climb": climb.rate_c_per_h}


def _record(alarm: bool) -> dict:
    found = [{"cause": "element_ageing", "severity": "warning", "zone": None, "probability": 0.9}] if alarm else []
    return {"power_ratio": None, "power_low": None, "power_high": None, "findings": found}


def duration_rule(facts: list[dict | None]) -> list[dict | None]:
    """Judge each firing by its duration against the first eight of a like peak."""
    out: list[dict | None] = []
    for i, fact in enumerate(facts):
        if fact is None:
            out.append(_record(alarm=False))
            continue
        like = [f["hours"] for f in facts[:i] if f and abs(f["peak_c"] - fact["peak_c"]) < LIKE_PEAK_C][:REFERENCE]
        out.append(_record(len(like) == REFERENCE and fact["hours"] > 1.10 * median(like)))
    return out


def change_points(facts: list[dict | None]) -> list[dict | None]:
    """Judge each firing by whether the newest segment of the climb lies 10 % below the first."""
    import ruptures

    out: list[dict | None] = []
    seen: list[float] = []
    for fact in facts:
        alarm = False
        if fact is not None and fact["climb"] > 0:
            seen.append(math.log(fact["climb"]))
            if len(seen) > REFERENCE:
                series = np.array(seen)
                noise = float(np.median(np.abs(np.diff(series)))) / 0.954 + 1e-6
                ends = (
                    ruptures.Pelt(model="l2", min_size=3).fit(series / noise).predict(pen=3.0 * math.log(series.size))
                )
                if len(ends) > 1:
                    alarm = series[ends[-2] :].mean() < series[: ends[0]].mean() - 0.10
        out.append(_record(bool(alarm)))
    return out


def ewma(values: Sequence[float], weight: float, start: float = 0.0) -> list[float]:
    """Return the exponentially weighted moving average after each value, from ``start`` on."""
    out: list[float] = []
    for value in values:
        out.append(weight * value + (1 - weight) * (out[-1] if out else start))
    return out


def ewma_limit(weight: float, width: float, count: int) -> float:
    """Return the control limit after ``count`` values, in standard deviations of one value."""
    return width * math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * count)))


def cusum(values: Sequence[float], slack: float) -> list[float]:
    """Return the tabular upper cumulative sum after each value: how far they rose by more than ``slack`` each."""
    out: list[float] = []
    for value in values:
        out.append(max(0.0, (out[-1] if out else 0.0) + value - slack))
    return out


def _standardised(facts: list[dict | None]) -> tuple[list[int], list[float]]:
    """Return the firings after the reference that climbed, and the log of their climb in the reference's spread."""
    climbs = [(i, math.log(fact["climb"])) for i, fact in enumerate(facts) if fact is not None and fact["climb"] > 0]
    first = [value for _, value in climbs[:REFERENCE]]
    if len(climbs) <= REFERENCE:
        return [], []
    spread, middle = max(stdev(first), 1e-3), median(first)
    return [i for i, _ in climbs[REFERENCE:]], [(value - middle) / spread for _, value in climbs[REFERENCE:]]


def _alarms(facts: list[dict | None], at: list[int], out: list[bool]) -> list[dict | None]:
    alarms = dict(zip(at, out, strict=True))
    return [_record(alarms.get(i, False)) for i in range(len(facts))]


def ewma_chart(facts: list[dict | None], weight: float = 0.2, limit: float = 2.7) -> list[dict | None]:
    """Judge each firing by an exponentially weighted moving average chart, lower side."""
    at, values = _standardised(facts)
    levels = ewma(values, weight)
    return _alarms(facts, at, [level < -ewma_limit(weight, limit, n) for n, level in enumerate(levels, 1)])


def cusum_chart(facts: list[dict | None], slack: float = 0.5, limit: float = 5.0) -> list[dict | None]:
    """Judge each firing by a tabular CUSUM chart, lower side."""
    at, values = _standardised(facts)
    return _alarms(facts, at, [sum_ > limit for sum_ in cusum([-value for value in values], slack)])


METHODS = {
    "duration +10 %": duration_rule,
    "change point": change_points,
    "EWMA chart": ewma_chart,
    "CUSUM chart": cusum_chart,
}

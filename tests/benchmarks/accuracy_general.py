"""Three general methods on the same firings, for comparison: what can be had without knowing kilns.

Each sees the same logs as the program does and judges online, from a firing and those before it:

duration      a firing 10 % longer than the median of the first eight with a like peak (the trade's rule of thumb)
change point  PELT (ruptures, Killick 2012) on the logarithm of the climb over the last 100 deg C
EWMA chart    lambda 0.2, limits 2.7 sigma, on the same climb, reference the first eight firings
"""

import math
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


def ewma_chart(facts: list[dict | None], weight: float = 0.2, limit: float = 2.7) -> list[dict | None]:
    """Judge each firing by an exponentially weighted moving average chart, lower side."""
    out: list[dict | None] = []
    seen: list[float] = []
    level = 0.0
    for fact in facts:
        alarm = False
        if fact is not None and fact["climb"] > 0:
            seen.append(math.log(fact["climb"]))
            if len(seen) > REFERENCE:
                first = seen[:REFERENCE]
                spread = max(stdev(first), 1e-3)
                level = weight * (seen[-1] - median(first)) / spread + (1 - weight) * level
                n = len(seen) - REFERENCE
                alarm = level < -limit * math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n)))
        out.append(_record(bool(alarm)))
    return out


METHODS = {"duration +10 %": duration_rule, "change point": change_points, "EWMA chart": ewma_chart}

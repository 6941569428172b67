"""The newest rows of a log that is still growing, and what they show of each zone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FiringLog

BEHIND_C = 25.0
"""So far below the set point is more than the ordinary lag of a chamber (common practice, no source)."""
LEAST_ROWS = 6
FULL = 0.95
"""Mean output over the stretch that counts as full."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The newest rows of a log: seconds (m,), zones (m, z), set point and output the same or None."""

    elapsed_s: NDArray[np.float64]
    zone_c: NDArray[np.float64]
    set_point_c: NDArray[np.float64] | None
    output: NDArray[np.float64] | None

    @classmethod
    def of(cls, log: FiringLog, seconds: float) -> "Stretch | None":
        """Return the newest ``seconds`` of a log, or as many as hold six rows; None while the log is shorter."""
        elapsed = log.elapsed_s
        if elapsed.size < LEAST_ROWS:
            return None
        span = max(seconds, float(elapsed[-1] - elapsed[-LEAST_ROWS]))
        if elapsed[-1] - elapsed[0] < span:
            return None
        first = int(np.searchsorted(elapsed, elapsed[-1] - span))
        part = slice(first, None)
        return cls(
            elapsed[first:],
            log.zone_c[part],
            _filled(log.set_point_c, part),
            _filled(log.output, part),
        )

    @property
    def minutes(self) -> float:
        """How long the stretch is."""
        return float(self.elapsed_s[-1] - self.elapsed_s[0]) / 60.0

    def rise(self) -> NDArray[np.float64]:
        """Return each zone's rise over the stretch (z,), from the medians of its first and last fifth; NaN unknown."""
        fifth = max(2, self.elapsed_s.size // 5)
        return known_median(self.zone_c[-fifth:]) - known_median(self.zone_c[:fifth])

    def lag(self) -> NDArray[np.float64] | None:
        """Return the set point less the temperature (m, z)."""
        return None if self.set_point_c is None else self.set_point_c - self.zone_c

    def full(self) -> NDArray[np.bool_]:
        """Return which zones (z,) stand at full output, as logged or as their growing lag shows."""
        lag = self.lag()
        if self.output is not None:
            return np.asarray(known_mean(self.output.T) >= FULL)
        if lag is None:
            return np.zeros(self.zone_c.shape[1], dtype=bool)
        return np.asarray(np.nanmin(np.where(np.isfinite(lag), lag, np.inf), axis=0) >= BEHIND_C)


def _filled(values: NDArray[np.float64] | None, part: slice) -> NDArray[np.float64] | None:
    """Return the part, or None where it holds a gap: what is asked of the kiln is then not known."""
    if values is None:
        return None
    cut = values[part]
    return cut if bool(np.isfinite(cut).all()) else None


def known_median(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the median of each column's known values, NaN where it has none."""
    known = np.isfinite(values).any(axis=0)
    out = np.full(values.shape[1], np.nan)
    out[known] = np.nanmedian(values[:, known], axis=0)
    return out


def known_mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of each row's known values, NaN where it has none."""
    known = np.isfinite(values)
    count = known.sum(axis=1)
    total = np.where(known, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)

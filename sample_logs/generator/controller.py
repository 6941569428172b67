"""The kiln's controller: a programme of ramps and holds, a proportional-integral rule, relays switched by time."""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
CYCLE_S = 20.0  # the relays switch at most once in each direction in a cycle
ARRIVED_C = 3.0
RELAY_STEP_S = 1.0
BEHIND_C = 40.0
STALLED_C_PER_H = 12.0


@dataclass(frozen=True, slots=True)
class Segment:
    """Go to ``to_c`` at ``c_per_h`` (negative: cooling), then hold for ``hold_min`` minutes."""

    c_per_h: float
    to_c: float
    hold_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Programme:
    """A named list of segments."""

    name: str
    segments: tuple[Segment, ...]

    @property
    def peak_c(self) -> float:
        """The hottest set point."""
        return max(segment.to_c for segment in self.segments)


class Controller:
    """Runs one programme. ``set_point_c`` is None before the start and after the end of heating.

    The set point runs on by the clock; at the end of a ramp it waits until every zone has arrived. When the kiln is
    more than ``BEHIND_C`` behind and has risen less than ``STALLED_C_PER_H`` in the last hour, the controller gives up
    (``ended`` says so).
    """

    def __init__(self, programme: Programme, start_c: float, zones: int) -> None:
        self.programme = programme
        self.segment = 0
        self.set_point_c: float | None = start_c
        self.ended: str | None = None
        self._held_s = 0.0
        self._last_hour_c: deque[float] = deque(maxlen=int(3600.0 / CYCLE_S))
        self._integral = np.zeros(zones)

    def cycle(self, reading_c: FloatArray) -> FloatArray:
        """Return each zone's share of on-time for the next cycle, given the temperatures read."""
        if self.ended is not None or self.set_point_c is None:
            return np.zeros_like(reading_c)
        self._advance(reading_c)
        if self.ended is not None:
            return np.zeros_like(reading_c)
        error = self.set_point_c - reading_c
        wanted = 0.035 * error + self._integral
        inside = (wanted > 0.0) & (wanted < 1.0)
        unwinding = ((wanted >= 1.0) & (error < 0.0)) | ((wanted <= 0.0) & (error > 0.0))
        self._integral = np.clip(
            self._integral + np.where(inside | unwinding, 0.035 * error * CYCLE_S / 900.0, 0.0), 0.0, 1.0
        )
        on_s = np.round(np.clip(wanted, 0.0, 1.0) * CYCLE_S / RELAY_STEP_S) * RELAY_STEP_S
        return np.asarray(on_s / CYCLE_S)

    def stop(self, why: str) -> None:
        """End the firing now."""
        self.ended, self.set_point_c = why, None

    def _advance(self, reading_c: FloatArray) -> None:
        assert self.set_point_c is not None
        segment = self.programme.segments[self.segment]
        step = abs(segment.c_per_h) * CYCLE_S / 3600.0
        gap = segment.to_c - self.set_point_c
        self.set_point_c = segment.to_c if abs(gap) <= step else self.set_point_c + float(np.sign(gap)) * step
        self._watch(reading_c)
        if self.ended is not None or self.set_point_c != segment.to_c:
            return
        rising = self.segment == 0 or segment.to_c > self.programme.segments[self.segment - 1].to_c
        arrived = bool(np.all(reading_c >= segment.to_c - ARRIVED_C)) if rising else True
        if not arrived:
            return
        self._held_s += CYCLE_S
        if self._held_s >= segment.hold_min * 60.0:
            self._held_s = 0.0
            self.segment += 1
            if self.segment == len(self.programme.segments):
                self.stop("complete")

    def _watch(self, reading_c: FloatArray) -> None:
        assert self.set_point_c is not None
        coldest_c = float(reading_c.min())
        hour_ago_c = self._last_hour_c[0] if len(self._last_hour_c) == self._last_hour_c.maxlen else -np.inf
        self._last_hour_c.append(coldest_c)
        if self.set_point_c - coldest_c > BEHIND_C and coldest_c - hour_ago_c < STALLED_C_PER_H:
            self.stop("gave up")

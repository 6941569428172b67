"""A firing while it runs: what its log so far shows that a person should know before it ends.

Nothing here is a safety device: it reads rows that were already written, may be minutes late, and stops nothing. The
limits below are common practice with wide margins, no source, chosen so that a healthy kiln says nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.course import PastCourse, UsualCourse, remaining_at_full_output, same_programme, usual_course
from analysis.findings import Severity
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln

LiveKind = Literal[
    "behind", "stalled", "heat_without_demand", "over_temperature", "thermocouple_jumping", "gone_silent"
]
LIVE_KINDS: tuple[LiveKind, ...] = (
    "behind",
    "stalled",
    "heat_without_demand",
    "over_temperature",
    "thermocouple_jumping",
    "gone_silent",
)
Phase = Literal["not begun", "heating", "near the end", "cooling"]

LOOK_S = 1200.0  # the stretch of log a judgement rests on
STALL_S = 2700.0  # so long without a rise at full output is a stall
STALL_RISE_C = 4.0
BEHIND_C = 25.0  # less is ordinary lag of the chamber behind the set point
LOSING_C = 4.0  # the lag must be growing by so much over the stretch
FULL = 0.95  # mean output over the stretch that counts as full
UNASKED_S = 720.0
UNASKED_C = 15.0
OVER_C = 5.0  # beyond the register's maximum: a thermocouple's own tolerance
LATE_S = 2700.0
LATE_SHARE = 0.12


@dataclass(frozen=True, slots=True)
class LiveState:
    """One thing that is so now. ``text`` holds ``{c:..}``/``{dc:..}`` places and may hold ``{end}``.

    ``{end}`` stands for the clock time at ``end_s`` seconds after the log's first row.
    """

    kind: LiveKind
    severity: Severity
    text: str
    zone: str | None = None
    end_s: float | None = None
    first_look: str = ""


@dataclass(frozen=True, slots=True)
class LiveView:
    """The firing so far. ``temperature_c`` is the mean of the zones, ``set_point_c`` the highest of them.

    ``under_way``: it is certain, from earlier firings, that this one is not at its end yet.
    """

    elapsed_s: float
    sample_s: float
    temperature_c: float | None
    set_point_c: float | None
    phase: Phase
    under_way: bool = False
    states: tuple[LiveState, ...] = ()


def watch(kiln: Kiln, log: FiringLog, past: Sequence[PastCourse] = ()) -> LiveView:
    """Judge a log that is still growing, against the register and this programme's earlier firings.

    ``past`` holds the kiln's complete earlier firings, oldest first; without like ones no expected end is given. Most
    of what it can say needs at least six rows over ``LOOK_S`` seconds.
    """
    elapsed = log.elapsed_s
    if elapsed.size == 0:
        return LiveView(0.0, 60.0, None, None, "not begun")
    stretch = _Stretch.of(log, LOOK_S)
    mean_c = _mean(log.zone_c)
    known = mean_c[np.isfinite(mean_c)]
    now_c = float(known[-1]) if known.size else None
    sample_s = float(np.median(np.diff(elapsed))) if elapsed.size > 1 else 60.0
    usual = usual_course(same_programme(past, log))
    phase = _phase(stretch, mean_c, now_c, None if usual is None else usual.peak_c)
    least_peak_c = _least_peak(past, usual)
    found = [*_over_temperature(kiln, log), *_jumping(log)]
    if stretch is not None and now_c is not None and phase in ("heating", "near the end"):
        unasked = _unasked(log)
        found += unasked
        stalled = _stalled(log) if phase == "heating" else []
        found += stalled
        if phase == "heating" and not stalled and not unasked:
            found += _behind(log, stretch, now_c, usual)
    return LiveView(
        elapsed_s=float(elapsed[-1]),
        sample_s=sample_s,
        temperature_c=now_c,
        set_point_c=None if stretch is None or stretch.set_point_c is None else float(stretch.set_point_c[-1].max()),
        phase=phase,
        under_way=phase == "heating" and least_peak_c is not None and float(known.max()) < least_peak_c - 40.0,
        states=tuple(found),
    )


def silence(view: LiveView, silent_s: float, limit_s: float) -> LiveState | None:
    """Judge that no row came for ``silent_s`` seconds: a log that ends near its peak or in cooling is simply over."""
    if not view.under_way or view.temperature_c is None or silent_s < max(limit_s, 8 * view.sample_s):
        return None
    text = f"No new row in the log for {silent_s / 60:.0f} min, in mid-firing at {{c:{view.temperature_c:.0f}}}."
    look = "Look at the kiln and its controller: power cut, tripped breaker, controller stopped, or only the logging."
    return LiveState("gone_silent", "warning", text, first_look=look)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The newest rows of a log: seconds (m,), zones (m, z), set point and output the same or None."""

    elapsed_s: NDArray[np.float64]
    zone_c: NDArray[np.float64]
    set_point_c: NDArray[np.float64] | None
    output: NDArray[np.float64] | None

    @classmethod
    def of(cls, log: FiringLog, seconds: float, until: int | None = None) -> "_Stretch | None":
        elapsed = log.elapsed_s[:until]
        if elapsed.size < 6 or elapsed[-1] - elapsed[0] < seconds:
            return None
        first = int(np.searchsorted(elapsed, elapsed[-1] - seconds))
        if elapsed.size - first < 6:
            return None
        part = slice(first, until)
        return cls(
            elapsed[first:],
            log.zone_c[part],
            _filled(log.set_point_c, part),
            _filled(log.output, part),
        )

    def rise(self) -> NDArray[np.float64]:
        """Return each zone's rise over the stretch (z,), from the medians of its first and last fifth; NaN unknown."""
        fifth = max(2, self.elapsed_s.size // 5)
        return _median(self.zone_c[-fifth:]) - _median(self.zone_c[:fifth])

    def lag(self) -> NDArray[np.float64] | None:
        """Return the set point less the temperature (m, z)."""
        return None if self.set_point_c is None else self.set_point_c - self.zone_c

    def full(self) -> NDArray[np.bool_]:
        """Return which zones (z,) stand at full output, as logged or as their growing lag shows."""
        lag = self.lag()
        if self.output is not None:
            return np.asarray(_mean(self.output.T) >= FULL)
        if lag is None:
            return np.zeros(self.zone_c.shape[1], dtype=bool)
        return np.asarray(np.nanmin(np.where(np.isfinite(lag), lag, np.inf), axis=0) >= BEHIND_C)


def _filled(values: NDArray[np.float64] | None, part: slice) -> NDArray[np.float64] | None:
    """Return the part, or None where it holds a gap: what is asked of the kiln is then not known."""
    if values is None:
        return None
    cut = values[part]
    return cut if bool(np.isfinite(cut).all()) else None


def _median(values: NDArray[np.float64]) -> NDArray[np.float64]:
    known = np.isfinite(values).any(axis=0)
    out = np.full(values.shape[1], np.nan)
    out[known] = np.nanmedian(values[:, known], axis=0)
    return out


def _mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of each row's known values, NaN where it has none."""
    known = np.isfinite(values)
    count = known.sum(axis=1)
    total = np.where(known, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _phase(stretch: _Stretch | None, mean_c: NDArray[np.float64], now_c: float | None, peak_c: float | None) -> Phase:
    if now_c is None or stretch is None:
        return "not begun"
    top = float(np.nanmax(mean_c))
    rising = float(np.nanmax(np.append(stretch.rise(), -np.inf)))
    if now_c < top - 30.0 and rising < 0.0:
        return "cooling"
    if top < 80.0 and rising < 5.0 and not bool(stretch.full().any()):
        return "not begun"
    if peak_c is not None:
        return "near the end" if top >= peak_c - 20.0 else "heating"
    holding = stretch.set_point_c is not None and np.ptp(stretch.set_point_c.max(axis=1)) < 2.0
    at_set_point = stretch.set_point_c is not None and float(stretch.set_point_c[-1].max()) - now_c < 20.0
    return "near the end" if holding and at_set_point and top > 500.0 else "heating"


def _least_peak(past: Sequence[PastCourse], usual: UsualCourse | None) -> float | None:
    """Return the peak below which no complete firing of this kind ended, or None while too few are known."""
    if usual is not None:
        return usual.peak_c
    tops = [max(course.temperature_c) for course in past if course.temperature_c]
    return min(tops) if len(tops) >= 3 else None


def _name(log: FiringLog, zone: int) -> str | None:
    return log.zone_names[zone] if log.zone_c.shape[1] > 1 and zone < len(log.zone_names) else None


def _over_temperature(kiln: Kiln, log: FiringLog) -> list[LiveState]:
    if kiln.max_temp_c is None:
        return []
    newest = log.zone_c[-3:]
    if newest.shape[0] < 3:
        return []
    hot = _median(newest)
    worst = int(np.nanargmax(np.append(hot, -np.inf)))
    if worst == hot.size or not hot[worst] > kiln.max_temp_c + OVER_C:
        return []
    text = f"{{c:{hot[worst]:.0f}}}, above this kiln's {{c:{kiln.max_temp_c:.0f}}}."
    look = "Switch the kiln off at its isolator if its controller does not. Do not open it hot."
    return [LiveState("over_temperature", "urgent", text, _name(log, worst), first_look=look)]


def _jumping(log: FiringLog) -> list[LiveState]:
    recent = log.elapsed_s[-1] - 3600.0
    counts: dict[int, int] = {}
    for spike in log.spikes:
        if spike.elapsed_s >= recent and spike.kind != "stuck":
            counts[spike.zone] = counts.get(spike.zone, 0) + min(spike.count, 3)
    zone = max(counts, key=lambda z: counts[z], default=-1)
    if zone < 0 or counts[zone] < 4:
        return []
    text = "The thermocouple has jumped or dropped out several times within the hour; the controller may act on it."
    look = "Look at its plug and wire from outside; with the kiln cold and isolated at its tip and connections."
    return [LiveState("thermocouple_jumping", "warning", text, _name(log, zone), first_look=look)]


def _unasked(log: FiringLog) -> list[LiveState]:
    """Heat with no demand: output at nothing, or far above the set point, and still climbing steadily."""
    stretch = _Stretch.of(log, UNASKED_S)
    if stretch is None:
        return []
    half = stretch.elapsed_s.size // 2
    rise = stretch.rise()
    second = _median(stretch.zone_c[-2:]) - _median(stretch.zone_c[half - 1 : half + 1])
    steady = (rise >= UNASKED_C) & (second >= 0.35 * rise) & (_median(stretch.zone_c) >= 100.0)
    lag = stretch.lag()
    if stretch.output is not None:
        off = np.asarray(stretch.output.max(axis=0) <= 0.02)
        if not off.all():  # a zone without demand is warmed by its neighbours: it must be well above its own set point
            above = np.zeros_like(off) if lag is None else np.asarray(np.nanmax(lag, axis=0, initial=-np.inf) < -20.0)
            hottest = _median(stretch.zone_c) >= np.nanmax(_median(stretch.zone_c)) - 1.0
            off = off & above & hottest
    elif lag is not None:
        off = np.asarray(np.where(np.isfinite(lag), lag, -np.inf).max(axis=0) < -25.0)
    else:
        return []
    wrong = np.flatnonzero(steady & off)
    if wrong.size == 0:
        return []
    zone = int(wrong[np.argmax(rise[wrong])])
    now_c = float(_median(stretch.zone_c[-3:])[zone])
    text = (
        f"It climbs with no demand: up {{dc:{rise[zone]:.0f}}} in {UNASKED_S / 60:.0f} min to {{c:{now_c:.0f}}}. "
        "A contact is most likely stuck closed."
    )
    look = "Switch the kiln off at its isolator: the controller may not be able to. Do not open it hot."
    return [LiveState("heat_without_demand", "urgent", text, _name(log, zone), first_look=look)]


def _stalled(log: FiringLog) -> list[LiveState]:
    stretch = _Stretch.of(log, STALL_S)
    if stretch is None:
        return []
    full, rise, lag = stretch.full(), stretch.rise(), stretch.lag()
    short = np.ones(full.size, dtype=bool) if lag is None else _median(lag) >= BEHIND_C
    stuck = np.flatnonzero(full & short & (rise < STALL_RISE_C))
    if stuck.size == 0:
        return []
    zone = int(stuck[np.argmin(rise[stuck])])
    now_c = float(_median(stretch.zone_c[-3:])[zone])
    name = None if stuck.size == full.size else _name(log, zone)
    text = f"Full output and no rise for {STALL_S / 60:.0f} min, at {{c:{now_c:.0f}}}."
    look = "It may never reach its peak: decide whether to end the firing. Elements, relay or supply come next."
    return [LiveState("stalled", "warning", text, name, first_look=look)]


def _behind(log: FiringLog, stretch: _Stretch, now_c: float, usual: UsualCourse | None) -> list[LiveState]:
    """Behind the set point at full output, and so late that it matters: against this programme's usual course."""
    lag = stretch.lag()
    if lag is None or usual is None:
        return []
    losing = _median(lag[-3:]) - _median(lag[:3]) >= LOSING_C  # as fast as it is asked to climb is not late
    late_zones = stretch.full() & (_median(lag[-3:]) >= BEHIND_C) & losing
    if not late_zones.any() or now_c >= usual.peak_c - 20.0:
        return []
    late_c = _mean(log.zone_c[:, late_zones])
    now_c = float(_median(stretch.zone_c[-3:])[late_zones].mean())
    ahead = remaining_at_full_output(log.elapsed_s, late_c, LOOK_S * 3, usual)
    behind_c = float(np.nanmax(_median(lag[-3:])[late_zones]))
    zone = None if late_zones.all() else _name(log, int(np.flatnonzero(late_zones)[0]))
    opening = f"{{dc:{behind_c:.0f}}} behind the set point at full output, at {{c:{now_c:.0f}}}."
    look = "Note the time and let it run, or end it; look for a dead circuit or low supply before the next firing."
    if ahead.never:
        fades = f"the climb fades near {{c:{ahead.ceiling_c:.0f}}}"
        text = f"{opening} At this rate it will not reach {{c:{usual.peak_c:.0f}}}: {fades}."
        return [LiveState("behind", "warning", text, zone, first_look=look)]
    if ahead.seconds is None or ahead.soonest_s is None:
        return []
    here = usual.remaining_s(now_c)
    late_s, least_s = ahead.seconds - here, ahead.soonest_s - here
    if least_s < max(LATE_S, LATE_SHARE * usual.duration_s, 2 * usual.spread_s):
        return []
    end_s = float(log.elapsed_s[-1]) + ahead.seconds + usual.after_peak_s
    text = f"{opening} It would end about {{end}}, {_hours(late_s)} later than usual for this programme."
    return [LiveState("behind", "warning", text, zone, end_s=end_s, first_look=look)]


def _hours(seconds: float) -> str:
    minutes = round(seconds / 600) * 10
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"

"""A firing while it runs: what its log so far shows that a person should know before it ends.

Nothing here is a safety device: it reads rows that were already written, may be minutes late, and stops nothing. The
limits below are common practice with wide margins, no source, chosen so that a healthy kiln says nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.course import PastCourse, UsualCourse, late_so_far, remaining_at_full_output, same_programme, usual_course
from analysis.findings import Severity
from analysis.reading.firing_log import FiringLog
from analysis.stretch import BEHIND_C, Stretch, known_mean, known_median
from config.kiln import Kiln

LiveKind = Literal[
    "behind",
    "stalled",
    "heat_without_demand",
    "over_temperature",
    "heating_blind",
    "thermocouple_jumping",
    "gone_silent",
]
Phase = Literal["not begun", "heating", "near the end", "cooling"]

LOOK_S = 1200.0  # the stretch of log a judgement rests on
STALL_S = 2700.0  # so long without a rise at full output is a stall
STALL_RISE_C = 4.0
BLIND_S = 1800.0
UNASKED_S = 720.0
UNASKED_C = 15.0
UNASKED_FROM_C = 250.0  # colder, heat stored in the coils and walls still warms the thermocouple after a pulse
OVER_C = 5.0  # beyond the register's maximum: a thermocouple's own tolerance
NEAR_C = 250.0  # further from the peak nothing is said of how the climb fades
LATE_S = 3600.0
FIRINGS_KNOWN = 8  # so many complete firings show how low this kiln's programmes may end
LATE_SHARE = 0.15


@dataclass(frozen=True, slots=True)
class LiveState:
    """One thing that is so now. ``text`` holds ``{c:..}``/``{dc:..}`` places and may hold ``{end}``.

    ``{end}`` stands for the clock time at ``end_s`` seconds after the log's first row; ``lasting_s`` is for how long
    it has surely been so.
    """

    kind: LiveKind
    severity: Severity
    text: str
    zone: str | None = None
    end_s: float | None = None
    first_look: str = ""
    lasting_s: float = 0.0


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
    stretch = Stretch.of(log, LOOK_S)
    mean_c = known_mean(log.zone_c)
    known = mean_c[np.isfinite(mean_c)]
    now_c = float(known[-1]) if known.size else None
    sample_s = float(np.median(np.diff(elapsed))) if elapsed.size > 1 else 60.0
    usual = usual_course(same_programme(past, log))
    phase = _phase(stretch, mean_c, now_c, None if usual is None else usual.peak_c)
    least_peak_c = _least_peak(past, usual)
    blind = _blind(log)
    found = [*_over_temperature(kiln, log), *blind, *_jumping(log)]
    if stretch is not None and now_c is not None and phase in ("heating", "near the end"):
        unasked = _unasked(log)
        found += unasked
        stalled = _stalled(log) if phase == "heating" else []
        found += stalled
        if phase == "heating" and not stalled and not unasked and not blind:
            found += _behind(log, stretch, mean_c, now_c, usual)
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
    return LiveState("gone_silent", "warning", text, first_look=look, lasting_s=silent_s)


def _phase(stretch: Stretch | None, mean_c: NDArray[np.float64], now_c: float | None, peak_c: float | None) -> Phase:
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
    return min(tops) if len(tops) >= FIRINGS_KNOWN else None


def _name(log: FiringLog, zone: int) -> str | None:
    return log.zone_names[zone] if log.zone_c.shape[1] > 1 and zone < len(log.zone_names) else None


def _over_temperature(kiln: Kiln, log: FiringLog) -> list[LiveState]:
    if kiln.max_temp_c is None:
        return []
    newest = log.zone_c[-3:]
    if newest.shape[0] < 3:
        return []
    hot = known_median(newest)
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


def _blind(log: FiringLog) -> list[LiveState]:
    """Output on, and no believable temperature for half an hour: a thermocouple stuck, off, or reading nonsense."""
    stretch = Stretch.of(log, BLIND_S)
    if stretch is None or stretch.output is None:
        return []
    lost = ~np.isfinite(stretch.zone_c).any(axis=0)
    known = np.isfinite(log.zone_c)
    rows = known.shape[0] - np.argmax(known[::-1], axis=0)  # up to the last reading
    before = known.any(axis=0) & (known.sum(axis=0) > 0.8 * rows) & (rows >= 20)  # it did read until then
    wrong = np.flatnonzero(lost & before & np.asarray(stretch.output.mean(axis=0) > 0.3))
    if wrong.size == 0:
        return []
    zone = int(wrong[0])
    text = (
        f"It heats, and for {stretch.minutes:.0f} min no believable temperature was read: the thermocouple is stuck or "
        "off. The kiln may be hotter than it shows."
    )
    look = "Look at the kiln now, from outside. In doubt end the firing at the isolator."
    lasting_s = 60.0 * stretch.minutes
    return [LiveState("heating_blind", "urgent", text, _name(log, zone), first_look=look, lasting_s=lasting_s)]


def _unasked(log: FiringLog) -> list[LiveState]:
    """Heat with no demand: output at nothing, or far above the set point, and still climbing steadily."""
    stretch = Stretch.of(log, UNASKED_S)
    if stretch is None:
        return []
    half = stretch.elapsed_s.size // 2
    rise = stretch.rise()
    second = known_median(stretch.zone_c[-2:]) - known_median(stretch.zone_c[half - 1 : half + 1])
    steady = (rise >= UNASKED_C) & (second >= 0.35 * rise) & (known_median(stretch.zone_c) >= UNASKED_FROM_C)
    lag = stretch.lag()
    if stretch.output is not None:
        off = np.asarray(stretch.output.max(axis=0) <= 0.02)
        if not off.all():  # a zone without demand is warmed by its neighbours: it must be well above its own set point
            above = np.zeros_like(off)
            if lag is not None:
                above = np.asarray(np.where(np.isfinite(lag), lag, -np.inf).max(axis=0) < -20.0)
            usual_c = known_median(stretch.zone_c)
            hottest = usual_c >= np.nanmax(np.append(usual_c, -np.inf)) - 1.0
            off = off & above & hottest
    elif lag is not None:
        off = np.asarray(np.where(np.isfinite(lag), lag, -np.inf).max(axis=0) < -25.0)
    else:
        return []
    wrong = np.flatnonzero(steady & off)
    if wrong.size == 0:
        return []
    zone = int(wrong[np.argmax(rise[wrong])])
    now_c = float(known_median(stretch.zone_c[-3:])[zone])
    text = (
        f"It climbs with no demand: up {{dc:{rise[zone]:.0f}}} in {stretch.minutes:.0f} min to {{c:{now_c:.0f}}}. "
        "A contact is most likely stuck closed."
    )
    look = "Switch the kiln off at its isolator: the controller may not be able to. Do not open it hot."
    lasting_s = 60.0 * stretch.minutes
    return [LiveState("heat_without_demand", "urgent", text, _name(log, zone), first_look=look, lasting_s=lasting_s)]


def _stalled(log: FiringLog) -> list[LiveState]:
    stretch = Stretch.of(log, STALL_S)
    if stretch is None:
        return []
    full, rise, lag = stretch.full(), stretch.rise(), stretch.lag()
    short = np.ones(full.size, dtype=bool) if lag is None else known_median(lag) >= BEHIND_C
    stuck = np.flatnonzero(full & short & (rise < STALL_RISE_C))
    if stuck.size == 0:
        return []
    zone = int(stuck[np.argmin(rise[stuck])])
    now_c = float(known_median(stretch.zone_c[-3:])[zone])
    name = None if stuck.size == full.size else _name(log, zone)
    text = f"Full output and no rise for {stretch.minutes:.0f} min, at {{c:{now_c:.0f}}}."
    look = "It may never reach its peak: decide whether to end the firing. Elements, relay or supply come next."
    return [LiveState("stalled", "warning", text, name, first_look=look, lasting_s=60.0 * stretch.minutes)]


def _behind(
    log: FiringLog, stretch: Stretch, mean_c: NDArray[np.float64], now_c: float, usual: UsualCourse | None
) -> list[LiveState]:
    """Behind the set point at full output, and so late that it matters: against this programme's usual course."""
    lag = stretch.lag()
    if lag is None or usual is None:
        return []
    late_zones = stretch.full() & (known_median(lag[-3:]) >= BEHIND_C)
    if not late_zones.any() or now_c >= usual.peak_c - 20.0:
        return []
    so_far_s = late_so_far(log.elapsed_s, mean_c, now_c, usual)
    behind_c = float(known_median(lag[-3:])[late_zones].max())  # late zones have a known lag
    zone = None if late_zones.all() else _name(log, int(np.flatnonzero(late_zones)[0]))
    opening = f"{{dc:{behind_c:.0f}}} behind the set point at full output, at {{c:{now_c:.0f}}}."
    look = "Note the time and let it run, or end it; look for a dead circuit or low supply before the next firing."
    here_s = usual.remaining_s(now_c)
    left_s, late_s, surely_late_s, about = here_s, so_far_s, so_far_s, "not before"
    if usual.peak_c - now_c <= NEAR_C:  # near enough to say how the climb fades
        ahead = remaining_at_full_output(log.elapsed_s, mean_c, 60.0 * stretch.minutes, usual)
        if ahead.never:
            fades = f"the climb fades near {{c:{ahead.ceiling_c:.0f}}}"
            text = f"{opening} At this rate it will not reach {{c:{usual.peak_c:.0f}}}: {fades}."
            return [LiveState("behind", "warning", text, zone, first_look=look)]
        if ahead.seconds is not None and ahead.soonest_s is not None:
            left_s, about = max(ahead.seconds, here_s), "about"
            late_s, surely_late_s = so_far_s + left_s - here_s, so_far_s + max(ahead.soonest_s - here_s, 0.0)
    if surely_late_s < max(LATE_S, LATE_SHARE * usual.duration_s, 2 * usual.spread_s):
        return []
    end_s = float(log.elapsed_s[-1]) + left_s + usual.after_peak_s
    text = f"{opening} It would end {about} {{end}}, {_hours(late_s)} later than usual for this programme."
    return [LiveState("behind", "warning", text, zone, end_s=end_s, first_look=look)]


def _hours(seconds: float) -> str:
    minutes = round(seconds / 600) * 10
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"

"""The way through the house for one kiln: each firing is judged from itself and the state earlier ones left.

``assess`` is the only door ``daemon`` needs: FiringLog in, new KilnState and Assessment out. Its cost does not
depend on how many firings came before.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import exp, log

import numpy as np

from analysis import heatwork
from analysis.causes.case import Case
from analysis.causes.diagnosis import diagnose, with_sure_loss
from analysis.causes.readings import with_readings
from analysis.circuits import OPEN_CIRCUIT
from analysis.climb import NINETY
from analysis.condition import Condition
from analysis.findings import Climb, Finding, Outlook, PowerRatio
from analysis.firing import Firing
from analysis.judgement import Assessment, ZonePower
from analysis.measures import Estimate, Measures, measure
from analysis.outlook import margin_from_climb, margin_from_duty, outlook
from analysis.reading import FiringLog
from analysis.record import CauseWords, record_of
from analysis.relay_samples import remembered, sampled, without_locked_output
from analysis.state import KilnState, begin, update
from analysis.verification import proved, verification, with_unproved
from config.kiln import Kiln
from config.logbook import LogbookEntry

__all__ = ["Assessment", "ZonePower", "assess", "begin", "to_record"]

_OTHER_BRANCH = 0.10  # an explanation less probable than this does not widen the interval
_TOLD = 0.85  # an explanation from here on changes what the kiln is said to give


def assess(
    kiln: Kiln, state: KilnState, log: FiringLog, entries: Sequence[LogbookEntry] = ()
) -> tuple[KilnState, Assessment]:
    """Judge one firing.

    ``entries`` are the logbook entries since the previous firing (repairs reset what they touch; readings
    update the odds of the causes). Returns the state for the next firing and what is said of this one.
    """
    if not kiln.zones and log.zone_c.shape[1] > 1:
        kiln = replace(kiln, zones=log.zone_names)  # the register leaves them to the log
    how = sampled(log)
    log = without_locked_output(log, how, state.in_step)
    in_step = remembered(state.in_step, how)
    firing, measures = measure(kiln, log)
    state, condition = update(kiln, state, firing, measures, entries)
    case = Case(kiln, log, firing, measures, measures.signs, condition, state.causes, tuple(entries))
    memory, findings = diagnose(case)
    findings = with_readings(kiln, condition, findings, entries)
    measures = _weighed_energy(measures, condition)
    condition = _at_nameplate_volts(condition, findings)
    if memory.lost is not None and not memory.lost.in_level and memory.lost.size is not None:
        condition = _with_unseen_loss(condition, findings, memory.lost.size)
    if measures.output not in ("duty", "on-off"):
        condition = _coming_and_going(case, condition, findings)
    work = heatwork.of_firing(log)
    repair_shown = verification(case, memory, findings)
    findings = with_sure_loss(case, with_unproved(case, memory, findings, repair_shown))
    state = replace(state, in_step=in_step, causes=proved(memory, repair_shown))
    assessment = Assessment(
        kiln=kiln.id,
        index=condition.index,
        started=log.started,
        programme=condition.programme,
        end=condition.end,
        measures=measures,
        power=_power(condition),
        firing_power=_ratio(condition.power, condition),
        reference=condition.reference,
        zones=_zones(case, condition),
        climb=_climb(firing, measures),
        cone=None if work is None else work.cone,
        outlook=_outlook(kiln, condition, measures, firing),
        findings=findings,
        verification=None if repair_shown is None else repair_shown.text,
        repair=None if repair_shown is None else repair_shown.outcome,
        missing=_missing(kiln, log, measures, condition),
        problems=log.problems,
        condition=condition,
        firing=firing,
        heat_work=work,
    )
    return state, assessment


def _weighed_energy(measures: Measures, condition: Condition) -> Measures:
    """Return the measures with the energy a kiln of this power took: worn elements draw less at the same duty."""
    if measures.energy_kwh is None or condition.level is None:
        return measures
    return replace(measures, energy_kwh=measures.energy_kwh * exp(condition.level.value))


_KEEPS_POWER = {"low_supply", "heat_leak"}
_TAKES_POWER = {"open_element", "open_circuit", "lost_phase", "loose_connection"}


def _at_nameplate_volts(condition: Condition, findings: Sequence[Finding]) -> Condition:
    """Return the condition with what a poor supply or a leak seemed to take given back.

    The power ratio is meant at the nameplate's volts, and heat that leaks away was given. Where one event stands,
    the level is that of the likelier explanation (the elements kept their power, or not), and its interval reaches
    to the other one as far as that cannot be ruled out.
    """
    slow, level = condition.slow, condition.level
    step = next(
        (s for s in condition.stories if s.kind in ("zone", "all") and s.size is not None and s.size.value < 0), None
    )
    keeps = sum(f.probability for f in findings if f.cause in _KEEPS_POWER and f.severity != "info")
    if slow is None or level is None or keeps < _OTHER_BRANCH:
        return condition
    takes = sum(f.probability for f in findings if f.cause in _TAKES_POWER and f.severity != "info")
    kept = keeps / (keeps + takes)
    size = min(0.0, step.size.value) if step is not None and step.size is not None else 0.0
    # earlier faults may stand beside this one: then the level lies lower than one step below the slow part
    lost = min(slow.value + size, level.value)
    size = lost - slow.value
    value = slow.value if kept > 0.5 else level.value
    spread = NINETY * slow.error
    low = min(slow.value - spread, lost - spread) if kept < 1.0 - _OTHER_BRANCH else slow.value - spread
    shift = value - level.value
    return replace(
        condition,
        level=Estimate(value, (slow.error**2 + kept * (1.0 - kept) * size**2) ** 0.5),
        zone_levels=tuple(
            None if z is None else Estimate(z.value + shift, (z.error**2 + slow.error**2) ** 0.5)
            for z in condition.zone_levels
        ),
        level_low=low,
        level_high=slow.value + spread,
        at_least=None if condition.at_least is None else condition.at_least + max(0.0, shift),
    )


_OFF, _OFF_SPREAD = 0.4, 0.2
"""Share of a firing in which a loose connection is off: off for most of it, it is an open circuit, which shows as such
(common practice, no source)."""


def _coming_and_going(case: Case, condition: Condition, findings: Sequence[Finding]) -> Condition:
    """Return the condition less what a loose connection takes, where no output is logged to measure it by.

    Power that comes and goes within minutes bends the climb both ways, so the balance says little of its mean; known
    is what the circuit takes while it is off.
    """
    loose = next((f for f in findings if f.severity != "info"), None)
    slow = condition.slow
    if loose is None or loose.cause != "loose_connection" or slow is None or condition.level is None:
        return condition
    parts = [
        1.0 - exp(s.total)
        for s in case.steps
        if s.fault.kind == OPEN_CIRCUIT and s.fault.zone is None and loose.zone in (None, s.zone, "")
    ]
    if not parts:
        return condition
    whole = sum(parts) / len(parts)
    spread = NINETY * slow.error
    value = slow.value + log(1.0 - _OFF * whole)
    return replace(
        condition,
        level=Estimate(value, (slow.error**2 + (_OFF_SPREAD * whole) ** 2) ** 0.5),
        level_low=slow.value + log(1.0 - (_OFF + 2 * _OFF_SPREAD) * whole) - spread,
        level_high=slow.value + spread,
    )


def _with_unseen_loss(condition: Condition, findings: Sequence[Finding], size: float) -> Condition:
    """Return the condition less a loss that the zones or a failed firing show and its level does not hold.

    ``size`` is what the likely faults would take (log); it is known roughly, and the interval says so.
    """
    slow, level = condition.slow, condition.level
    told = sum(f.probability for f in findings if f.cause in _TAKES_POWER and f.severity != "info")
    if slow is None or told < _TOLD or (level is not None and level.value < slow.value + 0.5 * size):
        return condition
    spread = NINETY * slow.error
    return replace(
        condition,
        level=Estimate(slow.value + size, (slow.error**2 + (0.25 * size) ** 2) ** 0.5),
        level_low=slow.value + 1.4 * size - spread,
        level_high=slow.value + 0.5 * size + spread,
    )


def _power(condition: Condition) -> PowerRatio:
    """Return the kiln's power ratio after this firing."""
    level = condition.level
    if level is None:
        if condition.at_least is not None:
            return PowerRatio(None, exp(condition.at_least), None, "kept pace")
        return PowerRatio(None, None, None, "none")
    low = condition.level_low if condition.level_low is not None else level.value - NINETY * level.error
    high = condition.level_high if condition.level_high is not None else level.value + NINETY * level.error
    return PowerRatio(exp(level.value), exp(low), exp(high), condition.basis)


def _ratio(estimate: Estimate | None, condition: Condition) -> PowerRatio:
    if estimate is None:
        return PowerRatio(None, None, None, "none")
    spread = NINETY * estimate.error
    return PowerRatio(exp(estimate.value), exp(estimate.value - spread), exp(estimate.value + spread), condition.basis)


def _zones(case: Case, condition: Condition) -> tuple[ZonePower, ...]:
    levels = condition.zone_levels
    if len(levels) != len(case.zones) or len(levels) < 2:
        return ()
    return tuple(ZonePower(name, _ratio(level, condition)) for name, level in zip(case.zones, levels, strict=True))


def _climb(firing: Firing, measures: Measures) -> Climb | None:
    """Return the climb at full output nearest the peak: the highest bands, within 100 deg C of each other."""
    full = [b for b in measures.bands if b.full_share > 0.5 and b.climb.error < 0.5 * max(b.climb.value, 1.0)]
    if not full:
        return None
    top = max(b.at_c for b in full)
    near = [b for b in full if b.at_c > top - 100.0]
    weights = np.array([1.0 / max(b.climb.error, 0.5) ** 2 for b in near])
    mean = float(weights @ np.array([b.climb.value for b in near]) / weights.sum())
    spread = NINETY * float(weights.sum() ** -0.5)
    half = 12.5
    return Climb(mean, mean - spread, mean + spread, min(b.at_c for b in near) - half, min(top + half, firing.peak_c))


def _outlook(kiln: Kiln, condition: Condition, measures: Measures, firing: Firing) -> Outlook | None:
    if condition.reference_firings < 5:
        return None
    ramp = peak = None
    if measures.hold_duty is not None:
        peak = margin_from_duty(min(measures.hold_duty, 1.0))
    full = [b for b in measures.bands if b.full_share > 0.5]
    cool = {round(b.at_c): b for b in measures.cooling_bands}
    if full:
        top = max(full, key=lambda b: b.at_c)
        twin = cool.get(round(top.at_c))
        climbs = [s for s in firing.segments if s.kind == "climb"]
        if twin is not None and climbs:
            peak = peak if peak is not None else margin_from_climb(top.climb.value, twin.climb.value, 0.0)
            ramp = margin_from_climb(top.climb.value, twin.climb.value, climbs[-1].c_per_h)
    return outlook(
        condition.slow if condition.slow is not None else condition.level,
        condition.drift,
        threshold=kiln.replace_at_power,
        age_firings=float(condition.age_firings),
        ramp_margin=ramp,
        peak_margin=peak,
    )


def _missing(kiln: Kiln, log: FiringLog, measures: Measures, condition: Condition) -> tuple[str, ...]:
    """Return what is not known and what it would add, one sentence each."""
    out = []
    if condition.renewed_firing is not None:
        ago = condition.index - condition.renewed_firing + 1
        since = "this firing" if ago == 1 else f"the last {ago} firings"
        out.append(
            f"In {since} the kiln gave its full power again, as with new elements, though the logbook holds no repair: "
            "enter it, so that the reference starts afresh."
        )
    if log.output is None:
        out.append("The log holds no output: power can be judged only where the kiln runs flat out.")
    if log.set_point_c is None:
        out.append("The log holds no set point: whether the kiln kept pace cannot be seen.")
    if log.volts is None:
        out.append("The log holds no volts: a poor supply can only be told from worn elements over several firings.")
    if not measures.cooling_bands:
        out.append("The log stops before the kiln cools: heat loss has to be estimated.")
    if not kiln.circuits:
        out.append("The register lists no circuits: expected ohms and amps, and which circuit is dead, need them.")
    if kiln.volts is None or kiln.rated_kw is None:
        out.append("The register lacks the nameplate's volts or kW: energy and currents need them.")
    return tuple(out)


def to_record(
    assessment: Assessment,
    logs: Sequence[str],
    log: str,
    render: Callable[[str], str] = str,
    wording: Mapping[str, CauseWords] | None = None,
) -> dict[str, object]:
    """Return the contract record of one firing: plain types only, ready for JSON.

    ``render`` puts temperatures in sentences into a unit, as ``config.units.render`` does; ``wording`` says by cause
    what to look at first and what decides (``config.wording.Wording.causes``), left empty without it.
    """
    return record_of(assessment, logs, log, render, wording or {})

"""The way through the house for one kiln: each firing is judged from itself and the state earlier ones left.

``assess`` is the only door ``daemon`` needs: FiringLog in, new KilnState and Assessment out. Its cost does not
depend on how many firings came before.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import exp

import numpy as np

from analysis.causes.case import Case
from analysis.causes.diagnosis import diagnose
from analysis.condition import Condition
from analysis.findings import Climb, End, Finding, Outlook, PowerRatio, Reference
from analysis.firing import Firing
from analysis.full_output import drive_of
from analysis.grid import grid_of
from analysis.heatwork import HeatWork, heat_work, last_climb
from analysis.measures import Estimate, Measures, measure
from analysis.outlook import margin_from_climb, margin_from_duty, outlook
from analysis.reading import FiringLog
from analysis.record import record_of
from analysis.signs import Signs, signs_of
from analysis.state import KilnState, begin, update
from analysis.verification import verification
from config.kiln import Kiln
from config.logbook import LogbookEntry

__all__ = ["Assessment", "ZonePower", "assess", "begin", "to_record"]

Z90 = 1.6449  # standard errors either side of a 90 % interval of a normal distribution


@dataclass(frozen=True, slots=True)
class ZonePower:
    """The power ratio of one zone."""

    zone: str
    power: PowerRatio


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything said of a kiln after one firing (the contract record plus what reports draw).

    ``firing_power`` is what this firing alone shows; ``power`` is the kiln's condition after it. ``verification``
    is set for the first firings after a repair: one plain sentence on whether the repair gave full power.
    """

    kiln: str
    index: int
    started: datetime | None
    programme: str
    end: End
    measures: Measures
    power: PowerRatio
    firing_power: PowerRatio
    reference: Reference
    zones: tuple[ZonePower, ...] = ()
    climb: Climb | None = None
    cone: str | None = None
    outlook: Outlook | None = None
    findings: tuple[Finding, ...] = ()
    verification: str | None = None
    missing: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    condition: Condition | None = None
    firing: Firing | None = None
    heat_work: HeatWork | None = None


def assess(
    kiln: Kiln, state: KilnState, log: FiringLog, entries: Sequence[LogbookEntry] = ()
) -> tuple[KilnState, Assessment]:
    """Judge one firing.

    ``entries`` are the logbook entries since the previous firing (repairs reset what they touch; readings
    update the odds of the causes). Returns the state for the next firing and what is said of this one.
    """
    firing, measures = measure(kiln, log)
    state, condition = update(kiln, state, firing, measures, entries)
    case = Case(kiln, log, firing, measures, _signs(kiln, log), condition, state.causes, tuple(entries))
    memory, findings = diagnose(case)
    state = replace(state, causes=memory)
    condition = _at_nameplate_volts(condition, findings)
    work = _heat_work(log)
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
        verification=verification(case, memory, findings),
        missing=_missing(kiln, log, measures),
        problems=log.problems,
        condition=condition,
        firing=firing,
        heat_work=work,
    )
    return state, assessment


def _signs(kiln: Kiln, log: FiringLog) -> Signs:
    grid = grid_of(log, kiln.volts)
    return Signs() if grid is None else signs_of(log, grid, drive_of(grid))


def _at_nameplate_volts(condition: Condition, findings: Sequence[Finding]) -> Condition:
    """Give back what a low supply took: the power ratio is meant at the nameplate's volts.

    In proportion to how sure it is that the supply, and not the kiln, lost it; what is unsure widens the error.
    """
    low = next((f for f in findings if f.cause == "low_supply"), None)
    step = condition.step
    if low is None or condition.level is None or step is None or low.since_firing != step.firing:
        return condition
    share, size = low.probability, step.size.value
    error = (condition.level.error**2 + share * (1.0 - share) * size**2) ** 0.5

    def lifted(value: float | None) -> float | None:
        return None if value is None else value - share * size

    spare = Z90 * (share * (1.0 - share)) ** 0.5 * abs(size)
    return replace(
        condition,
        level=Estimate(condition.level.value - share * size, error),
        zone_levels=tuple(
            None if z is None else Estimate(z.value - share * size, (z.error**2 + error**2) ** 0.5)
            for z in condition.zone_levels
        ),
        level_low=None if condition.level_low is None else condition.level_low - share * size - spare,
        level_high=None if condition.level_high is None else condition.level_high - share * size + spare,
        at_least=lifted(condition.at_least),
    )


def _power(condition: Condition) -> PowerRatio:
    """Return the kiln's power ratio after this firing."""
    level = condition.level
    if level is None:
        if condition.at_least is not None:
            return PowerRatio(None, exp(condition.at_least), None, "kept pace")
        return PowerRatio(None, None, None, "none")
    low = condition.level_low if condition.level_low is not None else level.value - Z90 * level.error
    high = condition.level_high if condition.level_high is not None else level.value + Z90 * level.error
    return PowerRatio(exp(level.value), exp(low), exp(high), condition.basis)


def _ratio(estimate: Estimate | None, condition: Condition) -> PowerRatio:
    if estimate is None:
        return PowerRatio(None, None, None, "none")
    spread = Z90 * estimate.error
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
    spread = Z90 * float(weights.sum() ** -0.5)
    half = 12.5
    return Climb(mean, mean - spread, mean + spread, min(b.at_c for b in near) - half, min(top + half, firing.peak_c))


def _heat_work(log: FiringLog) -> HeatWork | None:
    """Return the cone the mean of the zones' temperatures earned."""
    seen = np.isfinite(log.zone_c)
    count = seen.sum(axis=1)
    mean = np.where(count > 0, np.where(seen, log.zone_c, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)
    climb = last_climb(log.elapsed_s, mean)
    return None if climb is None else heat_work(climb)


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
        condition.level,
        condition.drift,
        threshold=kiln.replace_at_power,
        age_firings=float(condition.reference_firings if condition.reference == "after repair" else condition.index),
        ramp_margin=ramp,
        peak_margin=peak,
    )


def _missing(kiln: Kiln, log: FiringLog, measures: Measures) -> tuple[str, ...]:
    """Return what is not known and what it would add, one sentence each."""
    out = []
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
    assessment: Assessment, logs: Sequence[str], log: str, render: Callable[[str], str] = str
) -> dict[str, object]:
    """Return the contract record of one firing: plain types only, ready for JSON.

    ``render`` puts temperatures in sentences into a unit, as ``config.units.render`` does.
    """
    return record_of(assessment, logs, log, render)

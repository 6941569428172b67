"""The way through the causes: every family suspects, rivals share the odds, what lasts is kept: `diagnose`."""

from dataclasses import replace
from math import exp, log

from analysis.causes import contacts, deficits, leaks, power_loss, stacking, thermocouples, this_firing, wear
from analysis.causes.case import Case, Suspicion
from analysis.causes.losses import LEAST_STEP
from analysis.causes.memory import CausesMemory, Lost, Onset, Repair, Usual, UsualByPeak, ZoneMemory
from analysis.causes.odds import RIVALS, among_rivals, cleared, stand
from analysis.findings import Finding, Severity

WORTH_TELLING = 0.60
WORTH_NAMING = 0.20
"""A cause from here is a warning; a rival from here is named beside it; below, it is left out."""

SURE_OF_LOSS, SURE_AT_ONCE = 0.85, 0.94
"""How sure it must be that power or heat was lost at all, whatever took it: in a later firing, and in the first."""

_URGENT = 0.8
"""How sure an urgent cause must be for the next firing to wait."""

_TOUCHES_ZONES = {"elements", "element", "thermocouple", "relay", "wiring", "brickwork", "lid", "fuse"}
_TELLING_C = 400.0
_GIVES_WAY, _BEHIND, _QUIET_FIRINGS = 9.0, 0.0, 3
_EXPLAINED = -0.5
"""Most log odds of a drift whose pattern a leak explains: named beside it (0.38), never a message."""

_POWER_FAULTS = {"open_element", "open_circuit", "lost_phase", "low_supply", "heat_leak", "loose_connection"}


def diagnose(case: Case) -> tuple[CausesMemory, tuple[Finding, ...]]:
    """Return what to remember and the findings after one firing, most probable first."""
    memory = _prepared(case)
    case = replace(case, memory=memory)
    found = deficits.deficits(case)
    own = [
        *thermocouples.suspect_fault(case),
        *contacts.suspect_welded(case),
        *contacts.suspect_loose(case),
    ]
    telling = case.firing.peak_c > _TELLING_C
    standing, lasting = stand(memory.standing, own, case, telling=telling)
    cooled = leaks.remember(case, memory.zones)
    zones = contacts.remember(case, thermocouples.remember(case, cooled))
    stacked, zones = stacking.remember(case, zones)
    power, lost = power_loss.suspect(case, found, cooled)
    drifted = thermocouples.suspect_drift(case, zones)
    sudden = _sudden(case, lost)
    worn = [_behind_sudden(s, sudden) for s in wear.suspect(case, sudden)]
    suspicions = [*lasting, *power, *drifted, *worn, *this_firing.suspect(case)]
    if unexplained := this_firing.unexplained_stall(case, suspicions):
        called = {s.cause for s in unexplained}
        suspicions = [*(s for s in suspicions if s.cause not in called), *unexplained]
    ranked = among_rivals(_reconciled(suspicions, drifted=any(z.drifted for z in zones)))
    findings = _findings(case, ranked)
    alarmed = {f.cause for f in findings if f.severity != "info"}
    named = {f.cause for f in findings}
    sound = not alarmed & (_POWER_FAULTS | {"thermocouple_fault", "welded_contact"})
    kept = CausesMemory(
        zones=deficits.remember(case, _drift_told(case, zones, findings), found, sound=sound),
        volts=_volts(case, memory, sound=sound),
        standing=standing,
        ageing_told="element_ageing" in alarmed,
        ageing_since=wear.onset(case, sudden),
        ageing_seen=wear.times_seen(case, sudden),
        repair=memory.repair,
        lost=lost,
        stacking=stacked,
        torn=contacts.turns_taken(case, memory.torn),
        unasked=contacts.unasked_taken(case, memory.unasked),
        surely_lost=_surely_lost(case),
        leak_since=(memory.leak_since or Onset(case.index, case.started)) if "heat_leak" in named else None,
    )
    return kept, findings


def with_sure_loss(case: Case, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Return the findings, one of them a warning if power is surely lost, whatever took it.

    Its whole interval lies below what is worth a message then, though no single cause is sure enough for one: the most
    probable of those that may have taken the power is told, with its own probability.
    """
    if not _surely_lost(case):
        return findings
    takes_power = _POWER_FAULTS | {"element_ageing"}
    number = next((n for n, f in enumerate(findings) if f.cause in takes_power), None)
    if number is None or any(f.cause in takes_power and f.severity != "info" for f in findings):
        return findings
    return tuple(replace(f, severity="warning") if n == number else f for n, f in enumerate(findings))


def _surely_lost(case: Case) -> bool:
    """Tell whether power is surely lost: first by a firing at full output, then until a repair or the power says not.

    A firing that only keeps pace tells nothing new. Full output that is guessed from the shape of the climb makes
    nothing sure: a heavier load or a poor supply bends it too.
    """
    level, high = case.condition.level, case.condition.level_high
    if case.memory.surely_lost and not any(e.what in ("replaced", "repaired") for e in case.entries):
        return level is None or level.value < LEAST_STEP
    shown = case.condition.basis not in ("none", "kept pace") and case.measures.output != "none"
    return shown and high is not None and high < LEAST_STEP


def _prepared(case: Case) -> CausesMemory:
    """Return the memory fitted to the kiln's zones, with what repairs have settled taken out."""
    memory = case.memory
    zones = memory.zones if len(memory.zones) == len(case.zones) else (ZoneMemory(),) * len(case.zones)
    told, repair = memory.ageing_told, memory.repair
    for entry in case.entries:
        if entry.what not in ("replaced", "repaired"):
            continue
        poor_volts = memory.lost is not None and memory.lost.shares[0].cause == "low_supply"
        repair = Repair(case.index, entry.part or "repair", poor_volts=poor_volts)
        if entry.part in _TOUCHES_ZONES:
            zones = tuple(_untold(z, entry.part) for z in zones)
        if entry.part == "elements":
            # New wire changes each zone's work, but not how the kiln cools: a leak that stood still stands.
            zones, told = (
                tuple(replace(z, share=Usual(), hot_share=UsualByPeak(), full=Usual(), behind=Usual()) for z in zones),
                False,
            )
            memory = replace(memory, ageing_since=None, ageing_seen=0)
        if entry.part == "thermocouple":
            zones = tuple(
                replace(
                    z,
                    cooling=UsualByPeak(),
                    first_fall=UsualByPeak(),
                    falls=(),
                    sharpest=0.0,
                    tilt=UsualByPeak(),
                    share=Usual(),
                    hot_share=UsualByPeak(),
                    leak=0.0,
                )
                for z in zones
            )
        if entry.part in ("brickwork", "lid"):
            zones = tuple(replace(z, leak=0.0, falls=(), sharpest=0.0) for z in zones)
    return replace(memory, zones=zones, standing=cleared(memory.standing, case), ageing_told=told, repair=repair)


def _drift_told(case: Case, zones: tuple[ZoneMemory, ...], findings: tuple[Finding, ...]) -> tuple[ZoneMemory, ...]:
    """Return the zones' memory with a drift that a message told of marked as such."""
    told = {f.zone for f in findings if f.cause == "thermocouple_drift" and f.severity != "info"}
    drifted = [case.zone_name(number) in told for number in range(len(zones))]
    return tuple(z if z.drifted == now else replace(z, drifted=now) for z, now in zip(zones, drifted, strict=True))


def _untold(zone: ZoneMemory, part: str) -> ZoneMemory:
    """Return a zone's memory after work on it: what had shown before counts no more.

    A couple found to drift goes on drifting until someone works on couples.
    """
    if zone.drifted and part not in ("thermocouple", "brickwork", "lid"):
        return replace(zone, deficit=0.0)
    return replace(zone, deficit=0.0, drift=0.0, drift_weight=0.0, drift_variance=0.0, drifted=False)


def _volts(case: Case, memory: CausesMemory, *, sound: bool) -> Usual:
    drop = case.measures.supply_volts, case.kiln.volts
    if not sound or not drop[0] or not drop[1]:
        return memory.volts
    return memory.volts.taken(2.0 * log(drop[0] / drop[1]))


def _sudden(case: Case, lost: Lost | None) -> float:
    """Return the log power that sudden faults took, which is not ageing's."""
    step = case.condition.step
    if step is not None and step.probability > 0.5 and step.size.value < 0.0:
        return step.size.value
    # ``lost`` is what stands in memory, or what this firing's histories are surest of.
    return 0.0 if lost is None or lost.size is None else lost.size


def _behind_sudden(worn: Suspicion, sudden: float) -> Suspicion:
    """Let a sudden loss larger than a tenth stand before ageing: it is what the next visit is for."""
    return replace(worn, log_odds=min(worn.log_odds, _BEHIND)) if sudden < -0.1 else worn


def _reconciled(suspicions: list[Suspicion], *, drifted: bool) -> list[Suspicion]:
    """Let one cause explain what another would claim: drift not told before gives way to a loss or a leak."""
    best = max((s.log_odds for s in suspicions if s.cause in _POWER_FAULTS), default=-9.0)
    broken = [s for s in suspicions if s.cause in ("open_circuit", "open_element") and s.log_odds > 0.0]
    for_good = any(s.urgent for s in broken)
    out = []
    leaks = any(s.cause == "heat_leak" and s.log_odds > 0.0 for s in suspicions)
    for suspicion in suspicions:
        if suspicion.cause == "thermocouple_drift" and best > -0.5 and not drifted:
            odds = suspicion.log_odds - _GIVES_WAY
            # a leak at one zone cools it more for as long as it stands: then the same pattern says nothing of a couple
            suspicion = replace(suspicion, log_odds=min(odds, _EXPLAINED) if leaks else odds)
        if suspicion.cause == "loose_connection" and broken and suspicion.quiet >= (1 if for_good else _QUIET_FIRINGS):
            # What came and went has gone for good: the open circuit explains both. Until then a firing or two of less
            # power is still the same contact.
            suspicion = replace(suspicion, log_odds=suspicion.log_odds - _GIVES_WAY)
        out.append(suspicion)
    return out


def _findings(case: Case, ranked: list[tuple[Suspicion, float]]) -> tuple[Finding, ...]:
    out = []
    for suspicion, share in ranked:
        if share < WORTH_NAMING:
            continue
        rivals = tuple(
            (other.cause, round(p, 3))
            for other, p in ranked
            if other is not suspicion and p >= 0.05 and _same_evidence(other, suspicion)
        )
        out.append(
            Finding(
                suspicion.cause,
                _severity(case, suspicion, share, ranked),
                round(share, 3),
                zone=suspicion.zone,
                circuit=suspicion.circuit,
                since=suspicion.since if suspicion.since is not None else case.started,
                since_firing=suspicion.since_firing if suspicion.since_firing is not None else case.index,
                power_step=_as_ratio(case, suspicion.power_step),
                evidence=suspicion.evidence,
                rivals=rivals,
            )
        )
    if any(f.cause in _POWER_FAULTS and f.severity != "info" for f in out):
        # A firing that ended early for want of power was not stopped for its own sake.
        out = [f for f in out if f.cause != "aborted_firing"]
    return tuple(out)


def _as_ratio(case: Case, step: float | None) -> float | None:
    """Return a log power step as the change of the power ratio it made."""
    if step is None:
        return None
    level = case.condition.level
    before = 1.0 if level is None else exp(min(0.2, level.value - step))
    return round(before * (exp(step) - 1.0), 3)


def _same_evidence(one: Suspicion, other: Suspicion) -> bool:
    return any(one.cause in group and other.cause in group for group in RIVALS)


def _severity(case: Case, suspicion: Suspicion, share: float, ranked: list[tuple[Suspicion, float]]) -> Severity:
    """Return how loud a finding is: together, rivals for one event are as sure as the event itself."""
    if suspicion.info_only:
        return "info"
    together = sum(p for s, p in ranked if _same_evidence(s, suspicion) and not s.info_only)
    if suspicion.cause in _POWER_FAULTS and not suspicion.lasting:
        first = suspicion.since_firing in (None, case.index)
        enough = SURE_AT_ONCE if first else SURE_OF_LOSS
    else:
        # Whether ageing is worth a message is settled by how often it was seen, not by its rank among the causes.
        enough = WORTH_NAMING if suspicion.cause == "element_ageing" else WORTH_TELLING
    if max(share, together) < enough:
        return "info"
    return "urgent" if suspicion.urgent and together > _URGENT else "warning"

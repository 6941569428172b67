"""After a repair: whether the first firings show what the repair promised."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp

from analysis.causes.case import Case
from analysis.causes.memory import CausesMemory
from analysis.circuits import OPEN_ELEMENT, network, single_faults, solve
from analysis.climb import NINETY, Estimate
from analysis.findings import Cause, Evidence, Finding
from analysis.judgement import Verification
from analysis.renewal import KNOWN, LEAST_FIRINGS, SHORT

FIRINGS_TO_JUDGE = 3
_ENOUGH_ERROR = 0.05
_SHORT_OF_FULL = -0.05
LIKELY = 0.6  # something is not connected or not heating; the logs alone do not say which part
FULL = Verification("full power", "All circuits give full power, as far as this firing shows.")
_HEATING = {"elements", "element"}
_ELECTRICAL = {"elements", "element", "relay", "fuse", "wiring", "supply"}


def verification(case: Case, memory: CausesMemory, findings: Sequence[Finding]) -> Verification | None:
    """Return what the first firings after the latest repair show of it, else None."""
    repair = memory.repair
    if repair is None or (case.index - repair.firing >= FIRINGS_TO_JUDGE and not repair.short):
        return None
    still = [f for f in findings if f.severity != "info" and f.cause != "element_ageing"]
    if still:
        worst = max(still, key=lambda f: f.probability)
        place = f" in zone {worst.zone}" if worst.zone and len(case.zones) > 1 else ""
        place = f" in circuit {worst.circuit}" if worst.circuit else place
        text = f"The firing after the repair still shows {worst.cause.replace('_', ' ')}{place}: recheck."
        return Verification("still faulty", text, worst.zone)
    if repair.part not in _ELECTRICAL:
        return Verification("nothing against it", "Nothing in the firing after the repair speaks against it.")
    level = case.condition.power
    names = case.zones
    levels = case.condition.zone_levels
    own = case.condition.reference != "after repair"
    known = case.condition.level or level  # one odd firing condemns no repair: what all of them say counts
    limit = min(2 * _SHORT_OF_FULL, 0.0 if known is None else known.value)  # a zone is short of the whole kiln too
    weak = [(n, zone) for n, zone in enumerate(levels) if zone is not None and _surely_short(zone, limit)]
    if weak and len(weak) < len(levels) and weak[0][0] < len(names):  # all of them: the whole kiln
        number, zone = weak[0]
        return _short(f"Zone {names[number]}", zone, names[number])
    stalled = case.firing.end == "stalled"
    if own and known is not None and _surely_short(known, _SHORT_OF_FULL, stalled=stalled):
        return _short("The kiln", known, None)
    renewed = case.condition.renewed
    # 100 % by construction, compared with nothing, or with what speaks against it
    unlike = repair.firing < LEAST_FIRINGS or (
        renewed is not None and not own and (renewed.error > KNOWN or renewed.value < SHORT)
    )
    if stalled:
        text = "At full output the firing, or its log, ended short of its peak: that shows no full power. Recheck."
        return Verification("not enough to tell", text)
    if level is None or level.error > _ENOUGH_ERROR or unlike:
        if repair.proved:
            text = "An earlier firing after the repair showed full power; nothing in this one speaks against it."
            return Verification("nothing against it", text)
        text = "There was not enough full output in this firing to tell: run the verification firing."
        return Verification("not enough to tell", text)
    return FULL


def _short(what: str, level: Estimate, zone: str | None) -> Verification:
    text = f"{what} still gives only {100 * exp(level.value):.0f} % of its power: recheck."
    return Verification("short of power", text, zone)


def _surely_short(level: Estimate, limit: float, *, stalled: bool = False) -> bool:
    """Whether the power is below a limit; where full output did not reach the peak the estimate need not be sure."""
    return level.value + (0.0 if stalled else NINETY * level.error) < limit


def proved(memory: CausesMemory, said: Verification | None) -> CausesMemory:
    """Return the memory with the repair marked as proved, or as short of power, if this firing says so."""
    if memory.repair is None or said is None:
        return memory
    if said.outcome == "full power":
        return replace(memory, repair=replace(memory.repair, proved=True, short=False))
    if said.outcome == "short of power":
        return replace(memory, repair=replace(memory.repair, short=True))
    return memory


def with_unproved(
    case: Case, memory: CausesMemory, findings: Sequence[Finding], said: Verification | None
) -> tuple[Finding, ...]:
    """Return the findings, with a warning where a repair left the kiln short of power and nothing else says why.

    The cause is the poor supply that was told before, if elements were changed all the same: new ones do not mend it.
    Else it is the single fault of the circuits whose loss is nearest; without circuits in the register a dead one.
    """
    repair = memory.repair
    if repair is None or said is None or said.outcome != "short of power":
        return tuple(findings)
    if any(f.severity != "info" for f in findings):
        return tuple(findings)
    high = case.condition.level_high
    if repair.part == "supply" or (high is not None and high > _SHORT_OF_FULL and case.firing.end != "stalled"):
        return tuple(findings)
    text = f"After the last repair the power is not what it was before. {said.text}"
    evidence = Evidence(text, supports=True, weight=1.0)
    since = case.log.started if case.index == repair.firing else None
    supply = repair.poor_volts and repair.part in _HEATING and said.zone is None
    cause: Cause = "low_supply" if supply else _nearest_fault(case, said.zone)
    told = Finding(
        cause, "warning", LIKELY, zone=said.zone, since=since, since_firing=repair.firing, evidence=(evidence,)
    )
    return (*(f for f in findings if f.cause != cause), told)


def _nearest_fault(case: Case, zone: str | None) -> Cause:
    net = network(case.kiln)
    level = case.condition.level
    if net is None or level is None:
        return "open_circuit"
    healthy = solve(net).total_w
    within = {c.name for c in net.circuits if zone in (None, c.zone)}
    faults = [fault for fault in single_faults(net) if fault.circuit in within]
    if not faults:
        return "open_circuit"
    nearest = min(faults, key=lambda f: abs(solve(net, f).total_w / healthy - exp(level.value)))
    return "open_element" if nearest.kind == OPEN_ELEMENT else "open_circuit"

"""After a repair: whether the first firings show what the repair promised."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp

from analysis.causes.case import Case
from analysis.causes.memory import CausesMemory
from analysis.climb import Estimate
from analysis.findings import Finding
from analysis.renewal import KNOWN, NINETY

FIRINGS_TO_JUDGE = 3
_ENOUGH_ERROR = 0.05
_SHORT_OF_FULL = -0.05
FULL = "All circuits give full power, as far as this firing shows."
_ELECTRICAL = {"elements", "element", "relay", "fuse", "wiring", "supply"}


def verification(case: Case, memory: CausesMemory, findings: Sequence[Finding]) -> str | None:
    """Return one plain sentence on the latest repair for the first firings after it, else None."""
    repair = memory.repair
    if repair is None or case.index - repair.firing >= FIRINGS_TO_JUDGE:
        return None
    still = [f for f in findings if f.severity != "info" and f.cause != "element_ageing"]
    if still:
        worst = max(still, key=lambda f: f.probability)
        place = f" in zone {worst.zone}" if worst.zone and len(case.zones) > 1 else ""
        place = f" in circuit {worst.circuit}" if worst.circuit else place
        return f"The firing after the repair still shows {worst.cause.replace('_', ' ')}{place}: recheck."
    if repair.part not in _ELECTRICAL:
        return "Nothing in the firing after the repair speaks against it."
    level = case.condition.power
    names = case.zones
    levels = case.condition.zone_levels if case.condition.reference != "after repair" else ()
    for number, zone in enumerate(levels):
        if zone is not None and _surely_short(zone, 2 * _SHORT_OF_FULL) and len(names) > number:
            return f"Zone {names[number]} still gives only {100 * exp(zone.value):.0f} % of its power: recheck."
    own = case.condition.reference != "after repair"
    short = [at for at in (case.condition.level, level) if own and at is not None and _surely_short(at, _SHORT_OF_FULL)]
    if short:
        return f"The kiln still gives only {100 * exp(short[0].value):.0f} % of its power: recheck."
    renewed = case.condition.renewed
    unlike = renewed is not None and not own and renewed.error > KNOWN  # 100 % by construction, compared with nothing
    if level is None or level.error > _ENOUGH_ERROR or unlike:
        if repair.proved:
            return "An earlier firing after the repair showed full power; nothing in this one speaks against it."
        return "There was not enough full output in this firing to tell: run the verification firing."
    return FULL


def _surely_short(level: Estimate, limit: float) -> bool:
    return level.value + NINETY * level.error < limit


def proved(memory: CausesMemory, said: str | None) -> CausesMemory:
    """Return the memory with the repair marked as proved if this firing's sentence says so."""
    if said != FULL or memory.repair is None:
        return memory
    return replace(memory, repair=replace(memory.repair, proved=True))

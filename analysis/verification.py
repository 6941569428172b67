"""After a repair: whether the first firings show what the repair promised."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp

from analysis.causes.case import Case
from analysis.causes.memory import CausesMemory
from analysis.findings import Finding

FIRINGS_TO_JUDGE = 3
_ENOUGH_ERROR = 0.05
_SHORT_OF_FULL = -0.05
_FULL = "All circuits give full power, as far as this firing shows."
_ELECTRICAL = {"elements", "element", "relay", "fuse", "wiring", "supply"}


def verification(case: Case, memory: CausesMemory, findings: Sequence[Finding]) -> str | None:
    """Return one plain sentence on the latest repair for the first firings after it, else None."""
    repair = memory.repair
    if repair is None or case.index - repair.firing >= FIRINGS_TO_JUDGE:
        return None
    still = [f for f in findings if f.severity != "info" and f.cause != "element_ageing"]
    if still:
        worst = max(still, key=lambda f: f.probability)
        place = f" in zone {worst.zone}" if worst.zone else ""
        return f"The firing after the repair still shows {worst.cause.replace('_', ' ')}{place}: recheck."
    if repair.part not in _ELECTRICAL:
        return "Nothing in the firing after the repair speaks against it."
    level = case.condition.power
    names = case.zones
    levels = case.condition.zone_levels if case.condition.reference != "after repair" else ()
    for number, zone in enumerate(levels):
        if zone is not None and zone.error < _ENOUGH_ERROR and zone.value < 2 * _SHORT_OF_FULL and len(names) > number:
            return f"Zone {names[number]} still gives only {100 * exp(zone.value):.0f} % of its power: recheck."
    if level is None or level.error > _ENOUGH_ERROR:
        if repair.proved:
            return "An earlier firing after the repair showed full power; nothing in this one speaks against it."
        return "There was not enough full output in this firing to tell: run the verification firing."
    if case.condition.reference != "after repair" and level.value < _SHORT_OF_FULL - level.error:
        return f"The kiln still gives only {100 * exp(level.value):.0f} % of its power: recheck."
    return _FULL


def proved(memory: CausesMemory, said: str | None) -> CausesMemory:
    """Return the memory with the repair marked as proved if this firing's sentence says so."""
    if said != _FULL or memory.repair is None:
        return memory
    return replace(memory, repair=replace(memory.repair, proved=True))

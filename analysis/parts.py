"""Parts to bring for the likely causes, counted from the register."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings import Finding
from config.kiln import Circuit, Kiln
from config.logbook import Part

WORTH_BRINGING = 0.15  # a cause less probable than this does not put a part in the van


@dataclass(frozen=True, slots=True)
class PartNeeded:
    """A part with its count. ``certain`` is False for one to have at hand in case."""

    part: Part
    count: int
    what: str
    why: str
    certain: bool = False


def parts_for(kiln: Kiln, findings: Sequence[Finding]) -> tuple[PartNeeded, ...]:
    """Return the parts for the likely findings, most probable first, each once."""
    out: dict[tuple[Part, str], PartNeeded] = {}
    for finding in sorted(findings, key=lambda f: -f.probability):
        if finding.probability >= WORTH_BRINGING:
            for part in _parts_of(kiln, finding):
                out.setdefault((part.part, part.what), part)
    return tuple(out.values())


def elements_of(kiln: Kiln, *, zone: str | None = None, circuit: str | None = None) -> int:
    """Return how many elements the kiln, one zone or one circuit has; 0 where the register does not say."""
    return sum(c.elements for c in _circuits(kiln, zone, circuit))


def _circuits(kiln: Kiln, zone: str | None, circuit: str | None) -> list[Circuit]:
    return [c for c in kiln.circuits if circuit in (None, c.name) and (circuit is not None or zone in (None, c.zone))]


def _parts_of(kiln: Kiln, finding: Finding) -> list[PartNeeded]:
    sure = finding.probability >= 0.5
    zone = f" for zone {finding.zone}" if finding.zone else ""
    cause = finding.cause
    if cause == "element_ageing":
        count = elements_of(kiln)
        return [
            PartNeeded(
                "elements",
                max(count, 1),
                _set_text(kiln, count),
                "The whole set is worn; old and new together heat unevenly.",
                sure,
            ),
            PartNeeded(
                "wiring",
                max(2 * count, 2),
                "terminal connectors with washers and nuts",
                "Two ends of every new element.",
                sure,
            ),
        ]
    if cause == "open_element":
        of_circuit = elements_of(kiln, zone=finding.zone, circuit=finding.circuit)
        where = f" for circuit {finding.circuit}" if finding.circuit else zone
        return [
            PartNeeded("element", 1, f"heating element{where}", "One element has failed.", sure),
            PartNeeded("wiring", 2, "terminal connectors with washers and nuts", "Two ends of the new element.", sure),
            PartNeeded(
                "element",
                max(of_circuit - 1, 1),
                f"further elements{where}",
                "The others of the circuit are as old.",
            ),
        ]
    if cause == "open_circuit":
        return [
            PartNeeded(
                "relay", 1, f"relay or contactor{zone}", "A dead relay is the commonest reason for a dead circuit."
            ),
            PartNeeded("fuse", 1, f"circuit fuse{zone}, if fitted", "A blown fuse does the same."),
            PartNeeded(
                "element",
                max(elements_of(kiln, zone=finding.zone, circuit=finding.circuit), 1),
                f"heating elements{zone}",
                "If the circuit itself reads open.",
            ),
        ]
    simple: dict[str, tuple[Part, str, str]] = {
        "lost_phase": ("fuse", "supply fuse of the kiln's rating", "A blown supply fuse takes one line away."),
        "welded_contact": ("relay", f"relay or contactor{zone}", "Contacts that do not open must be replaced."),
        "loose_connection": (
            "wiring",
            f"terminals, connectors and high-temperature wire{zone}",
            "A burnt end is cut back and remade.",
        ),
        "thermocouple_fault": ("thermocouple", _couple_text(kiln, zone), "The couple is failing."),
        "thermocouple_drift": ("thermocouple", _couple_text(kiln, zone), "The couple no longer reads true."),
        "heat_leak": ("brickwork", "brick or lid seal, repair cement", "To close the leak once it is found."),
    }
    if cause not in simple:
        return []
    part, what, why = simple[cause]
    return [PartNeeded(part, 1, what, why, sure)]


def _set_text(kiln: Kiln, count: int) -> str:
    if not count:
        return "full set of heating elements (the register does not say how many)"
    ohms = sorted({round(r, 1) for c in kiln.circuits for r in c.element_ohm})
    each = (
        "" if not ohms else f", {ohms[0]:.1f} Ω each" if len(ohms) == 1 else f", {ohms[0]:.1f} to {ohms[-1]:.1f} Ω each"
    )
    return f"full set of heating elements ({count}){each}"


def _couple_text(kiln: Kiln, zone: str) -> str:
    kind = f"type {kiln.thermocouple} " if kiln.thermocouple else ""
    return f"{kind}thermocouple{zone}"

"""Parts to bring for the likely causes, counted from the register."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings import Finding
from config.kiln import Circuit, Kiln
from config.logbook import Part

WORTH_BRINGING = 0.15  # a cause less probable than this does not put a part in the van
LABEL = "to match its label"
MOST_NAMED = 4  # more names do not fit a line
ALIKE = 0.05  # elements whose ohms differ by less are ordered as one kind: new wire differs as much


@dataclass(frozen=True, slots=True)
class PartNeeded:
    """A part with its count. ``certain`` is False for one to have at hand in case."""

    part: Part
    count: int
    what: str
    why: str
    certain: bool = False


def parts_for(kiln: Kiln, findings: Sequence[Finding]) -> tuple[PartNeeded, ...]:
    """Return the parts for the likely findings, most probable first, each once.

    A dead circuit and an element broken in it are mended with the same elements.
    """
    out: dict[tuple[Part, str], PartNeeded] = {}
    opened: set[tuple[str | None, str | None]] = set()
    for finding in sorted(findings, key=lambda f: -f.probability):
        if finding.probability < WORTH_BRINGING:
            continue
        place = (finding.zone, finding.circuit)
        for part in _parts_of(kiln, finding):
            if not (part.part == "element" and place in opened):
                out.setdefault((part.part, part.what), part)
        if finding.cause in ("open_circuit", "open_element"):
            opened.add(place)
    return tuple(out.values())


def elements_of(kiln: Kiln, *, zone: str | None = None, circuit: str | None = None) -> int:
    """Return how many elements the kiln, one zone or one circuit has; 0 where the register does not say."""
    return sum(c.elements for c in _circuits(kiln, zone, circuit))


def _circuits(kiln: Kiln, zone: str | None, circuit: str | None) -> list[Circuit]:
    return [c for c in kiln.circuits if circuit in (None, c.name) and (circuit is not None or zone in (None, c.zone))]


def _parts_of(kiln: Kiln, finding: Finding) -> list[PartNeeded]:
    sure = finding.probability >= 0.5
    zone = f" for zone {finding.zone}" if finding.zone and len(kiln.zones) != 1 else ""
    where = f" for circuit {finding.circuit}" if finding.circuit else zone
    cause = finding.cause
    suspects = _circuits(kiln, finding.zone, finding.circuit)
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
        most = max((c.elements for c in suspects), default=1)
        ohms = ohms_text(suspects)
        out = [
            PartNeeded("element", 1, f"heating element{where}{ohms}", "One element has failed.", sure),
            PartNeeded(
                "wiring", 2 * most, "terminal connectors with washers and nuts", "Two ends of every new element.", sure
            ),
        ]
        if most > 1:
            others = f"further element{'s' if most > 2 else ''} of its circuit"
            why = "The others of the circuit are as old; the trade changes at least the whole circuit."
            out.append(PartNeeded("element", most - 1, others, why))
        return out
    if cause == "open_circuit":
        return [
            PartNeeded(
                "relay",
                1,
                f"relay or contactor{where}, {LABEL}",
                "A dead relay is the commonest reason for a dead circuit.",
            ),
            PartNeeded("fuse", 1, f"circuit fuse{where}, if fitted", "A blown fuse does the same."),
            PartNeeded(
                "element",
                max((c.elements for c in suspects), default=1),
                f"heating elements{where or ' of one circuit'}{ohms_text(suspects)}",
                "If the circuit itself reads open.",
            ),
        ]
    simple: dict[str, tuple[Part, str, str]] = {
        "lost_phase": (
            "fuse",
            "supply fuse, if fused: rating as marked at the board",
            "A blown supply fuse takes one line away. The licensed person fits it.",
        ),
        "welded_contact": (
            "relay",
            f"relay or contactor{zone}{_named(suspects)}, {LABEL}",
            "Contacts that do not open must be replaced.",
        ),
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
    return f"full set of heating elements ({count}){ohms_text(kiln.circuits, counts=True)}"


def ohms_text(circuits: Sequence[Circuit], *, counts: bool = False) -> str:
    """Return the as-new ohms of one element to order by: one figure if all are alike, else circuit by circuit.

    ``counts`` says how many of each. Empty where the register does not give the ohms of every circuit.
    """
    if not circuits or not all(c.element_ohm for c in circuits):
        return ""
    every = [ohm for c in circuits for ohm in c.element_ohm]
    if max(every) <= (1 + ALIKE) * min(every):
        return f", {_each(every)} each"
    listed = []
    for c in circuits:
        alike = max(c.element_ohm) <= (1 + ALIKE) * min(c.element_ohm)
        ohms = _each(c.element_ohm) if alike else " and ".join(f"{ohm:.1f} Ω" for ohm in c.element_ohm)
        listed.append(f"circuit {c.name}: {c.elements} of {ohms}" if counts else f"{ohms} (circuit {c.name})")
    return f", {'; '.join(listed)}" if counts else f", {' or '.join(listed)} each"


def _each(ohms: Sequence[float]) -> str:
    about = "" if max(ohms) - min(ohms) < 0.1 else "about "
    return f"{about}{sum(ohms) / len(ohms):.1f} Ω"


def _named(circuits: Sequence[Circuit]) -> str:
    """Return the circuits a zone's relay may switch, where there are several."""
    return f" (circuits {', '.join(c.name for c in circuits)})" if 1 < len(circuits) <= MOST_NAMED else ""


def _couple_text(kiln: Kiln, zone: str) -> str:
    kind = f"type {kiln.thermocouple} " if kiln.thermocouple else ""
    return f"{kind}thermocouple{zone}"

"""What a visit settles beyond the network's ohms and amps: fuse, relay coil, volts at a circuit or with a line lost."""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt

from analysis.findings import Finding
from analysis.measurement import Expected, Inspection, Measurement
from analysis.parts import PartNeeded
from config.kiln import Circuit, Kiln

PAIRS = ("L1-L2", "L2-L3", "L3-L1")
EACH_CIRCUIT = "each circuit"  # of a register that lists none
SWITCHING = ("fuse", "relay coil")  # read beside the circuits, everything still locked off
SWITCHING_PLACE = "through the fuse, out of its holder, and the relay's coil, control wires off"
DEAD_BEFORE = "its relay, fuse or wire is dead"
REACHES = "supply reaches it: a joint or coil opens when hot"
SUPPLY_BAND = 0.05  # a supply within 5 % of its nameplate
_OPEN = "open (no reading)"


def on_site(kiln: Kiln, found: Inspection, causes: Sequence[Finding]) -> Inspection:
    """Return the inspection with what the register's network cannot tell, numbered in order.

    Ohms between supply lines are never asked for: they need every relay bridged, and a bridge left in is a kiln
    that cannot be switched off. The circuits' own ohms say the same.
    """
    steps = list(found.measurements)
    names = {finding.cause for finding in causes}
    if "lost_phase" in names:
        steps = [_with_lost_lines(kiln, m) for m in steps]
    dead = next((f for f in causes if f.cause == "open_circuit"), None)
    if dead is not None:
        at = next((i for i, m in enumerate(steps) if not _cold_circuit(m)), len(steps))
        steps[at:at] = _switching()
        steps.append(_volts_at(kiln, dead))
    # Still all dead work first; of the live work what decides the likeliest cause first: volts for these two.
    volts_first = bool(causes) and causes[0].cause in ("lost_phase", "open_circuit")
    steps.sort(key=lambda m: (m.live, _live_rank(m) if m.live and volts_first else 0))
    ordered = tuple(replace(m, order=i) for i, m in enumerate(steps, 1))
    return replace(found, measurements=ordered, parts=_parts(found.parts, causes))


def _cold_circuit(step: Measurement) -> bool:
    return step.quantity == "ohm" and (bool(step.circuit) or step.key == EACH_CIRCUIT)


def _live_rank(step: Measurement) -> int:
    decides = step.quantity == "volt" and (step.key.startswith("circuit") or step.expected[-1].cause == "lost_phase")
    return 0 if decides else 1 if step.quantity == "amp" else 2


def _switching() -> list[Measurement]:
    tells = "Which part before the circuit is dead: all of this with the kiln locked off."
    blown = Expected("dead", "open_circuit", None, None, None, _OPEN)
    fuse = Expected("whole", None, 0.0, 0.0, 0.5, "below 0.5 Ω")
    coil = Expected("whole", None, None, None, None, "steady, as its neighbour's")
    return [
        Measurement(0, "ohm", SWITCHING_PLACE, "fuse", tells, (fuse, blown)),
        Measurement(0, "ohm", SWITCHING_PLACE, "relay coil", tells, (coil, blown)),
    ]


def _volts_at(kiln: Kiln, finding: Finding) -> Measurement:
    """Return the volts across the dead circuit while it is called for: what reaches it, or nothing."""
    named = next((c for c in kiln.circuits if c.name == finding.circuit), None)
    if named is None and finding.zone is not None:
        within = [c for c in kiln.circuits if c.zone == finding.zone]
        named = within[0] if len(within) == 1 else None
    key = f"circuit {named.name}" if named else "circuit with no heat"
    where = "across the circuit's two ends, its zone calling for heat; needed only if its cold ohms are whole"
    volts = circuit_volts(kiln, named)
    if volts is None:
        reaches = Expected(REACHES, None, None, None, None, "the supply's volts")
    else:
        low, high = (1 - SUPPLY_BAND) * volts, (1 + SUPPLY_BAND) * volts
        text = f"{volts:.0f} V ({low:.0f} to {high:.0f})"
        reaches = Expected(REACHES, None, volts, low, high, text)
    nothing = Expected(DEAD_BEFORE, "open_circuit", 0.0, 0.0, 0.0, "near 0 V")
    return Measurement(0, "volt", where, key, "Whether the supply reaches the circuit.", (reaches, nothing), live=True)


def circuit_volts(kiln: Kiln, circuit: Circuit | None) -> float | None:
    """Return the volts across a working circuit, or None where the register does not tell.

    In a star each circuit lies between a line and the star point: line volts over the square root of three.
    """
    if kiln.volts is None:
        return None
    star = "wye" in (kiln.supply or "")
    if circuit is not None and circuit.line is not None:
        star = star and circuit.line not in PAIRS
    return kiln.volts / sqrt(3) if star else kiln.volts


def _with_lost_lines(kiln: Kiln, step: Measurement) -> Measurement:
    """Add what each lost line leaves between two supply terminals under load.

    The dead terminal is held by the load: midway between the other two lines on a delta or a star without neutral
    (half the volts to either, with circuits alike), at the neutral on a star with one (the volts over root three).
    """
    if step.quantity != "volt" or step.key not in PAIRS or kiln.volts is None:
        return step
    share = 1 / sqrt(3) if "neutral" in (kiln.supply or "") else 0.5
    cases = [case for case in step.expected if case.cause != "low_supply"]
    for line in ("L1", "L2", "L3"):
        if line in step.key.split("-"):
            near = share * kiln.volts
            shown = Expected(f"line {line} lost", "lost_phase", near, 0.8 * near, 1.2 * near, f"about {near:.0f} V")
        else:
            low, high = (1 - SUPPLY_BAND) * kiln.volts, (1 + SUPPLY_BAND) * kiln.volts
            text = f"{kiln.volts:.0f} V ({low:.0f} to {high:.0f})"
            shown = Expected(f"line {line} lost", "lost_phase", kiln.volts, low, high, text)
        cases.append(shown)
    return replace(step, expected=tuple(cases))


def _parts(parts: Sequence[PartNeeded], causes: Sequence[Finding]) -> tuple[PartNeeded, ...]:
    """Return the parts with new hardware for every element that may be fitted."""
    out = list(parts)
    elements = sum(part.count for part in out if part.part in ("element", "elements"))
    if elements and all(part.part != "wiring" for part in out) and any(f.cause == "open_circuit" for f in causes):
        why = "Two ends of every new element."
        out.append(PartNeeded("wiring", 2 * elements, "terminal connectors with washers and nuts", why))
    return tuple(out)

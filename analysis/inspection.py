"""What to measure at the kiln, in which order, and what a healthy, an aged and a broken circuit would read.

Expected values come from the register through the electrical network. Nothing here is an instruction to open a
kiln: the daemon shows the cautions beside every measurement, and measurements with ``live`` set need the power on
and belong to a licensed person.
"""

from collections.abc import Sequence
from math import exp, inf, isinf

from analysis.circuits import (
    HOT_OVER_COLD,
    LINES,
    LOST_LINE,
    Fault,
    Network,
    circuit_ohm,
    network,
    shown_ohm,
    single_faults,
    solve,
)
from analysis.condition import Condition, Step
from analysis.findings import Cause, Finding
from analysis.measurement import Expected, Inspection, Measurement
from analysis.on_site import EACH_CIRCUIT, on_site
from analysis.parts import parts_for
from config.kiln import Circuit, Kiln

WIRE_TOLERANCE = 0.05  # resistance of new wire, a resistance-wire supplier's tolerance table (over 0.15 mm)
LEAD_OHM = (0.1, 0.5)  # meter leads that were not zeroed (common practice, no source)
CURRENT_BAND = 0.10  # wire tolerance, a supply within 5 % of its nameplate, and a clamp meter's 2 %
WORTH_A_COLUMN = 1.02  # ageing below this is less than a meter and new wire's tolerance can show
ZONE_KNOWN = 0.05  # a zone's own level counts for its circuits if its error is no larger


def inspect(kiln: Kiln, condition: Condition | None = None, findings: Sequence[Finding] = ()) -> Inspection:
    """Return what to measure and bring, led by the most probable findings; with none, a full check of the circuits."""
    ranked = sorted(findings, key=lambda f: -f.probability)
    net = network(kiln)
    ageing = ageing_by_circuit(kiln, condition)
    steps: list[Measurement] = []
    for finding in ranked:
        steps += _for_cause(kiln, finding, ageing)
    steps += _looks(ranked)
    steps += [_circuit_ohms(kiln, c, ageing.get(c.name, 1.0)) for c in _by_suspicion(kiln, ranked)]
    steps += [] if kiln.circuits else [_unlisted_circuits(kiln)]
    if net is not None:
        steps += _amps(net, ageing, ranked)
    steps += _volts(kiln)
    once: dict[tuple[str, str], Measurement] = {}
    for step in steps:
        once.setdefault((step.quantity, step.key), step)
    # Everything that can be done with the kiln dead comes before anything that needs it live.
    dead_first = sorted(once.values(), key=lambda m: m.live)
    worn = max(ageing.values(), default=1.0)
    found = Inspection(tuple(dead_first), parts_for(kiln, ranked), notes=_notes(kiln, net, condition, worn))
    return on_site(kiln, found, ranked)


def ageing_by_circuit(kiln: Kiln, condition: Condition | None) -> dict[str, float]:
    """Return estimated resistance over reference, by circuit name: from its zone's level, else the whole kiln's.

    A sudden step is taken out first: what a broken circuit lost is not ageing of the others. Never below 1: wire
    does not get younger, so more power than the reference's is chance or the supply.
    """
    if condition is None:
        return {}
    out = {}
    step = condition.step if condition.step is not None and condition.step.probability > 0.5 else None
    for circuit in kiln.circuits:
        level = condition.level
        jump = step.size.value if step else 0.0
        if circuit.zone in kiln.zones and len(condition.zone_levels) == len(kiln.zones):
            number = kiln.zones.index(circuit.zone)
            own = condition.zone_levels[number]
            if own is not None and (own.error <= ZONE_KNOWN or _stepped(step, number)):
                level = own
                if step and len(step.zone_sizes) > number and step.zone_sizes[number] is not None:
                    zone_step = step.zone_sizes[number]
                    jump = zone_step.value if zone_step else jump
        if level is not None:
            out[circuit.name] = min(2.0, max(1.0, exp(-(level.value - jump))))
    return out


def _stepped(step: Step | None, zone: int) -> bool:
    """Return whether a sudden change of its own is known for a zone: its level is then no ageing at any error."""
    return step is not None and len(step.zone_sizes) > zone and step.zone_sizes[zone] is not None


def _ohm_case(case: str, cause: Cause | None, ohm: float, spread: float = WIRE_TOLERANCE) -> Expected:
    if isinf(ohm):
        return Expected(case, cause, None, None, None, "open (no reading)")
    low, high = ohm * (1 - spread), ohm * (1 + spread)
    return Expected(case, cause, ohm, low, high, f"{shown_ohm(ohm)} ({low:.1f} to {high:.1f})")


def _circuit_ohms(kiln: Kiln, circuit: Circuit, ageing: float) -> Measurement:
    """Return the cold resistance of one isolated circuit with the reading of each state it can be in."""
    healthy = circuit_ohm(kiln, circuit)
    cases: list[Expected] = []
    if healthy is not None:
        cases.append(_ohm_case("as new", None, healthy))
        if ageing >= WORTH_A_COLUMN:
            cases.append(_ohm_case("aged as estimated", "element_ageing", healthy * ageing))
        if circuit.elements > 1 and circuit.wiring == "parallel":
            # Elements of a circuit may differ: each one open leaves its own resistance.
            opened = [circuit_ohm(kiln, circuit, ageing, i) or inf for i in range(circuit.elements)]
            low, high = min(opened) * (1 - WIRE_TOLERANCE), max(opened) * (1 + WIRE_TOLERANCE)
            middle = sum(opened) / len(opened)
            text = f"{shown_ohm(middle)} ({low:.1f} to {high:.1f})"
            cases.append(Expected("one element open", "open_element", middle, low, high, text))
            cases.append(_ohm_case("all elements or a lead open", "open_circuit", inf))
        else:
            cases.append(_ohm_case("an element or a lead open", "open_element", inf))
        cases.append(_ohm_case("relay or its wiring dead, circuit itself whole", "open_circuit", healthy * ageing))
    return Measurement(
        0,
        "ohm",
        "across the circuit's two ends, its wires off the relay",
        f"circuit {circuit.name}",
        "Whether this circuit is whole, aged or open. A normal reading on a circuit that does not heat points to its "
        "relay, fuse or wiring.",
        tuple(cases),
        circuit=circuit.name,
        zone=circuit.zone or "",
    )


def _unlisted_circuits(kiln: Kiln) -> Measurement:
    """Return the cold ohms of circuits the register does not list: laid beside each other, and the nameplate's sum."""
    cases = [Expected("whole", None, None, None, None, "about as the others with as many elements")]
    if kiln.volts is not None and kiln.rated_kw is not None and kiln.supply in (None, "single-phase"):
        ohm = kiln.volts**2 / (1000 * kiln.rated_kw) / HOT_OVER_COLD  # the nameplate is the hot kiln's
        low, high = (1 - WIRE_TOLERANCE) * ohm, (1 + WIRE_TOLERANCE) * ohm
        text = f"{shown_ohm(ohm)} ({low:.1f} to {high:.1f})"
        cases.append(Expected("all circuits side by side (volts² / watts, cold)", None, ohm, low, high, text))
    cases.append(
        Expected("an element or a lead open", "open_circuit", None, None, None, "open, or far above the others")
    )
    return Measurement(
        0,
        "ohm",
        "across each circuit's two ends, its wires off the relay; write down its name, zone, elements and line for the "
        "register",
        EACH_CIRCUIT,
        "Which circuit stands out; and, once in the register, what to expect at the next visit.",
        tuple(cases),
    )


def _amps(net: Network, ageing: dict[str, float], findings: Sequence[Finding]) -> list[Measurement]:
    """Return the line currents at full output: healthy, aged, and with each suspected fault."""
    hot = {c.name: HOT_OVER_COLD * 1.0 for c in net.circuits}
    aged = {c.name: HOT_OVER_COLD * ageing.get(c.name, 1.0) for c in net.circuits}
    cases = {"as new": (None, solve(net, factors=hot))}
    states: dict[str, tuple[Cause | None, dict[str, float]]] = {}
    for name, (cause, solution) in cases.items():
        states[name] = (cause, dict(solution.line_a))
    if max(ageing.values(), default=1.0) >= WORTH_A_COLUMN:
        states["aged as estimated"] = ("element_ageing", dict(solve(net, factors=aged).line_a))
    for finding in findings:
        for fault in _faults_of(net, finding):
            states.setdefault(_named(fault), (finding.cause, dict(solve(net, fault, factors=aged).line_a)))
    lines = [name for name, _ in net.sources if name != "N"]
    if lines == ["L1", "L2"]:
        lines = ["L1"]
    out = []
    for line in lines:
        expected = tuple(_amp_case(name, cause, amps.get(line, 0.0)) for name, (cause, amps) in states.items())
        where = f"clamp meter round {line}, every zone at full output"
        tells = "Power at once: current times volts. A line far below the others names the missing circuit."
        out.append(Measurement(0, "amp", where, line, tells, expected, live=True))
    return out


def _named(fault: Fault) -> str:
    """Return a fault in a few words."""
    if fault.line is not None:
        return f"line {fault.line} lost"
    return f"{fault.kind} in circuit {fault.circuit}" if fault.zone is None else f"zone {fault.zone} without current"


def _amp_case(case: str, cause: Cause | None, amp: float) -> Expected:
    low, high = amp * (1 - CURRENT_BAND), amp * (1 + CURRENT_BAND)
    text = "no current" if amp < 0.05 else f"{amp:.1f} A ({low:.1f} to {high:.1f})"
    return Expected(case, cause, amp, low, high, text)


def _faults_of(net: Network, finding: Finding) -> list[Fault]:
    """Return the network faults a finding stands for."""
    circuits = [c for c in net.circuits if finding.circuit in (None, c.name) and finding.zone in (None, c.zone)]
    if finding.cause == "open_element":
        return [Fault("open element", c.name, 0) for c in circuits]
    if finding.cause == "open_circuit":
        # several circuits of a zone that one relay switches fail together
        whole = [f for f in single_faults(net) if f.zone is not None and f.zone == finding.zone]
        return [*whole, *(Fault("open circuit", c.name) for c in circuits)]
    if finding.cause == "lost_phase" and len(net.sources) >= len(LINES):
        return [Fault(LOST_LINE, line=name) for name in LINES]
    return []


def _volts(kiln: Kiln) -> list[Measurement]:
    """Return the supply volts under load between each pair of lines."""
    if kiln.volts is None:
        return []
    three_phase = bool(kiln.supply) and kiln.supply != "single-phase"
    pairs = ("L1-L2", "L2-L3", "L3-L1") if three_phase else ("L1-L2",)
    out = []
    for pair in pairs:
        names = "the two supply conductors" if not three_phase else pair.replace("-", " and ")
        expected = (
            Expected(
                "healthy supply",
                None,
                kiln.volts,
                0.95 * kiln.volts,
                1.05 * kiln.volts,
                f"{kiln.volts:.0f} V ({0.95 * kiln.volts:.0f} to {1.05 * kiln.volts:.0f})",
            ),
            Expected(
                "low supply",
                "low_supply",
                0.92 * kiln.volts,
                0.0,
                0.95 * kiln.volts,
                f"below {0.95 * kiln.volts:.0f} V with the kiln at full output",
            ),
        )
        tells = "Power follows the square of the volts: 5 % less volts is 10 % less power."
        where = f"between {names} at the kiln's terminal block, every zone at full output"
        out.append(Measurement(0, "volt", where, pair, tells, expected, live=True))
    return out


def _by_suspicion(kiln: Kiln, findings: Sequence[Finding]) -> list[Circuit]:
    """Return the circuits, those a finding names first."""

    def rank(circuit: Circuit) -> float:
        named = [f.probability for f in findings if circuit.name == f.circuit]
        zoned = [0.9 * f.probability for f in findings if f.zone is not None and circuit.zone == f.zone]
        return -max([0.0, *named, *zoned])

    return sorted(kiln.circuits, key=rank)


def _looks(findings: Sequence[Finding]) -> list[Measurement]:
    """Return what the eye settles before a meter is needed."""
    out = [
        Measurement(
            0,
            "look",
            "terminals, connectors and wires in the element box, kiln isolated and proved dead",
            "terminals",
            "A brown, brittle or loose terminal is a poor connection; it explains power that comes and goes.",
        )
    ]
    if any(f.cause in {"element_ageing", "open_element"} for f in findings):
        out.append(
            Measurement(
                0,
                "look",
                "every element along its groove: breaks, bunched or sagging turns, glaze drips, thin spots",
                "elements",
                "A break or a glaze drip names the element without a meter.",
            )
        )
    return out


def _for_cause(kiln: Kiln, finding: Finding, ageing: dict[str, float]) -> list[Measurement]:
    """Return the measurement that decides one finding, to stand first."""
    zone = f" of zone {finding.zone}" if finding.zone else ""
    if finding.cause in {"open_element", "open_circuit", "element_ageing"} and not kiln.circuits:
        return [_unlisted_circuits(kiln)]
    if finding.cause in {"open_element", "open_circuit", "element_ageing"}:
        circuits = [c for c in _by_suspicion(kiln, [finding]) if finding.zone in (None, c.zone)]
        return [_circuit_ohms(kiln, c, ageing.get(c.name, 1.0)) for c in circuits]
    if finding.cause == "lost_phase":
        fuses = Measurement(
            0,
            "ohm",
            "through each supply fuse, out of its holder; a breaker pole closed, with both its sides proved dead",
            "supply fuses",
            "An open fuse or pole is the lost supply line.",
            (
                Expected("healthy", None, 0.0, 0.0, 0.5, "below 0.5 Ω"),
                Expected("line lost here", "lost_phase", None, None, None, "open (no reading)"),
            ),
        )
        return [fuses]
    if finding.cause == "welded_contact":
        return [
            Measurement(
                0,
                "ohm",
                f"across the switching contacts of the relay{zone}, control off, kiln isolated and its load wire off",
                "relay" + (f" zone {finding.zone}" if finding.zone else ""),
                "A relay that conducts with no demand is welded.",
                (
                    Expected("healthy", None, None, None, None, "open (no reading)"),
                    Expected("contacts welded", "welded_contact", 0.0, 0.0, 0.5, "below 0.5 Ω"),
                ),
            )
        ]
    if finding.cause == "thermocouple_drift":
        return [*_comparisons(kiln, finding, zone), *_thermocouple(kiln, finding, zone)[1:]]
    if finding.cause == "thermocouple_fault":
        return _thermocouple(kiln, finding, zone)
    if finding.cause == "loose_connection":
        return _looks([finding])
    if finding.cause == "heat_leak":
        return [
            Measurement(
                0,
                "look",
                "lid or door seat, hinge, peepholes, vent and brick joints of the cold kiln, with a light inside",
                "lid",
                "Light through a gap, a raised lid or a fallen brick is where the heat goes.",
            )
        ]
    if finding.cause == "low_supply":
        return _volts(kiln)
    return []


def _comparisons(kiln: Kiln, finding: Finding, zone: str) -> list[Measurement]:
    """Return what shows a couple that reads wrong: cones, a new couple beside it, and its neighbour in its place.

    No reading of a meter on the bench does (ASTM E230 notes: used couples are compared in place).
    """
    key = "thermocouple" + (f" zone {finding.zone}" if finding.zone else "")
    tells = "Cones or a couple beside it that disagree by as much show how far it is off."
    beside = f"witness cones, or a new couple, beside the thermocouple{zone} in the next firing; note both readings"
    out = [Measurement(0, "look", beside, key + " beside", tells)]
    if len(kiln.zones) > 1:
        swap = f"the thermocouple{zone} exchanged with a neighbour's of the same type, for one firing"
        moves = "The odd reading moves with a bad couple; it stays with a bad lead or input."
        out.append(Measurement(0, "look", f"{swap}: the odd reading moves with a bad couple", key + " swap", moves))
    return out


def _thermocouple(kiln: Kiln, finding: Finding, zone: str) -> list[Measurement]:
    key = "thermocouple" + (f" zone {finding.zone}" if finding.zone else "")
    kind = f"type {kiln.thermocouple}" if kiln.thermocouple else "couple"
    return [
        Measurement(
            0,
            "ohm",
            f"across the thermocouple{zone} ({kind}), leads off the controller",
            key,
            "An open or changing reading when the leads are moved is a failing couple or a loose screw.",
            (
                Expected("healthy", None, 2.0, 0.0, 20.0, "below 20 Ω and steady"),
                Expected("broken", "thermocouple_fault", None, None, None, "open, or jumping when touched"),
            ),
        ),
        Measurement(
            0,
            "look",
            f"tip and sheath{zone}: thin, cracked or crumbling wire; how far it stands into the chamber",
            key + " tip",
            "A thin or crumbling tip, or one drawn back into the wall, reads wrong. Witness cones show by how much.",
        ),
    ]


def _notes(kiln: Kiln, net: Network | None, condition: Condition | None, worn: float) -> tuple[str, ...]:
    out = list(net.assumed) if net is not None else []
    if not kiln.circuits:
        out.append("The register lists no circuits: without them no expected resistance or current can be given.")
    elif net is None:
        out.append("The register lacks the volts or the element resistances: expected currents cannot be given.")
    if WORTH_A_COLUMN <= worn < (1 + WIRE_TOLERANCE) / (1 - WIRE_TOLERANCE):
        out.append("New and aged overlap: compare with the ohms written down when the set was new, if any were.")
    if worn >= WORTH_A_COLUMN and condition is not None and condition.reference == "first firings":
        out.append("Ageing is estimated against this kiln's first logged firings, which may not have been new.")
    return tuple(out)

"""The kiln's electrical network: power by zone, line currents and resistance between terminals, from the register.

Every element is a resistor between two nodes; the nodes' voltages follow from Kirchhoff's current law (nodal
analysis), so that single-phase, delta, wye and wye with neutral, series and parallel, healthy and broken, are all
one calculation. Volts and amps are r.m.s. phasors; FeCrAl wire is purely resistive at mains frequency.

Three-phase ``volts`` are between lines, as on a nameplate. Resistances are cold, as a meter reads them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isinf, sqrt

import numpy as np
from numpy.typing import NDArray

from config.kiln import Circuit, Kiln

LINES = ("L1", "L2", "L3")
_PAIRS = {"three-phase delta": ("L1-L2", "L2-L3", "L3-L1")}
_LEGS = ("L1-N", "L2-N", "L3-N")
# The wire is the same from end to end; at working temperature FeCrAl has 3 to 6 % more resistance than cold
# (alloy handbook factor Ct: 1.03 at 800 deg C, 1.04 to 1.06 at 1200 deg C). Rated power is taken as hot power.
HOT_OVER_COLD = 1.04


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing broken. ``element`` counts from 0 within ``circuit``; ``line`` is ``L1``, ``L2``, ``L3`` or ``N``.

    ``zone`` without a circuit: every circuit of that zone, as when they share one relay.
    """

    kind: str
    circuit: str | None = None
    element: int | None = None
    line: str | None = None
    zone: str | None = None

    def opens(self, circuit: Circuit, element: int) -> bool:
        """Whether this leaves an element of a circuit without a connection."""
        if self.zone is not None:
            return circuit.zone == self.zone
        return self.circuit == circuit.name and self.element in (None, element)


OPEN_ELEMENT = "open element"
OPEN_CIRCUIT = "open circuit"
LOST_LINE = "lost line"


@dataclass(frozen=True, slots=True)
class Element:
    """One heating element: its cold resistance and the two nodes it lies between."""

    circuit: int
    ohm: float
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class Network:
    """A kiln as wired. ``assumed`` says in plain words what the register did not tell."""

    kiln: Kiln
    elements: tuple[Element, ...]
    sources: tuple[tuple[str, complex], ...]
    assumed: tuple[str, ...] = ()

    @property
    def circuits(self) -> tuple[Circuit, ...]:
        """The register's circuits, in its order."""
        return self.kiln.circuits


@dataclass(frozen=True, slots=True)
class Solution:
    """What flows. Watts per element and circuit in the register's order, per zone by name; amps per supply line."""

    element_w: tuple[float, ...]
    circuit_w: tuple[float, ...]
    zone_w: Mapping[str, float]
    line_a: Mapping[str, float]

    @property
    def total_w(self) -> float:
        """Power of the whole kiln in watts."""
        return float(sum(self.circuit_w))


def element_ohms(kiln: Kiln, circuit: Circuit) -> tuple[float, ...]:
    """Return the as-new cold ohms of each element of ``circuit``; empty if neither listed nor computable.

    A single listed value counts for each element. If no circuit lists any, elements are taken as equal and sized
    for the rated power (hot), all circuits sharing it by their number of elements.
    """
    if circuit.element_ohm:
        listed = circuit.element_ohm
        return listed if len(listed) == circuit.elements else (listed[0],) * circuit.elements
    if kiln.rated_kw is None or kiln.volts is None or any(c.element_ohm for c in kiln.circuits):
        return ()
    count = sum(c.elements for c in kiln.circuits)
    watts = kiln.rated_kw * 1000.0 * circuit.elements / count
    across = kiln.volts / sqrt(3.0) if kiln.supply and "wye" in kiln.supply else kiln.volts
    whole = across**2 / watts / HOT_OVER_COLD
    each = whole * circuit.elements if circuit.wiring == "parallel" else whole / circuit.elements
    return (each,) * circuit.elements


def circuit_ohm(kiln: Kiln, circuit: Circuit, factor: float = 1.0, open_element: int | None = None) -> float | None:
    """Return the ohms across an isolated circuit's two ends, ``inf`` if open, None if the register cannot tell.

    ``factor`` multiplies the as-new resistance (ageing); ``open_element`` counts from 0.
    """
    ohms = [r * factor for r in element_ohms(kiln, circuit)]
    if not ohms:
        return None
    if circuit.wiring == "series":
        return inf if open_element is not None else float(sum(ohms))
    whole = [r for i, r in enumerate(ohms) if i != open_element]
    return 1.0 / sum(1.0 / r for r in whole) if whole else inf


def network(kiln: Kiln) -> Network | None:
    """Return the kiln's network, or None where volts, circuits or ohms are not known well enough to make one."""
    if kiln.volts is None or not kiln.circuits:
        return None
    if any(not element_ohms(kiln, c) for c in kiln.circuits):
        return None
    assumed = []
    if not any(c.element_ohm for c in kiln.circuits):
        assumed.append("element resistances are worked out from the rated power, all elements alike")
    if kiln.supply is None:
        assumed.append("the supply is taken as single-phase")
    three_phase = bool(kiln.supply) and kiln.supply != "single-phase"
    if three_phase and any(c.line is None for c in kiln.circuits):
        assumed.append("circuits without a line are taken in turn on the three phases")
    elements: list[Element] = []
    for number, circuit in enumerate(kiln.circuits):
        start, end = _ends(kiln, circuit, number)
        ohms = element_ohms(kiln, circuit)
        nodes = [start, *(f"{number}:{i}" for i in range(1, circuit.elements)), end]
        for i, ohm in enumerate(ohms):
            if circuit.wiring == "series":
                elements.append(Element(number, ohm, nodes[i], nodes[i + 1]))
            else:
                elements.append(Element(number, ohm, start, end))
    return Network(kiln, tuple(elements), _sources(kiln), tuple(assumed))


def _ends(kiln: Kiln, circuit: Circuit, number: int) -> tuple[str, str]:
    """Return the two nodes a circuit lies between."""
    if kiln.supply is None or kiln.supply == "single-phase":
        return "L1", "L2"
    legs = _PAIRS.get(kiln.supply, _LEGS)
    line = (circuit.line or legs[number % 3]).upper().replace(" ", "")
    start, _, end = line.partition("-")
    return start, end or "N"


def _sources(kiln: Kiln) -> tuple[tuple[str, complex], ...]:
    """Return the supply terminals with their voltage phasors against the supply's own mid-point."""
    volts = kiln.volts or 0.0
    if kiln.supply is None or kiln.supply == "single-phase":
        return (("L1", complex(volts / 2)), ("L2", complex(-volts / 2)))
    phase = volts / sqrt(3.0)
    turn = complex(-0.5, -sqrt(3.0) / 2)
    lines = tuple((name, phase * turn**i) for i, name in enumerate(LINES))
    return (*lines, ("N", 0j)) if kiln.supply == "three-phase wye with neutral" else lines


def solve(
    net: Network,
    fault: Fault | None = None,
    *,
    factors: Mapping[str, float] | None = None,
    volts: float | None = None,
    duty: Mapping[str, float] | None = None,
) -> Solution:
    """Return the power and currents of a network with every relay closed.

    Parameters
    ----------
    net : the kiln as wired.
    fault : one thing broken, or None.
    factors : resistance over as-new, by circuit name (ageing); 1 where absent.
    volts : supply volts if not the nameplate's.
    duty : share of time each zone's relays are closed, by zone name. Scales the power of a zone only, which is
        exact unless zones share a floating star point.
    """
    scale = 1.0 if volts is None or not net.kiln.volts else volts / net.kiln.volts
    sources = {name: v * scale for name, v in net.sources if not (fault and fault.line == name)}
    conductance = _conductances(net, fault, factors or {})
    voltage = _node_voltages(net, conductance, sources)
    across = np.array([voltage[e.start] - voltage[e.end] for e in net.elements])
    current = across * conductance
    watts = np.abs(across) ** 2 * conductance
    line_a = dict.fromkeys((name for name, _ in net.sources), 0j)
    for element, amp in zip(net.elements, current, strict=True):
        for node, sign in ((element.start, 1.0), (element.end, -1.0)):
            if node in line_a:
                line_a[node] += sign * complex(amp)
    circuit_w = [0.0] * len(net.circuits)
    for element, watt in zip(net.elements, watts, strict=True):
        circuit_w[element.circuit] += float(watt) * (duty or {}).get(net.circuits[element.circuit].zone or "", 1.0)
    zone_w: dict[str, float] = {}
    for circuit, watt in zip(net.circuits, circuit_w, strict=True):
        for zone, share in zones_heated(net.kiln, circuit).items():
            zone_w[zone] = zone_w.get(zone, 0.0) + watt * share
    return Solution(
        tuple(float(w) for w in watts), tuple(circuit_w), zone_w, {name: abs(a) for name, a in line_a.items()}
    )


def zones_heated(kiln: Kiln, circuit: Circuit) -> dict[str, float]:
    """Return the zones a circuit heats with the share of its power: its own, or all alike if none is named."""
    if circuit.zone is not None:
        return {circuit.zone: 1.0}
    zones = kiln.zones or ("",)
    return dict.fromkeys(zones, 1.0 / len(zones))


def _conductances(net: Network, fault: Fault | None, factors: Mapping[str, float]) -> NDArray[np.float64]:
    """Return each element's conductance in siemens, 0 where the fault opens it."""
    out = np.zeros(len(net.elements))
    place = dict.fromkeys(range(len(net.circuits)), 0)
    for i, element in enumerate(net.elements):
        circuit = net.circuits[element.circuit]
        within = place[element.circuit]
        place[element.circuit] += 1
        hit = fault is not None and fault.opens(circuit, within)
        out[i] = 0.0 if hit else 1.0 / (element.ohm * factors.get(circuit.name, 1.0))
    return out


def _node_voltages(
    net: Network, conductance: NDArray[np.float64], sources: Mapping[str, complex]
) -> dict[str, complex]:
    """Solve Kirchhoff's current law for the nodes that no source holds; a node nothing feeds is left at 0 V."""
    nodes = sorted({n for e in net.elements for n in (e.start, e.end)})
    free = {n: i for i, n in enumerate(n for n in nodes if n not in sources)}
    voltage = {n: sources.get(n, 0j) for n in nodes}
    if not free:
        return voltage
    matrix = np.zeros((len(free), len(free)), dtype=np.complex128)
    right = np.zeros(len(free), dtype=np.complex128)
    for element, g in zip(net.elements, conductance, strict=True):
        for near, far in ((element.start, element.end), (element.end, element.start)):
            if near not in free:
                continue
            matrix[free[near], free[near]] += g
            if far in free:
                matrix[free[near], free[far]] -= g
            else:
                right[free[near]] += g * sources[far]
    # A node cut off from every source makes the matrix singular; the least-norm solution puts its island at one
    # potential, so that no current flows in it, which is what happens.
    solved = np.linalg.lstsq(matrix, right, rcond=None)[0]
    voltage.update({n: complex(solved[i]) for n, i in free.items()})
    return voltage


def single_faults(net: Network) -> tuple[Fault, ...]:
    """Return every single fault worth telling apart: each circuit open, each element open, each supply line lost.

    And every zone of several circuits dead as a whole, as one relay may switch them all. An open element in a series
    string or alone in its circuit is the same to the supply as an open circuit and is listed under both names: what is
    found at the terminals differs.
    """
    faults: list[Fault] = []
    for circuit in net.circuits:
        faults.append(Fault(OPEN_CIRCUIT, circuit=circuit.name))
        faults.extend(Fault(OPEN_ELEMENT, circuit=circuit.name, element=i) for i in range(circuit.elements))
    zones = [circuit.zone for circuit in net.circuits]
    if len(set(zones)) > 1:
        several = sorted({zone for zone in zones if zone is not None and zones.count(zone) > 1})
        faults.extend(Fault(OPEN_CIRCUIT, zone=zone) for zone in several)
    if len(net.sources) >= len(LINES):
        faults.extend(Fault(LOST_LINE, line=name) for name in LINES)
    return tuple(faults)


def shown_ohm(value: float | None) -> str:
    """Return ohms as a meter shows them: three figures, ``open`` for no connection, ``?`` where not known."""
    if value is None:
        return "?"
    if isinf(value):
        return "open"
    return f"{value:.1f} Ω" if value >= 10.0 else f"{value:.2f} Ω"

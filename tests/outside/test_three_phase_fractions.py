"""The network against published fractions of power left, and against a general circuit simulator.

Sources: a heater supplier's sheet "Open Delta W = 2/3, Open Wye W = 1/2, Open 4-wire Wye W = 2/3"; the other rows
are Kirchhoff's laws worked by hand for identical resistors.
"""

import math
import re
import shutil
import subprocess

import pytest

from analysis.circuits import Fault, Network, network, solve
from config.kiln import Circuit, Kiln

PAIRS = ("L1-L2", "L2-L3", "L3-L1")
LEGS = ("L1-N", "L2-N", "L3-N")


def three_phase(supply, lines, *, elements=1, wiring="parallel", ohms=(20.0, 20.0, 20.0)):
    circuits = tuple(
        Circuit(f"c{i}", f"z{i}", elements, wiring, (ohm,) * elements, line)
        for i, (line, ohm) in enumerate(zip(lines, ohms, strict=True))
    )
    kiln = Kiln("k", volts=400.0, supply=supply, zones=("z0", "z1", "z2"), circuits=circuits)
    net = network(kiln)
    assert net is not None
    return net


def left(net, *faults):
    return solve(net, *faults).total_w / solve(net).total_w


DELTA = three_phase("three-phase delta", PAIRS)
WYE = three_phase("three-phase wye", LEGS)
WYE_N = three_phase("three-phase wye with neutral", LEGS)


@pytest.mark.parametrize(
    ("net", "fault", "fraction"),
    [
        (DELTA, Fault("open element", "c0", 0), 2 / 3),  # heater supplier sheet: open delta 2/3
        (WYE, Fault("open element", "c0", 0), 1 / 2),  # the same: open wye 1/2
        (WYE_N, Fault("open element", "c0", 0), 2 / 3),  # the same: open four-wire wye 2/3
        (DELTA, Fault("lost line", line="L1"), 1 / 2),  # by hand: one full, two in series at a quarter each
        (WYE, Fault("lost line", line="L1"), 1 / 2),
        (WYE_N, Fault("lost line", line="L1"), 2 / 3),
        (three_phase("three-phase wye", LEGS, elements=2), Fault("open element", "c0", 1), 0.8),
        (three_phase("three-phase delta", PAIRS, elements=2), Fault("open element", "c0", 1), 5 / 6),
    ],
)
def test_power_left_is_the_published_fraction(net, fault, fraction):
    assert left(net, fault) == pytest.approx(fraction, rel=1e-9)


def test_the_survivor_of_a_wye_leg_runs_at_1_44_times_its_power():
    net = three_phase("three-phase wye", LEGS, elements=2)
    broken = solve(net, Fault("open element", "c0", 1))
    assert broken.element_w[0] / solve(net).element_w[0] == pytest.approx(1.44)
    assert broken.element_w[2] / solve(net).element_w[2] == pytest.approx(0.84)


def test_line_current_of_a_delta_is_root_three_of_the_element_current():
    amps = solve(DELTA).line_a
    assert amps["L1"] == pytest.approx(math.sqrt(3) * 400 / 20)
    opened = solve(DELTA, Fault("open element", "c0", 0)).line_a
    assert sorted(a / 20 for a in opened.values()) == pytest.approx([1.0, 1.0, math.sqrt(3)])


def test_a_balanced_load_draws_power_over_root_three_volts():
    # Line current I = P / (sqrt 3 V), heater sheets. An 11.5 kW kiln draws 16.6 A a line at 400 V.
    ohm = 3 * 400.0**2 / 11500.0
    amps = solve(three_phase("three-phase delta", PAIRS, ohms=(ohm,) * 3)).line_a
    assert amps["L2"] == pytest.approx(16.6, abs=0.05)


def test_208_volts_on_a_240_volt_load_leaves_three_quarters():
    kiln = Kiln("k", volts=240.0, circuits=(Circuit("a", element_ohm=(240.0**2 / 5500.0,)),))
    net = network(kiln)
    assert net is not None
    assert solve(net).total_w == pytest.approx(5500.0)
    # A supplier's text: a 240 V 5500 W heater gives 4131 W on 208 V.
    assert solve(net, volts=208.0).total_w == pytest.approx(4131.0, abs=1.0)


@pytest.mark.parametrize(("volts", "amps"), [(240.0, 47.9), (208.0, 55.3)])
def test_an_11_5_kw_kiln_on_one_phase_draws_what_the_sheets_say(volts, amps):
    # I = P / V: 48 A at 240 V is a nameplate's 11.52 kW; 47.9 and 55.3 A are worked from 11.5 kW.
    kiln = Kiln("k", volts=volts, circuits=(Circuit("a", element_ohm=(volts**2 / 11500.0,)),))
    net = network(kiln)
    assert net is not None
    assert max(solve(net).line_a.values()) == pytest.approx(amps, abs=0.05)


def test_one_maker_s_pairs_for_three_voltages_give_the_same_watts():
    # A kiln maker's page: a measured pair of elements is 20.8 ohm for 240 V, 17.6 for 220 V, 15.6 for 208 V.
    watts = []
    for volts, pair in ((240.0, 20.8), (220.0, 17.6), (208.0, 15.6)):
        circuit = Circuit("a", elements=2, wiring="parallel", element_ohm=(2 * pair, 2 * pair))
        net = network(Kiln("k", volts=volts, circuits=(circuit,)))
        assert net is not None
        watts.append(solve(net).total_w)
    assert max(watts) / min(watts) < 1.01


# Against ngspice.

SPICE = shutil.which("ngspice")


def netlist(net: Network, fault: Fault | None) -> str:
    """Write the network as a netlist for an .ac run at 50 Hz; opened parts become 1e12 ohm."""
    lines = ["kiln"]
    for name, volt in net.sources:
        if fault and fault.line == name:
            continue
        size, angle = abs(volt), math.degrees(math.atan2(volt.imag, volt.real))
        lines.append(f"V{name} {name} 0 DC 0 AC {size!r} {angle!r}")
    place: dict[int, int] = {}
    for i, element in enumerate(net.elements):
        within = place.get(element.circuit, 0)
        place[element.circuit] = within + 1
        name = net.circuits[element.circuit].name
        hit = fault and fault.circuit == name and fault.element in (None, within)
        start, end = (n.replace(":", "_") for n in (element.start, element.end))
        lines.append(f"R{i} {start} {end} {1e12 if hit else element.ohm!r}")
    nodes = sorted({n.replace(":", "_") for e in net.elements for n in (e.start, e.end)})
    lines += [f"RG{n} {n} 0 1e12" for n in nodes]  # a leak, so that no node floats
    lines += [".ac lin 1 50 50", ".control", "run", "set numdgt=9"]
    lines += [f"print mag({'v(' + n.lower() + ')'}) ph(v({n.lower()}))" for n in nodes]
    lines += [".endc", ".end"]
    return "\n".join(lines) + "\n"


def spice(text: str) -> dict[str, float]:
    run = subprocess.run([SPICE, "-b"], input=text, capture_output=True, text=True, timeout=30, check=False)
    found = re.findall(r"^(mag|ph)\((\S+?)\) = (\S+)", run.stdout, re.MULTILINE)
    return {f"{kind} {what}": float(value) for kind, what, value in found}


def spice_watts(net: Network, fault: Fault | None) -> float:
    out = spice(netlist(net, fault))

    def volt(node: str) -> complex:
        key = "v(" + node.lower().replace(":", "_") + ")"
        return out[f"mag {key}"] * complex(math.cos(out[f"ph {key}"]), math.sin(out[f"ph {key}"]))

    total, place = 0.0, {}
    for element in net.elements:
        within = place.get(element.circuit, 0)
        place[element.circuit] = within + 1
        name = net.circuits[element.circuit].name
        if fault and fault.circuit == name and fault.element in (None, within):
            continue
        total += abs(volt(element.start) - volt(element.end)) ** 2 / element.ohm
    return total


UNEQUAL = (18.3, 22.9, 27.1)


@pytest.mark.skipif(SPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize(
    ("supply", "lines", "elements", "wiring"),
    [
        ("three-phase delta", PAIRS, 1, "parallel"),
        ("three-phase delta", PAIRS, 3, "series"),
        ("three-phase wye", LEGS, 2, "parallel"),
        ("three-phase wye with neutral", LEGS, 2, "series"),
    ],
)
@pytest.mark.parametrize(
    "fault", [None, Fault("open element", "c1", 0), Fault("open circuit", "c2"), Fault("lost line", line="L2")]
)
def test_power_equals_that_of_a_general_circuit_simulator(supply, lines, elements, wiring, fault):
    net = three_phase(supply, lines, elements=elements, wiring=wiring, ohms=UNEQUAL)
    assert solve(net, fault).total_w == pytest.approx(spice_watts(net, fault), rel=1e-5)

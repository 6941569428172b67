"""The network of kilns in the register: what a meter and a clamp would read."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.circuit_faults import fault_odds, fault_steps
from analysis.circuits import (
    HOT_OVER_COLD,
    Fault,
    circuit_ohm,
    element_ohms,
    network,
    shown_ohm,
    single_faults,
    solve,
)
from analysis.measures import Estimate
from config.kiln import Circuit, Kiln


def kiln(*circuits, **facts):
    zones = tuple(dict.fromkeys(c.zone for c in circuits if c.zone))
    return Kiln("heron", zones=zones, circuits=circuits, **{"volts": 240.0, "supply": "single-phase", **facts})


PAIR = Circuit("top", "top", 2, "parallel", (27.4,))
STRING = Circuit("bottom", "bottom", 2, "series", (6.0, 7.0))


def test_a_parallel_pair_reads_half_and_the_whole_of_one_when_one_is_open():
    k = kiln(PAIR)
    assert circuit_ohm(k, PAIR) == pytest.approx(13.7)
    assert circuit_ohm(k, PAIR, open_element=0) == pytest.approx(27.4)


def test_a_series_string_reads_the_sum_and_nothing_when_one_is_open():
    k = kiln(STRING)
    assert circuit_ohm(k, STRING) == pytest.approx(13.0)
    assert circuit_ohm(k, STRING, open_element=1) == math.inf
    assert shown_ohm(circuit_ohm(k, STRING, open_element=1)) == "open"


def test_ageing_multiplies_ohms_and_divides_power():
    k = kiln(PAIR)
    assert circuit_ohm(k, PAIR, 1.1) == pytest.approx(15.07)
    net = network(k)
    ratio = solve(net, factors={"top": 1.1}).total_w / solve(net).total_w
    assert ratio == pytest.approx(1 / 1.1)  # 10 % more resistance leaves 90.9 % (Ohm's law)


def test_missing_ohms_are_worked_out_from_the_rated_power():
    k = kiln(Circuit("a", "top", 2), Circuit("b", "bottom", 1), rated_kw=9.0)
    net = network(k)
    assert "rated power" in net.assumed[0]
    assert solve(net).zone_w["top"] == pytest.approx(2 * solve(net).zone_w["bottom"])
    assert solve(net).total_w == pytest.approx(9000.0 * HOT_OVER_COLD)


def test_without_circuits_there_is_no_network_and_no_made_up_number():
    assert network(Kiln("thrift", volts=230.0)) is None
    assert element_ohms(Kiln("thrift"), PAIR) == (27.4, 27.4)
    assert shown_ohm(None) == "?"


def test_a_dead_zone_is_told_by_zone_power():
    net = network(kiln(PAIR, STRING))
    left = solve(net, Fault("open circuit", circuit="top"))
    assert left.zone_w["top"] == 0.0
    assert left.zone_w["bottom"] == pytest.approx(solve(net).zone_w["bottom"])


def test_one_relay_may_take_every_circuit_of_its_zone():
    upper = Circuit("upper", "top", 2, "parallel", (27.4,))
    net = network(kiln(PAIR, upper, STRING))
    assert (PAIR.zone, STRING.zone) == ("top", "bottom")
    whole = [f for f in single_faults(net) if f.zone is not None]
    assert [(f.kind, f.zone, f.circuit) for f in whole] == [("open circuit", "top", None)]
    left = solve(net, whole[0])
    assert left.zone_w["top"] == 0.0
    assert left.zone_w["bottom"] == pytest.approx(solve(net).zone_w["bottom"])


def test_a_zone_of_one_circuit_and_a_kiln_of_one_zone_have_no_fault_of_that_kind():
    assert not [f for f in single_faults(network(kiln(PAIR, STRING))) if f.zone is not None]
    other = Circuit("other", PAIR.zone, 2, "parallel", (27.4,))
    assert not [f for f in single_faults(network(kiln(PAIR, other))) if f.zone is not None]


@given(
    ohms=st.lists(st.floats(5.0, 60.0), min_size=3, max_size=3),
    supply=st.sampled_from(["three-phase delta", "three-phase wye", "three-phase wye with neutral"]),
)
def test_no_single_fault_ever_raises_the_whole_power(ohms, supply):
    lines = ("L1-L2", "L2-L3", "L3-L1") if supply.endswith("delta") else ("L1-N", "L2-N", "L3-N")
    k = kiln(
        *(
            Circuit(str(i), str(i), 2, "parallel", (r,), line)
            for i, (r, line) in enumerate(zip(ohms, lines, strict=True))
        ),
        volts=400.0,
        supply=supply,
    )
    net = network(k)
    healthy = solve(net)
    assert sum(healthy.element_w) == pytest.approx(healthy.total_w)
    for fault in single_faults(net):
        assert solve(net, fault).total_w <= healthy.total_w * (1 + 1e-9)


@given(volts=st.floats(190.0, 260.0))
def test_power_follows_the_square_of_the_volts(volts):
    net = network(kiln(PAIR, STRING))
    assert solve(net, volts=volts).total_w / solve(net).total_w == pytest.approx((volts / 240.0) ** 2)


@pytest.fixture
def three_zones():
    return kiln(
        Circuit("t", "top", 2, "parallel", (27.4,)),
        Circuit("m", "middle", 2, "parallel", (36.0,)),
        Circuit("b", "bottom", 2, "parallel", (27.4,)),
    )


@pytest.mark.parametrize(
    ("total", "zones", "kind", "circuit"),
    [
        (0.82, (0.5, 1.0, 1.0), "open element", "t"),
        (0.62, (0.05, 1.0, 1.0), "open circuit", "t"),
        (0.73, (1.0, 0.1, 1.0), "open circuit", "m"),
        (0.86, (1.0, 0.52, 0.98), "open element", "m"),
    ],
)
def test_a_measured_step_names_its_fault(three_zones, total, zones, kind, circuit):
    odds = fault_odds(
        fault_steps(three_zones),
        Estimate(math.log(total), 0.03),
        [Estimate(math.log(z), 0.08) for z in zones],
    )
    assert sum(o.probability for o in odds) == pytest.approx(1.0)
    named = sum(o.probability for o in odds if (o.step.fault.kind, o.step.circuit) == (kind, circuit))
    assert named > 0.85


def test_the_whole_step_alone_leaves_like_circuits_alike(three_zones):
    odds = fault_odds(fault_steps(three_zones), Estimate(math.log(0.62), 0.03))
    dead = {o.step.circuit: o.probability for o in odds if o.step.fault.kind == "open circuit"}
    assert dead["t"] == pytest.approx(dead["b"])


def test_half_the_power_of_a_one_zone_delta_is_a_lost_line_not_an_open_element():
    sides = tuple(Circuit(n, "all", 1, "parallel", (30.0,), n) for n in ("L1-L2", "L2-L3", "L3-L1"))
    k = kiln(*sides, volts=208.0, supply="three-phase delta")
    odds = fault_odds(fault_steps(k), Estimate(math.log(0.5), 0.03))
    assert sum(o.probability for o in odds if o.step.fault.kind == "lost line") > 0.9
    odds = fault_odds(fault_steps(k), Estimate(math.log(2 / 3), 0.03))
    assert odds[0].step.fault.kind == "open circuit"
    assert sum(o.probability for o in odds if o.step.fault.kind == "lost line") < 0.1


@pytest.mark.parametrize(("elements", "wiring"), [(2, "series"), (1, "parallel")])
def test_a_dead_string_may_be_a_broken_element_of_it_as_well_as_its_relay(elements, wiring):
    """The supply cannot tell; the terminals can. Side by side an element takes only its own share."""
    pair = Circuit("t", "top", 2, "parallel", (30.0,))
    k = kiln(pair, Circuit("m", "middle", elements, wiring, (8.0,)))
    odds = fault_odds(fault_steps(k), None, [Estimate(0.0, 0.05), Estimate(math.log(0.05), 0.05)])
    by_kind = {
        kind: sum(o.probability for o in odds if o.step.fault.kind == kind) for kind in ("open circuit", "open element")
    }
    assert {o.step.circuit for o in odds if o.probability > 0.1} == {"m"}
    assert by_kind["open circuit"] > by_kind["open element"] > 0.2

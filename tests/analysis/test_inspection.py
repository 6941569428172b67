"""What the visiting technician is told to measure and bring."""

import math

import pytest

from analysis.condition import Balance, Condition, Step
from analysis.findings import Finding
from analysis.inspection import ageing_by_circuit, inspect
from analysis.measures import Estimate
from config.kiln import Circuit, Kiln

JUNIPER = Kiln(
    "juniper",
    volts=240.0,
    supply="single-phase",
    rated_kw=12.0,
    thermocouple="K",
    zones=("top", "middle", "bottom"),
    circuits=(
        Circuit("c1", "top", 2, "parallel", (27.4,)),
        Circuit("c2", "middle", 2, "parallel", (36.0,)),
        Circuit("c3", "bottom", 2, "series", (6.8,)),
    ),
)
SIDES = ("L1-L2", "L2-L3", "L3-L1")
HERON = Kiln(
    "heron",
    volts=208.0,
    supply="three-phase delta",
    zones=("all",),
    circuits=tuple(Circuit(n, "all", 1, "parallel", (30.0,), n) for n in SIDES),
)


def condition(level=0.0, zones=(None, None, None), step=None):
    return Condition(
        20,
        "nameplate",
        8,
        "duty",
        Estimate(level, 0.01),
        Estimate(-0.001, 0.0005),
        zones,
        None,
        None,
        Balance(),
        step,
    )


def cases(measurement):
    return {e.case: e for e in measurement.expected}


def test_an_aged_set_starts_with_the_cold_ohms_of_each_circuit():
    sheet = inspect(JUNIPER, condition(math.log(0.88)), [Finding("element_ageing", "warning", 0.9)])
    first = sheet.measurements[:3]
    assert [m.key for m in first] == ["circuit c1", "circuit c2", "circuit c3"]
    aged = cases(first[0])["aged as estimated"]
    assert aged.value == pytest.approx(13.7 / 0.88)
    assert aged.cause == "element_ageing"
    assert next(p for p in sheet.parts if p.part == "elements").count == 6


def test_an_open_element_in_a_pair_is_expected_to_double_the_ohms_of_its_circuit():
    finding = Finding("open_element", "warning", 0.8, zone="middle", circuit="c2")
    sheet = inspect(JUNIPER, condition(), [finding])
    assert sheet.measurements[0].key == "circuit c2"
    assert cases(sheet.measurements[0])["one element open"].value == pytest.approx(36.0)
    assert cases(sheet.measurements[0])["as new"].value == pytest.approx(18.0)


def test_a_dead_relay_leaves_the_circuit_reading_whole():
    sheet = inspect(JUNIPER, condition(), [Finding("open_circuit", "urgent", 0.8, zone="top", circuit="c1")])
    first = cases(sheet.measurements[0])
    assert first["relay or its wiring dead, circuit itself whole"].value == pytest.approx(13.7)
    assert first["all elements or a lead open"].shown == "open (no reading)"
    assert "relay" in {p.part for p in sheet.parts}


def test_a_lost_line_of_a_delta_kiln_starts_at_the_fuses_and_gives_the_currents_to_expect():
    sheet = inspect(HERON, condition(zones=(None,)), [Finding("lost_phase", "urgent", 0.9)])
    assert sheet.measurements[0].key == "supply fuses"
    amps = cases(next(m for m in sheet.measurements if m.quantity == "amp" and m.key == "L1"))
    assert amps["as new"].value == pytest.approx(math.sqrt(3) * 208 / 30 / 1.04)
    assert amps["line L1 lost"].shown == "no current"


def test_everything_dead_comes_before_anything_live():
    sheet = inspect(JUNIPER, condition(), [Finding("low_supply", "warning", 0.8), Finding("open_element", "info", 0.3)])
    live = [m.live for m in sheet.measurements]
    assert live == sorted(live)
    assert any(live)
    assert [m.order for m in sheet.measurements] == list(range(1, len(live) + 1))


def test_no_measurement_is_asked_for_twice():
    findings = [Finding("open_element", "warning", 0.5, zone="top"), Finding("element_ageing", "warning", 0.4)]
    keys = [(m.quantity, m.key) for m in inspect(JUNIPER, condition(), findings).measurements]
    assert len(keys) == len(set(keys))


def test_a_sudden_loss_is_not_read_as_ageing_of_the_other_circuits():
    step = Step(19, None, 0.95, Estimate(math.log(0.7), 0.02))
    aged = ageing_by_circuit(JUNIPER, condition(math.log(0.7 * 0.95), step=step))
    assert aged["c2"] == pytest.approx(1 / 0.95, rel=1e-6)


def test_a_zone_s_own_level_counts_for_its_circuits():
    aged = ageing_by_circuit(JUNIPER, condition(math.log(0.95), zones=(Estimate(math.log(0.9), 0.02), None, None)))
    assert aged["c1"] == pytest.approx(1 / 0.9)
    assert aged["c3"] == pytest.approx(1 / 0.95)


def test_a_register_with_an_id_only_still_gives_looks_and_says_what_is_missing():
    sheet = inspect(Kiln("thrift"), None, [Finding("open_element", "warning", 0.6)])
    assert sheet.measurements
    assert "no circuits" in sheet.notes[0]
    assert sheet.parts[0].count == 1


@pytest.mark.parametrize(
    ("cause", "key", "part"),
    [
        ("welded_contact", "relay zone top", "relay"),
        ("thermocouple_fault", "thermocouple zone top", "thermocouple"),
        ("thermocouple_drift", "thermocouple zone top beside", "thermocouple"),
        ("loose_connection", "terminals", "wiring"),
        ("heat_leak", "lid", "brickwork"),
    ],
)
def test_each_cause_has_its_deciding_first_look_and_its_part(cause, key, part):
    sheet = inspect(JUNIPER, condition(), [Finding(cause, "warning", 0.8, zone="top")])
    assert sheet.measurements[0].key == key
    assert sheet.parts[0].part == part


def test_volts_are_asked_for_first_where_the_supply_is_suspected():
    sheet = inspect(JUNIPER, condition(), [Finding("low_supply", "warning", 0.9)])
    live = [m for m in sheet.measurements if m.live]
    assert live[0].quantity == "volt"
    assert not sheet.parts


def test_a_dead_circuit_and_an_element_broken_in_it_ask_for_the_same_elements_once():
    causes = [
        Finding("open_circuit", "warning", 0.55, zone="bottom", circuit="c3"),
        Finding("open_element", "warning", 0.44, zone="bottom", circuit="c3"),
    ]
    parts = inspect(JUNIPER, condition(), causes).parts
    assert [(part.part, part.count) for part in parts if part.part == "element"] == [("element", 2)]
    assert {"relay", "fuse"} <= {part.part for part in parts}

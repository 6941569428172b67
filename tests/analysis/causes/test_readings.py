"""Readings by hand change the odds of the causes they speak of, and of no other."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.causes.readings import MOST, place_of, with_readings
from analysis.condition import Balance, Condition
from analysis.findings import Finding
from analysis.inspection import inspect
from analysis.measures import Estimate
from config.kiln import Circuit, Kiln
from config.logbook import OPEN_OHM, LogbookEntry

KILN = Kiln(
    "juniper",
    volts=240.0,
    supply="single-phase",
    zones=("top", "bottom"),
    circuits=tuple(Circuit(z, z, 2, "parallel", (27.4, 27.4)) for z in ("top", "bottom")),
)
WORN = Estimate(-0.139, 0.01)  # 87 % of new power: 15.7 ohm instead of 13.7
CONDITION = Condition(9, "nameplate", 8, "duty", WORN, None, (WORN, WORN), WORN, None, Balance(), None)
AGEING = Finding("element_ageing", "warning", 0.6)
SUPPLY = Finding("low_supply", "warning", 0.3)
BROKEN = Finding("open_element", "warning", 0.5, zone="top", circuit="top")


def read(value: float, where: str = "circuit top", quantity: str = "ohm") -> LogbookEntry:
    return LogbookEntry(
        "juniper", datetime(2026, 4, 6, tzinfo=UTC), "measured", quantity=quantity, value=value, where=where
    )


def odds(findings, cause: str) -> float:
    return next(f.probability for f in findings if f.cause == cause)


def test_ohms_up_by_what_was_lost_make_wear_likelier_and_a_weak_supply_less_so():
    after = with_readings(KILN, CONDITION, (AGEING, SUPPLY), [read(15.7)])
    assert odds(after, "element_ageing") > 0.8
    assert odds(after, "low_supply") < 0.15


def test_ohms_as_new_make_wear_less_likely_and_a_weak_supply_more_so():
    after = with_readings(KILN, CONDITION, (AGEING, SUPPLY), [read(13.7)])
    assert odds(after, "element_ageing") < 0.3
    assert odds(after, "low_supply") > 0.5


def test_twice_the_ohms_prove_a_broken_element_of_that_circuit():
    after = with_readings(KILN, None, (BROKEN,), [read(27.5)])
    assert odds(after, "open_element") > 0.9
    assert after[0].evidence[-1].supports
    assert "one element open would read 27.4 Ω" in after[0].evidence[-1].text


def test_a_sound_reading_of_the_suspected_circuit_speaks_against_a_broken_element():
    after = with_readings(KILN, None, (BROKEN,), [read(13.8)])
    assert odds(after, "open_element") < 0.1
    assert not after[0].evidence[-1].supports


def test_a_sound_reading_of_another_circuit_says_nothing_of_the_suspected_one():
    assert with_readings(KILN, None, (BROKEN,), [read(13.8, "circuit bottom")]) == (BROKEN,)


def test_low_volts_at_full_output_make_the_supply_likelier():
    after = with_readings(KILN, CONDITION, (SUPPLY,), [read(217.0, "L1-L2", "volt")])
    assert odds(after, "low_supply") > 0.3


def test_readings_of_other_places_and_other_entries_change_nothing():
    note = LogbookEntry("juniper", datetime(2026, 4, 6, tzinfo=UTC), "note", note="x")
    assert with_readings(KILN, CONDITION, (AGEING,), [note, read(13.7, "the plug")]) == (AGEING,)
    assert with_readings(KILN, CONDITION, (), [read(13.7)]) == ()


def test_a_cause_that_a_meter_cannot_see_is_left_alone():
    leak = Finding("heat_leak", "warning", 0.5)
    assert with_readings(KILN, CONDITION, (leak,), [read(13.7)]) == (leak,)


def test_a_place_is_found_by_its_circuit_as_well_as_by_its_words():
    steps = inspect(KILN, CONDITION, (AGEING,)).measurements
    by_circuit = replace(read(13.7, "the box"), circuit="top")
    assert place_of(by_circuit, steps) is place_of(read(13.7, "Circuit TOP"), steps)
    assert place_of(by_circuit, steps) is not None


@pytest.mark.parametrize("finding", [AGEING, SUPPLY, BROKEN])
@given(value=st.floats(0.05, 1e6))
@example(value=27.4)
@example(value=15.74)
def test_no_single_reading_makes_anything_certain_or_impossible(finding, value):
    (after,) = with_readings(KILN, CONDITION, (finding,), [read(value)])
    before = finding.probability / (1 - finding.probability)
    now = after.probability / (1 - after.probability)
    assert before / MOST * 0.999 <= now <= before * MOST * 1.001


def test_another_circuit_named_by_a_number_the_zone_also_has_says_nothing_of_the_suspected_one():
    circuits = tuple(Circuit(name, "1", 2, "parallel", (27.4, 27.4)) for name in ("1", "2"))
    kiln = replace(KILN, zones=("1",), circuits=circuits)
    broken = replace(BROKEN, zone="1", circuit="1")
    assert with_readings(kiln, None, (broken,), [read(13.8, "circuit 2")]) == (broken,)
    assert odds(with_readings(kiln, None, (broken,), [read(13.8, "circuit 1")]), "open_element") < 0.1


def test_an_open_reading_proves_a_dead_circuit_and_not_one_broken_element_of_a_pair():
    dead = replace(BROKEN, cause="open_circuit", probability=0.4)
    after = with_readings(KILN, None, (BROKEN, dead), [read(OPEN_OHM)])
    assert odds(after, "open_circuit") > 0.9
    assert odds(after, "open_element") < 0.1
    assert after[1].evidence[-1].text.startswith("Open was read at circuit top")

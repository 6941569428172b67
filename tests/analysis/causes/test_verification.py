"""What is said of a repair by the first firings after it."""

from dataclasses import replace
from math import log

from analysis.causes.memory import CausesMemory, Repair
from analysis.climb import Estimate
from analysis.verification import FULL, proved, verification


def after_repair(make_case, *, firings: int, known: bool, memory: CausesMemory | None = None):
    memory = memory or CausesMemory(repair=Repair(20, "relay"))
    case = make_case(index=20 + firings, memory=memory)
    if not known:
        case = replace(case, condition=replace(case.condition, power=None))
    return case, memory


def test_a_firing_without_full_output_asks_for_the_verification_firing(make_case):
    case, memory = after_repair(make_case, firings=0, known=False)
    said = verification(case, memory, ())
    assert said is not None
    assert "not enough full output" in said
    assert proved(memory, said) == memory


def test_once_full_power_is_proved_a_later_firing_does_not_ask_again(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    said = verification(case, memory, ())
    assert said is not None
    assert said.startswith("All circuits give full power")
    memory = proved(memory, said)
    case, memory = after_repair(make_case, firings=1, known=False, memory=memory)
    said = verification(case, memory, ())
    assert said is not None
    assert "not enough" not in said
    assert "An earlier firing after the repair showed full power" in said


def test_a_new_repair_has_to_be_proved_again(make_case):
    case, _ = after_repair(make_case, firings=1, known=False)
    said = verification(case, CausesMemory(repair=Repair(21, "element")), ())
    assert said is not None
    assert "not enough full output" in said


def test_a_kiln_known_to_be_short_is_told_however_little_this_firing_shows(make_case):
    case, memory = after_repair(make_case, firings=1, known=False)
    short = replace(case, condition=replace(case.condition, level=Estimate(log(0.7), 0.08)))
    assert verification(short, memory, ()) == "The kiln still gives only 70 % of its power: recheck."


def test_a_zone_is_named_only_if_it_is_surely_short(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    zones = tuple(Estimate(0.0, 0.01) for _ in case.zones)
    noisy = replace(case, condition=replace(case.condition, zone_levels=(Estimate(-0.11, 0.045), *zones[1:])))
    assert verification(noisy, memory, ()) == FULL
    dead = replace(case, condition=replace(case.condition, zone_levels=(Estimate(log(0.66), 0.045), *zones[1:])))
    assert verification(dead, memory, ()) == f"Zone {case.zones[0]} still gives only 66 % of its power: recheck."


def test_a_new_set_that_is_compared_with_nothing_is_not_praised(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    unsure = replace(case.condition, reference="after repair", renewed=Estimate(-0.1, 0.15))
    assert "not enough full output" in (verification(replace(case, condition=unsure), memory, ()) or "")
    told = replace(unsure, renewed=Estimate(-0.01, 0.02))
    assert verification(replace(case, condition=told), memory, ()) == FULL

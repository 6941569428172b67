"""What is said of a repair by the first firings after it."""

from dataclasses import replace
from math import log

from analysis.causes.memory import CausesMemory, Repair
from analysis.climb import Estimate
from analysis.findings import Finding
from analysis.judgement import Verification
from analysis.verification import FULL, proved, verification, with_unproved
from config.kiln import Circuit, Kiln

SIX_ELEMENTS = Kiln(
    "juniper",
    volts=240.0,
    supply="single-phase",
    circuits=tuple(Circuit(name, None, 2, "parallel", (28.8,)) for name in ("a", "b", "c")),
)


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
    assert said.outcome == "not enough to tell"
    assert "not enough full output" in said.text
    assert proved(memory, said) == memory


def test_once_full_power_is_proved_a_later_firing_does_not_ask_again(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    said = verification(case, memory, ())
    assert said is not None
    assert said == FULL
    assert said.text.startswith("All circuits give full power")
    memory = proved(memory, said)
    case, memory = after_repair(make_case, firings=1, known=False, memory=memory)
    said = verification(case, memory, ())
    assert said is not None
    assert said.outcome == "nothing against it"
    assert "An earlier firing after the repair showed full power" in said.text


def test_a_new_repair_has_to_be_proved_again(make_case):
    case, _ = after_repair(make_case, firings=1, known=False)
    said = verification(case, CausesMemory(repair=Repair(21, "element")), ())
    assert said is not None
    assert said.outcome == "not enough to tell"
    assert "not enough full output" in said.text


def test_a_kiln_known_to_be_short_is_told_however_little_this_firing_shows(make_case):
    case, memory = after_repair(make_case, firings=1, known=False)
    short = replace(case, condition=replace(case.condition, level=Estimate(log(0.7), 0.08)))
    assert verification(short, memory, ()) == Verification(
        "short of power", "The kiln still gives only 70 % of its power: recheck."
    )


def test_a_zone_is_named_only_if_it_is_surely_short(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    zones = tuple(Estimate(0.0, 0.01) for _ in case.zones)
    noisy = replace(case, condition=replace(case.condition, zone_levels=(Estimate(-0.11, 0.045), *zones[1:])))
    assert verification(noisy, memory, ()) == FULL
    dead = replace(case, condition=replace(case.condition, zone_levels=(Estimate(log(0.66), 0.045), *zones[1:])))
    zone = case.zones[0]
    assert verification(dead, memory, ()) == Verification(
        "short of power", f"Zone {zone} still gives only 66 % of its power: recheck.", zone
    )


def test_full_output_that_falls_short_of_the_peak_is_never_called_full_power(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    stalled = replace(case, firing=replace(case.firing, end="stalled"))
    said = verification(stalled, memory, ())
    assert said is not None
    assert said.outcome == "not enough to tell"
    assert "shows no full power" in said.text
    unsure = replace(case.condition, level=Estimate(log(0.85), 0.12), level_high=log(1.05))
    weak = replace(stalled, condition=unsure)
    said = verification(weak, memory, ())
    assert said == Verification("short of power", "The kiln still gives only 85 % of its power: recheck.")
    assert [f.severity for f in with_unproved(weak, memory, (), said)] == ["warning"]
    assert verification(replace(case, condition=unsure), memory, ()) == FULL, "it reached its peak"


def test_a_zone_is_not_named_for_what_the_whole_kiln_lacks(make_case):
    """Volts too low weaken all zones, of which none is known well where no output is logged."""
    case, memory = after_repair(make_case, firings=0, known=True)
    zones = (Estimate(log(0.94), 0.08), Estimate(log(0.81), 0.09), Estimate(log(0.73), 0.11))
    condition = replace(case.condition, level=Estimate(log(0.83), 0.03), zone_levels=zones)
    said = verification(replace(case, condition=condition), memory, ())
    assert said == Verification("short of power", "The kiln still gives only 83 % of its power: recheck.")


def test_a_new_set_that_is_compared_with_nothing_is_not_praised(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    unsure = replace(case.condition, reference="after repair", renewed=Estimate(-0.1, 0.15))
    said = verification(replace(case, condition=unsure), memory, ())
    assert said is not None
    assert said.outcome == "not enough to tell"
    told = replace(unsure, renewed=Estimate(-0.01, 0.02))
    assert verification(replace(case, condition=told), memory, ()) == FULL


def short_of_power(make_case, left: float, **changes):
    case, memory = after_repair(make_case, **({"firings": 0, "known": False} | changes))
    level = Estimate(log(left), 0.02)
    return replace(case, condition=replace(case.condition, level=level, level_high=level.value + 0.03)), memory


def test_a_kiln_left_short_of_power_by_its_repair_is_a_warning_that_lasts_until_it_is_mended(make_case):
    case, memory = short_of_power(make_case, 0.7)
    said = verification(case, memory, ())
    (told,) = with_unproved(case, memory, (), said)
    assert told.severity == "warning"
    assert told.since_firing == 20
    assert "70 % of its power: recheck" in told.evidence[0].text
    memory = proved(memory, said)
    later, _ = short_of_power(make_case, 0.7, firings=9)
    assert with_unproved(later, memory, (), verification(later, memory, ()))
    mended, _ = after_repair(make_case, firings=9, known=True)
    assert verification(mended, memory, ()) == FULL
    assert verification(mended, proved(memory, FULL), ()) is None, "long past and proved"


def test_the_missing_share_says_whether_an_element_or_a_circuit_is_missing(make_case):
    case, memory = short_of_power(make_case, 0.7)
    wired = replace(case, kiln=SIX_ELEMENTS)
    for left, cause in ((4 / 6, "open_circuit"), (5 / 6, "open_element")):
        short = replace(
            wired, condition=replace(wired.condition, level=Estimate(log(left), 0.01), zone_levels=(), level_high=None)
        )
        (told,) = with_unproved(short, memory, (), verification(short, memory, ()))
        assert told.cause == cause


def test_zones_that_are_all_short_are_the_whole_kiln(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    short = Estimate(log(0.75), 0.03)
    condition = replace(case.condition, level=short, zone_levels=tuple(short for _ in case.zones))
    said = verification(replace(case, condition=condition), memory, ())
    assert said == Verification("short of power", "The kiln still gives only 75 % of its power: recheck.")


def test_new_elements_do_not_mend_a_poor_supply(make_case):
    """It was told before, and as much is missing as then: not the new elements are looked at once more."""
    case, _ = short_of_power(make_case, 0.8)
    for part, cause in (("elements", "low_supply"), ("wiring", "open_element")):
        memory = CausesMemory(repair=Repair(20, part, poor_volts=True))
        (told,) = with_unproved(case, memory, (), verification(case, memory, ()))
        assert told.cause == cause


def test_a_cause_found_already_needs_no_second_warning(make_case):
    case, memory = short_of_power(make_case, 0.7)
    found = (Finding("open_circuit", "warning", 0.9),)
    assert with_unproved(case, memory, found, verification(case, memory, found)) == found
    assert with_unproved(case, memory, (), FULL) == ()


def test_one_odd_firing_condemns_no_repair(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    odd = replace(case.condition, level=Estimate(log(0.97), 0.02), power=Estimate(log(0.51), 0.05))
    said = verification(replace(case, condition=odd), memory, ())
    assert said is not None
    assert said.outcome == "full power"


def test_a_repaired_supply_that_is_short_is_no_broken_element(make_case):
    case, _ = short_of_power(make_case, 0.7)
    memory = CausesMemory(repair=Repair(20, "supply"))
    assert with_unproved(case, memory, (), verification(case, memory, ())) == ()

"""Signs one firing shows by itself: welded contacts, loose connections, failing and drifting thermocouples."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.causes.memory import CausesMemory, Standing, Usual, ZoneMemory
from analysis.condition import Balance, Story
from analysis.current import TornCurrent
from analysis.measures import Estimate
from analysis.signs import FreeHeat, Runaway, Signs
from config.kiln import Kiln
from config.logbook import LogbookEntry

QUIET = Signs(
    swings=(2, 1, 2),
    behind_zones_c=(1.0, 1.0, 1.0),
    spikes=(0, 0, 0),
    dropouts=(0, 0, 0),
)


def middle_lost(size):
    return (Estimate(0.0, 0.03), Estimate(size, 0.03), Estimate(0.0, 0.03))


def find(findings, cause):
    return next((f for f in findings if f.cause == cause), None)


def test_heat_with_no_demand_is_a_welded_contact_and_urgent(make_case, run):
    signs = replace(QUIET, free_heat=FreeHeat(2, 60.0, 18.0, 45.0))
    found = find(run(make_case(signs=signs))[1], "welded_contact")
    assert (found.severity, found.zone) == ("urgent", "bottom")
    assert "{dc:60}" in found.evidence[0].text


def test_zones_left_behind_by_one_that_is_heated_unasked_have_lost_nothing(make_case, run):
    usual = ZoneMemory(share=Usual(8, 0.0, 0.01), full=Usual(8, 0.0, 0.01), behind=Usual(8, 1.0, 5.0))
    memory = CausesMemory(zones=(usual,) * 3)
    lagging = replace(QUIET, behind_zones_c=(70.0, 65.0, 0.0), swings=(12, 14, 19), dips_c=(20.0, 20.0, 40.0))
    facts = {"memory": memory, "basis": "none", "balance": Balance()}
    alone = run(*[make_case(index=20 + n, signs=lagging, **facts) for n in range(3)])[1]
    assert {f.cause for f in alone} & {"open_element", "open_circuit", "loose_connection"}
    ran = replace(lagging, free_heat=FreeHeat(2, 60.0, 18.0, 45.0))
    found = run(*[make_case(index=20 + n, signs=ran, **facts) for n in range(3)])[1]
    assert {f.cause for f in found} == {"welded_contact"}


def test_a_zone_that_ran_away_from_cold_has_a_welded_contact_and_is_urgent(make_case, run):
    ran = replace(QUIET, runaway=Runaway(2, 180.0))
    found = find(run(make_case(signs=ran, output="none"))[1], "welded_contact")
    assert (found.severity, found.zone) == ("urgent", "bottom")
    spiked = replace(ran, spikes=(0, 0, 12))
    assert find(run(make_case(signs=spiked, output="none"))[1], "welded_contact") is None


def test_a_relay_sampled_slowly_may_read_off_for_half_an_hour_while_it_pulses(make_case, run):
    for minutes, output, found in ((30.0, "on-off", False), (90.0, "on-off", True), (30.0, "duty", True)):
        signs = replace(QUIET, free_heat=FreeHeat(2, 60.0, minutes, None))
        assert (find(run(make_case(signs=signs, output=output))[1], "welded_contact") is not None) is found


def test_a_relay_that_seems_off_while_its_zone_climbs_evenly_beats_against_the_samples(make_case, run):
    """A closed contact gives less and less of a climb as the zone gets hotter; a controller an even one."""
    for even, output, found in ((True, "on-off", False), (False, "on-off", True), (True, "duty", True)):
        signs = replace(QUIET, free_heat=FreeHeat(2, 135.0, 90.0, None, even=even))
        assert (find(run(make_case(signs=signs, output=output))[1], "welded_contact") is not None) is found


def test_an_overshoot_of_a_few_degrees_is_no_welded_contact(make_case, run):
    signs = replace(QUIET, free_heat=FreeHeat(0, 9.0, 8.0, 7.0))
    assert find(run(make_case(signs=signs))[1], "welded_contact") is None


def test_a_welded_contact_stands_until_the_relay_is_replaced(make_case, run):
    first = make_case(signs=replace(QUIET, free_heat=FreeHeat(2, 60.0, 18.0, 45.0)))
    _, findings = run(first, make_case(index=21, signs=QUIET))
    assert find(findings, "welded_contact") is not None
    entry = LogbookEntry("heron", first.started, "replaced", "relay", zone="bottom")
    _, findings = run(first, make_case(index=21, signs=QUIET, entries=(entry,)))
    assert find(findings, "welded_contact") is None


def test_power_that_comes_and_goes_is_a_loose_connection_in_the_zone_that_does_it(make_case, run):
    found = find(run(make_case(signs=replace(QUIET, swings=(2, 19, 6))))[1], "loose_connection")
    assert (found.severity, found.zone) == ("warning", "middle")


def one_zone(make_case, **facts):
    kiln = Kiln("thrush", volts=240.0, supply="single-phase", rated_kw=6.0, zones=("all",))
    case = make_case(kiln=kiln, signs=Signs(swings=(2,), behind_zones_c=(0.0,), spikes=(0,), dropouts=(0,)), **facts)
    return replace(case, log=replace(case.log, amps=np.full((case.log.elapsed_s.size, 1), 20.0)))


def unasked(make_case, *shares):
    """Firings of a kiln of one zone in each of which such a share of its current flowed with nothing asked for."""
    return [one_zone(make_case, index=8 + at, unasked_current=share) for at, share in enumerate(shares)]


def test_current_that_flows_unasked_is_a_welded_contact_and_urgent(make_case, run):
    found = find(run(*unasked(make_case, 0.0, 0.01, 0.33))[1], "welded_contact")
    assert (found.severity, found.zone) == ("urgent", "all")
    assert "33 % of the kiln's full current" in found.evidence[0].text
    still = find(run(*unasked(make_case, 0.0, 0.01, *[0.33] * 15))[1], "welded_contact")
    assert still.probability > 0.99  # it does not become what is usual


def three_zones(make_case, *firings):
    """Five firings of a sound kiln of three zones with amps, then such ones: (zone that heated unasked, share, repair).

    The zone is None where none did, the share what part of the full current flowed unasked, and the repair the zone
    whose relay was replaced before the firing ("any": the entry names none).
    """
    cases = [make_case(index=at, signs=QUIET, unasked_current=0.0) for at in range(5)]
    for at, (zone, share, repaired) in enumerate(firings, start=5):
        signs = QUIET if zone is None else replace(QUIET, free_heat=FreeHeat(zone, 60.0, 60.0, 50.0))
        case = make_case(index=at, signs=signs, unasked_current=share)
        if repaired is not None:
            name = None if repaired == "any" else repaired
            case = replace(case, entries=(LogbookEntry("heron", case.started, "replaced", "relay", zone=name),))
        cases.append(case)
    return cases


HOT, FLOWS, SOUND = (0, 0.33, None), (None, 0.33, None), (None, 0.0, None)


def welded(findings):
    return [f for f in findings if f.cause == "welded_contact"]


def test_a_contact_seen_by_its_heat_and_then_only_by_its_current_is_one_and_stays_urgent(make_case, run):
    """It was "warning, not shown again" while a third of the full current flowed through it unasked."""
    for firings in ((HOT, FLOWS), (HOT, FLOWS, FLOWS, FLOWS)):
        (found,) = welded(run(*three_zones(make_case, *firings))[1])
        assert (found.severity, found.zone, found.since_firing) == ("urgent", "top", 5)
        said = [e.text for e in found.evidence]
        assert "33 % of the kiln's full current" in said[0]
        assert "pointed to zone top" in said[1]
        assert "the current alone does not tell the zone" in said[1]


def test_a_contact_seen_by_its_current_takes_its_zone_once_that_heats_on(make_case, run):
    (found,) = welded(run(*three_zones(make_case, FLOWS))[1])
    assert (found.severity, found.zone, len(found.evidence)) == ("urgent", None, 1)
    for heat in (HOT, (0, None, None)):  # its amps may be missing from the later log
        (found,) = welded(run(*three_zones(make_case, FLOWS, heat))[1])
        assert (found.severity, found.zone, found.since_firing) == ("urgent", "top", 5)


def test_the_current_of_this_firing_is_that_of_the_zone_that_heats_on_in_it(make_case, run):
    found = welded(run(*three_zones(make_case, HOT, (2, 0.33, None)))[1])
    now = next(f for f in found if f.zone == "bottom")
    assert now.severity == "urgent"
    assert not any("earlier firing" in e.text for e in now.evidence)


def test_of_two_contacts_that_stand_the_current_is_the_surer_one_s(make_case, run):
    sure, less = (
        Standing("welded_contact", "bottom", None, 4.0, 2, None),
        Standing("welded_contact", "top", None, 1.0, 1, None),
    )
    memory = CausesMemory(standing=(less, sure), unasked=Usual(5, 0.0, 0.0))
    found = welded(run(make_case(signs=QUIET, unasked_current=0.33, memory=memory))[1])
    assert [(f.zone, f.severity) for f in found if f.severity == "urgent"] == [("bottom", "urgent")]


def test_a_new_relay_in_its_zone_settles_a_contact_however_it_was_seen(make_case, run):
    for seen in ((HOT, FLOWS, FLOWS), (FLOWS, HOT), (FLOWS, FLOWS), (HOT,)):
        for zone in ("top", "any"):
            assert not welded(run(*three_zones(make_case, *seen, (None, 0.0, zone)))[1])
        assert welded(run(*three_zones(make_case, *seen, SOUND))[1])


def test_a_new_relay_in_another_zone_leaves_a_contact_whose_zone_is_known(make_case, run):
    for seen in ((HOT, FLOWS), (FLOWS, HOT)):
        (found,) = welded(run(*three_zones(make_case, *seen, (None, 0.0, "bottom")))[1])
        assert found.zone == "top"


def test_a_current_that_flows_on_after_a_new_relay_is_told_anew_and_of_no_zone(make_case, run):
    """It was not that contact, or the new one sticks too: the current does not tell."""
    for seen in ((HOT, FLOWS), (FLOWS, FLOWS)):
        (found,) = welded(run(*three_zones(make_case, *seen, (None, 0.33, "top")))[1])
        assert (found.severity, found.zone, found.since_firing) == ("urgent", None, 7)


def test_what_always_hangs_on_the_clamp_is_no_welded_contact(make_case, run):
    for shares in ((0.33,) * 6, (0.04, 0.05, 0.11), (0.0, 0.33), (None, None, 0.33)):
        assert find(run(*unasked(make_case, *shares))[1], "welded_contact") is None


def torn(make_case, *turns):
    """Firings of a kiln of one zone whose current turned so often in each."""
    told = [None if n == 0 else TornCurrent(n, 0.36) for n in turns]
    return [one_zone(make_case, index=8 + at, torn_current=each) for at, each in enumerate(told)]


def test_current_that_comes_and_goes_is_a_loose_connection_however_even_the_climb(make_case, run):
    found = find(run(*torn(make_case, 0, 0, 0, 41))[1], "loose_connection")
    assert (found.severity, found.zone) == ("warning", "all")
    assert "36 % of the current" in found.evidence[0].text


def test_it_goes_on_being_one_for_as_long_as_it_comes_and_goes(make_case, run):
    found = find(run(*torn(make_case, 0, 0, 0, *[31] * 12))[1], "loose_connection")
    assert found.probability > 0.95


def test_an_element_that_opens_for_good_is_no_loose_connection(make_case, run):
    assert find(run(*torn(make_case, 0, 0, 0, 1))[1], "loose_connection") is None


def test_a_kiln_that_switches_its_circuits_in_stages_has_no_loose_connection(make_case, run):
    for firings in range(1, 6):
        assert find(run(*torn(make_case, *[30] * firings))[1], "loose_connection") is None


def test_a_contact_quiet_for_a_firing_or_two_still_explains_a_weaker_zone(make_case, run):
    loose = [make_case(index=18 + n, signs=replace(QUIET, swings=(2, 19, 6))) for n in range(2)]
    weaker = Story("zone", 1.0, firing=20, zone=1, size=Estimate(-0.18, 0.02), zone_sizes=middle_lost(-0.69))
    quiet = [make_case(index=20 + n, level=-0.18, slow=0.0, stories=(weaker,)) for n in range(4)]
    assert run(*loose, quiet[0])[1][0].cause == "loose_connection"
    assert run(*loose, *quiet)[1][0].cause in ("open_element", "open_circuit")


def test_shallow_swings_count_only_at_a_kiln_that_never_had_them(make_case, run):
    shallow = replace(QUIET, swings=(2, 11, 6), dips_c=(0.0, 4.0, 2.0))
    calm = [make_case(index=10 + n) for n in range(8)]
    cycling = [make_case(index=10 + n, signs=shallow) for n in range(8)]
    assert find(run(*calm, make_case(index=18, signs=shallow))[1], "loose_connection") is not None
    assert find(run(*cycling, make_case(index=18, signs=shallow))[1], "loose_connection") is None
    often = replace(shallow, swings=(2, 30, 6))
    assert find(run(*calm, make_case(index=18, signs=often))[1], "loose_connection") is None


def test_deep_swings_count_only_beyond_those_that_switching_about_a_dead_band_makes_anyway(make_case, run):
    def sawing(index, middle):
        return make_case(index=index, signs=replace(QUIET, swings=(6, middle, 7), dips_c=(11.0, 14.0, 9.0)))

    known = [sawing(10 + n, middle) for n, middle in enumerate((6, 4, 6, 5))]
    assert find(run(*known, sawing(14, 9))[1], "loose_connection") is None
    assert find(run(*known, sawing(14, 24))[1], "loose_connection").zone == "middle"


def test_a_few_swings_are_a_controller_s_doing(make_case, run):
    found = find(run(make_case(signs=replace(QUIET, swings=(4, 4, 3))))[1], "loose_connection")
    assert found is None


def test_jumping_samples_explain_swings_better_than_a_loose_connection(make_case, run):
    signs = replace(QUIET, swings=(20, 2, 2), spikes=(25, 0, 0))
    _, findings = run(make_case(signs=signs))
    assert find(findings, "thermocouple_fault").severity == "urgent"
    assert find(findings, "loose_connection") is None


def test_two_odd_samples_are_a_logger_s_slip(make_case, run):
    assert find(run(make_case(signs=replace(QUIET, spikes=(2, 0, 0))))[1], "thermocouple_fault") is None


def test_a_controller_that_stops_for_its_sensor_is_believed(make_case, run):
    signs = replace(QUIET, dropouts=(6, 0, 0), sensor_stop=True)
    assert find(run(make_case(signs=signs))[1], "thermocouple_fault").severity == "urgent"


MARKS_C = (900.0, 700.0, 500.0, 300.0)


def drifting(error_c):
    """A top couple that reads ``error_c`` low at 1200 deg C: more work near the peak, and lower in free cooling."""
    own = tuple(-error_c * mark / 1200.0 * 2 / 3 for mark in MARKS_C)
    others = tuple(-x / 2 for x in own)
    return replace(
        QUIET,
        hot_share=(0.007 * error_c, -0.0035 * error_c, -0.0035 * error_c),
        cooling_offset_c=(own, others, others),
    )


def cooler(by_c):
    """A top zone that is truly ``by_c`` cooler in free cooling: the more so the less the zones radiate."""
    own = tuple(-by_c * grown for grown in (0.8, 0.9, 1.0, 0.9))
    others = tuple(-x / 2 for x in own)
    return replace(QUIET, cooling_offset_c=(own, others, others))


def test_zones_that_slowly_part_are_a_drifting_couple(make_case, run):
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(1.2 * i)) for i in range(16)]
    found = find(run(*cases)[1], "thermocouple_drift")
    assert (found.severity, found.zone) == ("warning", "top")
    assert "reads low by some {dc:1" in found.evidence[0].text


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_words_of_a_drift_tell_what_was_measured_and_no_more(make_case, run, sign):
    """Where no output is logged the zones' work is not known, where the log ends at the peak their cooling is not."""
    words = {1.0: ("more of the work", "below the other zones"), -1.0: ("less of the work", "above the other zones")}
    work, cooling = words[sign]
    for unknown in ({}, {"hot_share": ()}, {"cooling_offset_c": ()}):
        signs = [replace(drifting(sign * each), **unknown) for each in (*[0.0] * 10, *(1.2 * i for i in range(16)))]
        found = find(run(*(make_case(index=i, signs=each) for i, each in enumerate(signs)))[1], "thermocouple_drift")
        said = found.evidence[0].text
        assert (work in said) == ("hot_share" not in unknown)
        assert (cooling in said) == ("cooling_offset_c" not in unknown)
        # a zone that leaks reads below the others, never above
        assert any("A leak of heat" in each.text for each in found.evidence) == (sign > 0.0)


def test_a_small_drift_is_not_worth_a_message(make_case, run):
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(min(0.5 * i, 4.0))) for i in range(20)]
    found = find(run(*cases)[1], "thermocouple_drift")
    assert found is None or found.severity == "info"


def test_a_zone_that_really_cools_faster_has_no_drifting_couple(make_case, run):
    cases = [make_case(index=i, signs=cooler(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=cooler(7.0)) for i in range(12)]
    found = find(run(*cases)[1], "thermocouple_drift")
    assert found is None or found.severity == "info"


def test_a_leak_that_stands_explains_the_zone_that_cools_faster(make_case, run):
    """However long the pattern lasts: a couple is suspected only of what no leak explains."""
    leak = (Story("leak", 0.99, firing=10, loss_size=Estimate(0.25, 0.02)), Story("none", 0.01))
    cases = [make_case(index=i, signs=drifting(10.0 * (-1.0) ** i)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(60.0), stories=leak) for i in range(12)]
    _, findings = run(*cases)
    drift = find(findings, "thermocouple_drift")
    assert drift is None or drift.severity == "info"
    assert find(findings, "heat_leak").severity == "warning"


def test_a_drift_that_was_told_outlives_new_elements(make_case, run):
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(1.2 * i)) for i in range(16)]
    entry = LogbookEntry("heron", cases[-1].started, "replaced", "elements")
    found = find(run(*cases, make_case(index=26, signs=drifting(19.0), entries=(entry,)))[1], "thermocouple_drift")
    assert (found.severity, found.zone) == ("warning", "top")


def test_a_new_couple_settles_it(make_case, run):
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(1.2 * i)) for i in range(16)]
    entry = LogbookEntry("heron", cases[-1].started, "replaced", "thermocouple", zone="top")
    assert find(run(*cases, make_case(index=26, entries=(entry,)))[1], "thermocouple_drift") is None

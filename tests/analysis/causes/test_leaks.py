"""A leak at one zone seen in the cooling itself: it comes at once and stays, as no thermocouple drifts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.causes.onset_shape import sharpest_fall, step_over_ramp
from analysis.condition import Story
from analysis.measures import Estimate
from analysis.signs import Signs
from config.logbook import LogbookEntry

QUIET = Signs(swings=(2, 2, 2), behind_zones_c=(1.0, 1.0, 1.0), spikes=(0, 0, 0), dropouts=(0, 0, 0))
SCATTER_C = (0.6, -1.1, 0.2, 1.4, -0.7, -0.3, 0.9, -1.3, 0.4, 0.1, -0.8, 1.0)


def fallen(*below_c, scatter=SCATTER_C):
    """Firings in a row in whose first fall the top reads ``below_c`` below the others, and scatters a little."""
    out = []
    for number, below in enumerate(below_c):
        by = below + scatter[number % len(scatter)]
        out.append(replace(QUIET, first_fall_c=(-by, by / 2.0, by / 2.0)))
    return out


def find(findings, cause):
    return next((f for f in findings if f.cause == cause), None)


def told_of(make_case, run, signs, **more):
    return run(*(make_case(index=number, signs=each, **more) for number, each in enumerate(signs)))[1]


def test_a_zone_that_cools_faster_from_one_firing_on_leaks_though_the_log_ends_soon_after_the_peak(make_case, run):
    found = find(told_of(make_case, run, fallen(*[0.0] * 12, *[9.0] * 3)), "heat_leak")
    assert (found.severity, found.zone) == ("warning", "top")
    assert "zone top cools faster than the others" in found.evidence[0].text


def test_two_such_firings_are_not_yet_a_message_and_a_lid_left_ajar_once_is_none(make_case, run):
    for odd in ([9.0, 9.0], [9.0, 0.0, 0.0, 0.0, 9.0]):
        found = find(told_of(make_case, run, fallen(*[0.0] * 12, *odd)), "heat_leak")
        assert found is None or found.severity == "info"


def test_a_kiln_whose_cooling_always_scatters_is_judged_by_its_own_scatter(make_case, run):
    """What is a leak at one kiln is a usual difference at another, whose loads leave more between its zones."""
    wild = tuple(6.0 * each for each in SCATTER_C)
    found = find(told_of(make_case, run, fallen(*[0.0] * 12, *[9.0] * 4, scatter=wild)), "heat_leak")
    assert found is None or found.severity == "info"


def test_a_zone_that_parts_little_by_little_has_a_drifting_couple_and_no_leak(make_case, run):
    findings = told_of(make_case, run, fallen(*[0.0] * 12, *(0.5 * number for number in range(1, 26))))
    assert find(findings, "thermocouple_drift").severity == "warning"
    leak = find(findings, "heat_leak")
    assert leak is None or leak.severity == "info"


def test_a_leak_that_stands_for_many_firings_does_not_become_a_drift(make_case, run):
    findings = told_of(make_case, run, fallen(*[0.0] * 12, *[9.0] * 24))
    assert find(findings, "heat_leak").severity == "warning"
    drift = find(findings, "thermocouple_drift")
    assert drift is None or drift.severity == "info"


def alarms(findings):
    return [(f.cause, f.zone) for f in findings if f.severity != "info"]


def scattered(number, zone):
    return 0.6 * SCATTER_C[(number + 7 * zone) % len(SCATTER_C)]


@pytest.mark.parametrize("high_c", [[12.0] * 8, [9.0] * 12, [0.6 * number for number in range(1, 25)]])
def test_one_zone_that_reads_high_is_one_trouble_and_no_leak_in_the_others(make_case, run, high_c):
    """All offsets are less the mean of the zones: where one reads high the others seem to have fallen."""
    signs = []
    for number, high in enumerate([0.0] * 12 + high_c):
        reads = [scattered(number, zone) + (high if zone == 0 else 0.0) for zone in range(3)]
        signs.append(replace(QUIET, first_fall_c=tuple(each - sum(reads) / 3.0 for each in reads)))
    assert alarms(told_of(make_case, run, signs)) == [("thermocouple_drift", "top")]


def test_a_leak_is_told_beside_a_zone_that_seems_to_read_high(make_case, run):
    """The air that leaves a leak in the top may pass the bottom first: the farthest from its usual is what changed."""
    signs = []
    for number, below in enumerate([0.0] * 12 + [14.0] * 4):
        shown = (-below, 0.1 * below, 0.9 * below)
        signs.append(replace(QUIET, first_fall_c=tuple(scattered(number, z) + each for z, each in enumerate(shown))))
    assert alarms(told_of(make_case, run, signs)) == [("heat_leak", "top")]


def only_later(*below_c):
    """Firings whose first fall is unknown; the top reads below the others at the marks, most so while hot."""
    out = []
    for number, below in enumerate(below_c):
        by = below + SCATTER_C[number % len(SCATTER_C)]
        rows = [
            tuple(part * by * mark_c / 540.0 for mark_c in (900.0, 700.0, 500.0, 300.0)) for part in (-1.0, 0.5, 0.5)
        ]
        out.append(replace(QUIET, cooling_offset_c=tuple(rows)))
    return out


def test_where_only_later_marks_tell_what_came_little_by_little_is_a_drift_alone(make_case, run):
    signs = only_later(*[0.0] * 12, *(0.6 * number for number in range(1, 30)))
    for firings in (22, 31, 41):
        assert alarms(told_of(make_case, run, signs[:firings])) == [("thermocouple_drift", "top")]


def test_where_only_later_marks_tell_what_came_at_once_is_a_leak_alone(make_case, run):
    for firings in (4, 12):
        assert alarms(told_of(make_case, run, only_later(*[0.0] * 12, *[14.0] * firings))) == [("heat_leak", "top")]


def gone_over(make_case, *below_c, by_c=14.0):
    """Twelve bisques, then glazes only, in whose first fall the top reads ``by_c`` lower and ``below_c`` lower yet."""
    signs = fallen(*[0.0] * 12, *(by_c + each for each in below_c))
    return [make_case(index=n, signs=each, peak_c=1000.0 if n < 12 else 1240.0) for n, each in enumerate(signs)]


@pytest.mark.parametrize("by_c", [-14.0, 7.0, 14.0, 25.0])
def test_a_studio_that_goes_over_to_another_peak_where_a_zone_reads_otherwise_has_no_trouble(make_case, run, by_c):
    cases = gone_over(make_case, *[0.0] * 20, by_c=by_c)
    for firings in (13, 14, 15, 16, 20, 32):
        findings = run(*cases[:firings])[1]
        assert find(findings, "heat_leak") is None
        assert find(findings, "thermocouple_drift") is None


def test_a_leak_that_comes_after_the_studio_went_over_to_another_peak_is_told(make_case, run):
    found = find(run(*gone_over(make_case, *[0.0] * 12, *[9.0] * 4))[1], "heat_leak")
    assert (found.severity, found.zone) == ("warning", "top")


def test_a_leak_that_was_told_still_stands_at_a_peak_never_fired_before(make_case, run):
    signs = fallen(*[0.0] * 12, *[9.0] * 14)
    cases = [make_case(index=n, signs=each, peak_c=1000.0 if n < 18 else 1240.0) for n, each in enumerate(signs)]
    found = find(run(*cases)[1], "heat_leak")
    assert (found.severity, found.zone) == ("warning", "top")


def test_a_leak_whose_place_shows_only_later_is_still_one_leak(make_case, run):
    """The heat balance tells of it first, without a place; then one zone is seen to cool faster."""
    story = Story("leak", 0.9, 8, None, loss_size=Estimate(0.2, 0.03))
    signs = fallen(*[0.0] * 12, *[9.0] * 6)
    cases = [
        make_case(index=number, signs=each, stories=(story,) if number >= 12 else ())
        for number, each in enumerate(signs)
    ]
    leaks = [f for f in run(*cases)[1] if f.cause == "heat_leak"]
    assert [(f.zone, f.severity) for f in leaks] == [("top", "warning")]
    assert leaks[0].probability > 0.9


@pytest.mark.parametrize("part", ["lid", "brickwork"])
def test_a_leak_that_was_sealed_is_told_no_more(make_case, run, part):
    signs = fallen(*[0.0] * 12, *[9.0] * 4, *[0.0] * 2)
    cases = [make_case(index=number, signs=each) for number, each in enumerate(signs)]
    entry = LogbookEntry("heron", cases[15].started, "repaired", part)
    cases[16] = make_case(index=16, signs=signs[16], entries=(entry,))
    found = find(run(*cases)[1], "heat_leak")
    assert found is None or found.severity == "info"


@pytest.mark.parametrize("leaked_c", [0.0, 9.0])
def test_a_drift_after_a_leak_was_sealed_is_a_drift(make_case, run, leaked_c):
    """How sharply the leak came says nothing of what comes after its repair, however soon that begins."""
    below_c = (*[0.0] * 12, *[leaked_c] * 4, *(3.2 + 0.45 * number for number in range(12)))
    signs = fallen(*below_c, scatter=tuple(0.3 * each for each in SCATTER_C))
    cases = [make_case(index=number, signs=each) for number, each in enumerate(signs)]
    cases[16] = replace(cases[16], entries=(LogbookEntry("heron", cases[16].started, "repaired", "lid"),))
    assert alarms(run(*cases)[1]) == [("thermocouple_drift", "top")]


def test_logs_that_never_reach_the_first_fall_tell_nothing(make_case, run):
    assert find(told_of(make_case, run, [QUIET] * 20), "heat_leak") is None


def test_a_fall_from_one_firing_to_the_next_is_a_step_and_one_over_many_a_ramp():
    step, ramp = [0.0] * 8 + [-5.0] * 4, [0.0] * 4 + [-0.4 * number for number in range(1, 9)]
    assert step_over_ramp(step) > 3.0
    assert step_over_ramp(ramp) < 0.0
    # three new firings beside six old: 5 over the root of 1/3 + 1/6
    assert sharpest_fall(step[:11]) == pytest.approx(-5.0 / np.sqrt(0.5))
    assert sharpest_fall(ramp) > -3.0


def test_too_few_firings_tell_no_shape():
    assert (step_over_ramp([]), step_over_ramp([-4.0]), sharpest_fall([0.0, 0.0, -9.0])) == (0.0, 0.0, pytest.approx(0))


@given(st.lists(st.floats(-12.0, 12.0), max_size=16))
def test_the_shape_is_always_a_number_and_never_depends_on_what_only_rises(values):
    assert np.isfinite(step_over_ramp(values))
    assert sharpest_fall(values) <= 0.0
    assert sharpest_fall(sorted(values)) == 0.0

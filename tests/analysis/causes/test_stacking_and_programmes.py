"""What a studio changes by itself moves the zones too: other programmes, other stacking. None of it is a fault."""

from dataclasses import replace

import pytest

from analysis.causes.losses import credit_of
from analysis.causes.memory import Spreads, UsualByPeak
from analysis.condition import Story
from analysis.measures import Estimate
from analysis.signs import Signs

BISQUE_C, GLAZE_C = 1000.0, 1222.0
QUIET = Signs(
    swings=(2, 1, 2),
    behind_zones_c=(1.0, 1.0, 1.0),
    spikes=(0, 0, 0),
    dropouts=(0, 0, 0),
)
SPREADS = Spreads(firings=1.0, peaks=3.0)


def find(findings, cause):
    return next((f for f in findings if f.cause == cause), None)


def cooled(*offsets_c, share=(0.0, 0.0, 0.0)):
    """Zones that read so far off the mean as the kiln cools (at 900, 700 and 500 deg C, or alike at all three)."""
    rows = tuple((*(each if isinstance(each, tuple) else (each,) * 3), None) for each in offsets_c)
    return replace(QUIET, cooling_offset_c=rows, hot_share=share)


def taken(values, peak_c):
    usual = UsualByPeak()
    for value in values:
        usual = usual.taken(value, peak_c)
    return usual


def test_firings_to_another_peak_tell_only_roughly_what_is_usual():
    usual = taken((4.0, 5.0, 4.5, 5.5, 6.0, 5.0), BISQUE_C)
    own, other = usual.expected(BISQUE_C + 20.0, SPREADS), usual.expected(GLAZE_C, SPREADS)
    assert own.value == other.value == pytest.approx(5.0)
    assert own.error == pytest.approx((1.0 + 1.0 / 6.0) ** 0.5)
    assert other.error == pytest.approx((1.0 + 9.0 + 1.0 / 6.0) ** 0.5)


def test_what_is_usual_at_a_peak_is_learned_at_that_peak():
    usual = taken((4.0, 5.0, 4.5, 5.5, 6.0, 5.0), BISQUE_C)
    for _ in range(6):
        usual = usual.taken(-3.0, GLAZE_C)
    assert usual.expected(GLAZE_C, SPREADS).value == pytest.approx(-3.0, abs=0.2)
    assert usual.expected(BISQUE_C, SPREADS).value == pytest.approx(5.0, abs=0.2)
    assert usual.distance(5.0, GLAZE_C, SPREADS) > 6.0 > abs(usual.distance(5.0, BISQUE_C, SPREADS))


def test_too_few_firings_are_no_habit():
    usual = taken((4.0, 5.0, 4.5, 5.5), BISQUE_C)
    assert usual.expected(BISQUE_C, SPREADS) is None
    assert usual.distance(9.0, BISQUE_C, SPREADS) is None


def test_only_a_few_peaks_are_remembered_the_one_not_fired_for_longest_makes_room():
    usual = UsualByPeak()
    for peak_c in (1000.0, 1222.0, 780.0, 1140.0, 1010.0, 1222.0, 600.0):
        usual = usual.taken(1.0, peak_c)
    assert {peak_c: usual.count(peak_c) for peak_c in (1000.0, 1222.0, 780.0, 1140.0, 600.0)} == {
        1000.0: 2,
        1222.0: 2,
        780.0: 0,
        1140.0: 1,
        600.0: 1,
    }


def test_going_over_from_bisques_to_glazes_is_no_drifting_couple(make_case, run):
    """As a simulated kiln cools: the less its walls were soaked, the more its zones part on the way down."""
    bisque = cooled((-1.5, -1.7, -3.2), (2.8, 3.0, 5.2), (-1.3, -1.3, -2.0), share=(-0.04, 0.075, -0.035))
    glaze = cooled((-1.4, -1.6, -2.0), (2.4, 2.7, 3.3), (-1.0, -1.1, -1.3), share=(-0.03, 0.055, -0.025))
    cases = [make_case(index=i, signs=bisque, peak_c=BISQUE_C) for i in range(14)]
    cases += [make_case(index=14 + i, signs=glaze, peak_c=GLAZE_C) for i in range(14)]
    for turn in (cases, cases[14:] + cases[:14]):
        found = find(run(*turn)[1], "thermocouple_drift")
        assert found is None or found.severity == "info"


def drifting(error_c, level=(0.0, 0.0, 0.0), share=(0.0, 0.0, 0.0), zone=0):
    """Zones at ``level`` of which one has a couple that reads ``error_c`` low at 1200 deg C."""
    sides = [1.0 if number == zone else -0.5 for number in range(3)]
    rows = [
        tuple(usual - side * error_c * mark / 1800.0 for mark in (900.0, 700.0, 500.0))
        for usual, side in zip(level, sides, strict=True)
    ]
    worked = [own + 0.007 * error_c * side for own, side in zip(share, sides, strict=True)]
    return cooled(*rows, share=tuple(worked))


def test_a_drift_that_stands_is_not_taken_for_the_habit_of_other_firings(make_case, run):
    """Couples do not mend themselves when the studio fires bisques for a month."""
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(1.2 * i)) for i in range(16)]
    assert find(run(*cases)[1], "thermocouple_drift").severity == "warning"
    cases += [make_case(index=26 + i, signs=drifting(19.0), peak_c=BISQUE_C) for i in range(14)]
    assert find(run(*cases)[1], "thermocouple_drift").severity == "warning"


def test_other_stacking_becomes_the_habit_and_a_drift_shows_against_it(make_case, run):
    """Four firings in a row stacked otherwise are a new habit: without one the kiln would be blind from then on."""
    moved, work = (12.0, 0.0, -12.0), (0.1, 0.0, -0.1)
    cases = [make_case(index=i, signs=drifting(0.0)) for i in range(10)]
    cases += [make_case(index=10 + i, signs=drifting(0.0, moved, work)) for i in range(10)]
    assert [f.cause for f in run(*cases)[1] if f.severity != "info"] == []
    cases += [make_case(index=20 + i, signs=drifting(1.5 * i, moved, work, zone=1)) for i in range(18)]
    found = find(run(*cases)[1], "thermocouple_drift")
    assert (found.severity, found.zone) == ("warning", "middle")


@pytest.mark.parametrize(("size", "since", "believed_less"), [(-0.2, 10, True), (-0.2, 6, False), (-0.69, 10, False)])
def test_a_zone_that_holds_more_since_then_seems_weaker_but_not_by_half(make_case, run, size, since, believed_less):
    zones = (Estimate(size, 0.03), Estimate(0.0, 0.03), Estimate(0.0, 0.03))
    story = Story("zone", 0.97, firing=since, size=Estimate(size / 3.0, 0.02), zone=0, zone_sizes=zones)
    usual, heavier = cooled(0.0, 0.0, 0.0), cooled(12.0, -6.0, -6.0, share=(0.1, -0.05, -0.05))
    cases = [make_case(index=i, signs=usual) for i in range(10)]
    believed = [
        credit_of(
            make_case(index=12, signs=signs, stories=(story,), memory=run(*cases, *later)[0]),
            story,
            (),
        )
        for signs, later in (
            (usual, [make_case(index=10 + i, signs=usual) for i in range(2)]),
            (heavier, [make_case(index=10 + i, signs=heavier) for i in range(2)]),
        )
    ]
    assert (believed[1] < 0.5 * believed[0]) is believed_less


@pytest.mark.parametrize("share_known", [True, False])
def test_a_zone_that_leaks_cools_faster_and_takes_more_of_the_work(make_case, run, share_known):
    sound, leaky = cooled(0.0, 0.0, 0.0), cooled(-20.0, 5.0, 15.0, share=(0.15, -0.08, -0.07))
    if not share_known:
        sound, leaky = replace(sound, hot_share=()), replace(leaky, hot_share=())
    cases = [make_case(index=i, signs=sound) for i in range(10)]
    cases += [make_case(index=10 + i, signs=leaky) for i in range(4)]
    found = find(run(*cases)[1], "heat_leak")
    assert (found.severity, found.zone) == ("warning", "top")
    said = " ".join(each.text for each in found.evidence)
    assert ("takes more of the work near the peak too" in said) is share_known
    assert ("stacked lighter than it used to be" in said) is not share_known


def test_a_zone_stacked_lighter_cools_faster_but_takes_less_of_the_work(make_case, run):
    """The bottom stacked lighter and the top heavier for good: neither a leak, nor a drift, nor a weak zone."""
    cases = [make_case(index=i, signs=cooled(0.0, 0.0, 0.0)) for i in range(10)]
    restacked = cooled(20.0, 0.0, -20.0, share=(0.15, 0.0, -0.15))
    cases += [make_case(index=10 + i, signs=restacked) for i in range(12)]
    findings = run(*cases)[1]
    assert [f.cause for f in findings if f.severity != "info"] == []

"""What took the power: one measured step, weighed against every circuit, the supply and a leak."""

import math
from dataclasses import replace

import pytest

from analysis.causes.loss_words import remembered_evidence
from analysis.causes.memory import CausesMemory, Lost, Share, Usual, ZoneMemory
from analysis.condition import Balance, Story
from analysis.measures import Estimate, Trace
from analysis.signs import Signs
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry

ONE_ZONE = Kiln(
    "juniper",
    volts=240.0,
    supply="single-phase",
    zones=("all",),
    circuits=(Circuit("upper", "all", 1, "parallel", (20.0,)), Circuit("lower", "all", 1, "parallel", (20.0,))),
)
SIDES = ("L1-L2", "L2-L3", "L3-L1")
DELTA = Kiln(
    "thrift",
    volts=208.0,
    supply="three-phase delta",
    zones=("all",),
    circuits=tuple(Circuit(n, "all", 1, "parallel", (30.0,), n) for n in SIDES),
)


def lost(total, zones=(), *, kind="zone", zone=0, firing=19, probability=0.98, error=0.015):
    """A history in which power fell to ``total`` (ratio), and each zone's to ``zones``."""
    return (
        Story(
            kind,
            probability,
            firing=firing,
            zone=zone if kind == "zone" else None,
            size=Estimate(math.log(total), error),
            zone_sizes=tuple(Estimate(math.log(z), 0.04) for z in zones),
        ),
        Story("none", 1.0 - probability),
    )


def top(findings):
    return max((f for f in findings if f.severity != "info"), key=lambda f: f.probability, default=None)


def test_half_a_zone_lost_at_once_is_an_open_element_of_a_parallel_pair(make_case, run):
    _, findings = run(make_case(stories=lost(5 / 6, (0.5, 1.0, 1.0)), level=math.log(5 / 6)))
    best = top(findings)
    assert (best.cause, best.zone, best.circuit) == ("open_element", "top", "c1")
    assert best.since_firing == 19
    assert best.power_step == pytest.approx(-1 / 6, abs=0.03)
    assert any("would leave 83 %" in e.text for e in best.evidence)


def test_a_zone_without_any_power_is_a_dead_circuit_and_urgent(make_case, run):
    _, findings = run(make_case(stories=lost(2 / 3, (1.0, 0.05, 1.0), zone=1), end="stalled", short_c=400.0))
    best = top(findings)
    assert (best.cause, best.zone, best.severity) == ("open_circuit", "middle", "urgent")
    assert not any(f.cause == "aborted_firing" for f in findings)


def test_all_zones_weaker_alike_by_an_amount_no_circuit_explains_is_the_supply(make_case, run):
    _, findings = run(make_case(stories=lost(0.88, (0.88, 0.88, 0.88), kind="all")))
    best = top(findings)
    assert best.cause == "low_supply"
    assert any("All zones became weaker alike" in e.text for e in best.evidence)


def test_half_the_power_of_a_delta_kiln_is_a_lost_line(make_case, run):
    _, findings = run(make_case(kiln=DELTA, stories=lost(0.5, kind="all")))
    assert top(findings).cause == "lost_phase"
    _, findings = run(make_case(kiln=DELTA, stories=lost(2 / 3, kind="all")))
    assert top(findings).cause == "open_circuit"


def test_one_of_two_equal_circuits_is_not_named_when_it_cannot_be_known(make_case, run):
    _, findings = run(make_case(kiln=ONE_ZONE, stories=lost(0.5, kind="all", firing=20), end="stalled", short_c=72.0))
    best = top(findings)
    assert (best.cause, best.circuit, best.severity) == ("open_circuit", None, "urgent")
    assert any("upper, lower" in e.text for e in best.evidence)


def test_a_zone_weaker_by_what_no_element_explains_may_leak_heat(make_case, run):
    _, findings = run(make_case(stories=lost(0.93, (0.79, 1.0, 1.0))))
    assert top(findings).cause == "heat_leak"
    assert top(findings).zone == "top"


def test_a_leak_that_shows_as_loss_is_a_leak(make_case, run):
    leak = (Story("leak", 0.95, firing=18, loss_size=Estimate(0.25, 0.02)), Story("none", 0.05))
    _, findings = run(make_case(stories=leak))
    assert top(findings).cause == "heat_leak"
    assert any("28 % more heat" in e.text for e in top(findings).evidence)


def test_a_leak_that_bends_the_cooling_is_believed_whatever_its_size(make_case, run):
    """A kiln that always keeps pace shows how it cools, not how much it loses."""
    for bend, told in ((Estimate(0.03, 0.004), True), (Estimate(0.005, 0.004), False)):
        vague = (Story("leak", 0.95, firing=15, loss_size=Estimate(0.25, 0.2), bend=bend), Story("none", 0.05))
        _, findings = run(make_case(stories=vague, basis="kept pace"))
        assert (top(findings) is not None) == told
        if told:
            assert top(findings).cause == "heat_leak"
            assert any("cools too fast while it is hot" in e.text for e in top(findings).evidence)
            assert not any("% more heat" in e.text for e in top(findings).evidence)


def test_rivals_for_one_loss_are_never_both_highly_probable(make_case, run):
    _, findings = run(make_case(stories=lost(0.80, (0.8, 0.8, 0.8), kind="all", probability=0.99)))
    assert sum(f.probability for f in findings if f.cause != "element_ageing") <= 1.0 + 1e-6
    for finding in findings:
        assert {c for c, _ in finding.rivals} >= {
            f.cause for f in findings if f is not finding and f.severity != "info"
        }


def test_a_loss_seen_once_and_not_surely_waits_for_the_next_firing(make_case, run):
    first = make_case(stories=lost(0.84, (0.5, 1.0, 1.0), firing=20, probability=0.8), index=20)
    assert top(run(first)[1]) is None
    again = make_case(stories=lost(0.84, (0.5, 1.0, 1.0), firing=20, probability=0.9), index=21)
    assert top(run(first, again)[1]).cause == "open_element"


def test_temperature_alone_convinces_at_once_only_where_it_is_as_sure_as_any_log(make_case, run):
    """Its errors are told as large as they are, so a loss that is sure in spite of them needs no second firing."""
    likely = lost(0.6, (0.05, 1.0, 1.0), firing=20, probability=0.92)
    assert top(run(make_case(stories=likely, output="none"))[1]) is None
    assert top(run(make_case(stories=likely, output="none", index=21))[1]).cause == "open_circuit"
    sure = lost(0.6, (0.05, 1.0, 1.0), firing=20, probability=0.99)
    assert top(run(make_case(stories=sure, output="none"))[1]).cause == "open_circuit"


def test_small_steps_are_the_supply_s_wandering(make_case, run):
    _, findings = run(make_case(stories=lost(0.95, (0.95, 0.95, 0.95), kind="all", probability=0.99)))
    assert top(findings) is None


def test_a_finding_stands_in_later_firings_until_the_repair_is_logged(make_case, run):
    fault = make_case(stories=lost(2 / 3, (1.0, 0.05, 1.0), zone=1, firing=20), level=math.log(2 / 3))
    blank = make_case(index=21, level=math.log(2 / 3), basis="none")
    memory, findings = run(fault, blank)
    assert top(findings).cause == "open_circuit"
    assert "neither a repair nor a later firing" in top(findings).evidence[0].text
    mended = LogbookEntry("heron", fault.started, "replaced", "relay", zone="middle")
    after = make_case(index=22, memory=memory, entries=(mended,))
    assert top(run(after)[1]) is None


def test_a_later_firing_at_full_power_takes_a_false_step_back(make_case, run):
    fault = make_case(stories=lost(0.7, (0.1, 1.0, 1.0), firing=20, probability=0.99), level=math.log(0.7))
    sound = make_case(index=21, level=0.0)
    assert top(run(fault, sound)[1]) is None


def test_volts_in_the_log_settle_a_low_supply(make_case, run):
    usual = [make_case(index=i, supply_volts=239.0 + 0.3 * (i % 2)) for i in range(10, 16)]
    low = make_case(index=16, supply_volts=222.0)
    _, findings = run(*usual, low)
    assert top(findings).cause == "low_supply"
    assert "222 V" in top(findings).evidence[0].text


def test_a_zone_that_stands_cold_at_full_output_is_dead_whatever_the_heat_balance_says(make_case, run):
    from analysis.demand import NoRise

    usual = [make_case(index=i) for i in range(10, 15)]
    stalled = make_case(
        index=15,
        peak_c=80.0,
        end="stalled",
        short_c=900.0,
        stories=(Story("odd", 1.0),),
        zone_full_share=(0.0, 0.97, 0.0),
        no_rise=NoRise(95.0, 78.0, 1),
    )
    _, findings = run(*usual, stalled)
    assert (top(findings).cause, top(findings).zone, top(findings).severity) == ("open_circuit", "middle", "urgent")
    assert any("did not rise" in e.text for e in top(findings).evidence)


def test_amps_that_fell_half_as_much_as_the_power_mean_the_volts(make_case, run):
    sag = Story("supply", 0.97, firing=20, size=Estimate(-0.13, 0.02))
    told = run(*(make_case(index=20 + n, stories=(sag, Story("none", 0.03))) for n in range(2)))[1]
    assert [(f.cause, f.severity) for f in told] == [("low_supply", "warning")]


@pytest.mark.parametrize(("error", "excluded"), [(0.01, True), (0.05, False)])
def test_amps_that_fell_as_much_as_the_power_exclude_the_volts(make_case, run, error, excluded):
    """Poor volts would be a history of their own; amps known too vaguely tell nothing."""
    less = Story("all", 0.97, firing=20, size=Estimate(-0.16, 0.02), zone_sizes=(Estimate(-0.16, 0.05),) * 3)
    amps = Estimate(math.log(40.0), error)
    facts = {"stories": (less, Story("none", 0.03)), "level": -0.16, "slow": 0.0, "full_current": amps}
    told = run(*(make_case(index=20 + n, **facts) for n in range(2)))[1]
    assert told
    assert ("low_supply" not in {f.cause for f in told}) == excluded


def test_a_zone_that_lost_a_quarter_and_works_somewhat_more_is_believed_at_once(make_case, run):
    usual = ZoneMemory(share=Usual(6, 0.0, 0.01), full=Usual(6, 0.0, 0.01), behind=Usual(6, 1.0, 5.0))
    memory = CausesMemory(zones=(usual,) * 3)
    zones = (Estimate(0.0, 0.05), Estimate(-0.5, 0.05), Estimate(0.0, 0.05))
    story = Story("zone", 0.99, firing=20, zone=1, size=Estimate(-0.15, 0.02), zone_sizes=zones)
    signs = Signs(swings=(2,) * 3, behind_zones_c=(1.0, 12.0, 1.0), spikes=(0,) * 3, dropouts=(0,) * 3)
    found = run(make_case(memory=memory, stories=(story,), level=-0.15, slow=0.0, signs=signs))[1]
    assert found
    assert found[0].severity == "warning"
    even = run(make_case(memory=memory, stories=(story,), level=-0.15, slow=0.0, zone_share=(1.0, 1.0, 1.0)))[1]
    assert all(f.severity == "info" for f in even)


def test_a_kiln_that_stands_cold_for_hours_with_one_zone_far_behind_is_told_whatever_is_logged(make_case, run):
    usual = ZoneMemory(behind=Usual(8, 1.0, 5.0))
    memory = CausesMemory(zones=(usual,) * 3)
    cold = {
        "memory": memory,
        "output": "none",
        "zone_full_share": (),
        "peak_c": 45.0,
        "short_c": 900.0,
        "end": "aborted",
    }
    apart = Signs(swings=(0,) * 3, behind_zones_c=(0.0, 28.0, 1.0), spikes=(0,) * 3, dropouts=(0,) * 3)
    found = run(make_case(signs=apart, basis="none", balance=Balance(), **cold))[1]
    assert (found[0].cause, found[0].severity, found[0].zone) == ("open_circuit", "urgent", "middle")
    together = Signs(swings=(0,) * 3, behind_zones_c=(0.0, 2.0, 1.0), spikes=(0,) * 3, dropouts=(0,) * 3)
    assert all(f.severity == "info" for f in run(make_case(signs=together, basis="none", balance=Balance(), **cold))[1])


def test_a_zone_ten_degrees_behind_in_a_kiln_that_stands_cold_is_dead(make_case, run):
    """Nothing but temperatures: the zones that heat wait at 31 deg C for hours, and one stays at 19."""
    usual = ZoneMemory(behind=Usual(8, 4.8, 130.0))
    standing = Trace((0.0, 3600.0, 7200.0), (18.0, 27.0, 27.5))
    cold = {
        "memory": CausesMemory(zones=(usual,) * 3),
        "output": "none",
        "zone_full_share": (),
        "peak_c": 28.0,
        "end": "complete",
        "basis": "none",
        "balance": Balance(),
    }
    apart = {"behind_zones_c": (0.2, 12.0, 0.9), "mostly_behind_c": (0.0, 11.0, 0.2)}
    signs = Signs(swings=(0,) * 3, spikes=(0,) * 3, dropouts=(0,) * 3, **apart)
    found = run(make_case(signs=signs, trace=standing, duration_s=7200.0, **cold))[1]
    assert (found[0].cause, found[0].severity, found[0].zone) == ("open_circuit", "urgent", "middle")
    catching_up = replace(signs, mostly_behind_c=(0.0, 1.0, 0.2))
    climbing = Trace((0.0, 3600.0, 7200.0), (18.0, 60.0, 99.0))
    for other in (
        {"signs": catching_up, "trace": standing},
        {"signs": signs, "trace": climbing},
        {"signs": signs, "trace": standing, "peak_c": 95.0},  # ware dried at 95 deg C, as was meant
        {
            "signs": signs,
            "trace": Trace((0.0, 7200.0), (20.0, 90.0)),
            "duration_s": 36000.0,
            "end": "aborted",
        },  # a draught
    ):
        assert all(f.severity == "info" for f in run(make_case(**(cold | {"duration_s": 7200.0} | other)))[1])


@pytest.mark.parametrize("mean_c", [(100.0, 70.0, 52.0), (22.0, 22.3, 21.9)])
def test_a_kiln_in_which_no_zone_warms_has_no_dead_zone(make_case, run, mean_c):
    """The tail of a cooling, or a kiln switched off at its contactor; in both the bottom reads less than the others."""
    usual = ZoneMemory(behind=Usual(8, 1.0, 5.0), full=Usual(8, 0.0, 0.01))
    signs = Signs(
        swings=(0,) * 3,
        spikes=(0,) * 3,
        dropouts=(0,) * 3,
        behind_zones_c=(0.0, 1.0, 20.0),
        mostly_behind_c=(0.0, 1.0, 20.0),
    )
    facts = {
        "memory": CausesMemory(zones=(usual,) * 3),
        "trace": Trace((0.0, 7200.0, 14400.0), mean_c),
        "duration_s": 14400.0,
        "peak_c": max(mean_c),
        "end": "aborted",
        "basis": "none",
        "balance": Balance(),
        "signs": signs,
    }
    for output in (
        {"output": "none", "zone_full_share": ()},
        {"output": "inferred", "zone_full_share": (1.0, 1.0, 1.0)},
    ):
        found = run(make_case(**facts, **output))[1]
        assert all(f.severity == "info" for f in found)


def test_a_set_point_that_follows_its_kiln_tells_a_dead_zone_by_what_it_never_asked_before(make_case, run):
    """The firing stands at room temperature for hours, a few degrees behind a set point that waits for it."""
    usual = ZoneMemory(behind=Usual(8, 1.0, 5.0), full=Usual(8, 0.0, 0.01))
    asking = {
        "memory": CausesMemory(zones=(usual,) * 3),
        "output": "inferred",
        "zone_full_share": (0.0, 0.4, 0.0),
        "peak_c": 27.0,
        "short_c": 1180.0,
        "end": "aborted",
        "basis": "none",
        "balance": Balance(),
    }
    behind = Signs(swings=(0,) * 3, behind_zones_c=(2.0, 6.0, 2.0), spikes=(0,) * 3, dropouts=(0,) * 3)
    found = run(make_case(signs=behind, **asking))[1]
    assert (found[0].cause, found[0].severity, found[0].zone) == ("open_circuit", "urgent", "middle")
    holding = asking | {"zone_full_share": (0.0, 0.05, 0.0)}
    assert all(f.severity == "info" for f in run(make_case(signs=behind, **holding))[1])
    drying = asking | {"peak_c": 110.0, "short_c": 0.0, "end": "complete"}
    assert all(f.severity == "info" for f in run(make_case(signs=behind, **drying))[1])


def test_a_zone_of_two_circuits_without_any_power_is_said_to_have_lost_them_all(make_case, run):
    kiln = Kiln(
        "heron",
        volts=240.0,
        supply="single-phase",
        zones=("top", "bottom"),
        circuits=(
            Circuit("a", "top", 2, "parallel", (28.8,)),
            Circuit("b", "top", 2, "parallel", (28.8,)),
            Circuit("c", "bottom", 2, "parallel", (14.4,)),
        ),
    )
    _, findings = run(make_case(kiln=kiln, stories=lost(0.5, (0.02, 1.0)), end="stalled", short_c=400.0))
    best = top(findings)
    assert (best.cause, best.zone, best.circuit) == ("open_circuit", "top", None)
    assert any("Zone top, all its circuits, without power would leave 50 %" in e.text for e in best.evidence)


def test_half_the_power_gone_is_told_however_vaguely_the_level_is_known(make_case, run):
    """A kiln without output whose loss was never seen: what is gone is four times what is not known."""
    weak = {"kiln": DELTA, "level": math.log(0.55), "level_error": 0.16, "slow": 0.0, "output": "inferred"}
    told = lost(0.53, kind="all", zone=None, error=0.15)
    _, findings = run(make_case(stories=told, basis="full-output climb", **weak))
    assert top(findings) is not None
    small = lost(0.85, kind="all", zone=None, error=0.15)
    _, findings = run(make_case(stories=small, basis="full-output climb", **(weak | {"level": math.log(0.87)})))
    assert top(findings) is None


@pytest.mark.parametrize(("firings", "cause"), [(2, "open_element"), (6, "open_circuit")])
def test_a_zone_that_lost_half_and_much_later_all_has_lost_its_circuit(make_case, run, firings, cause):
    """In the next firings the first size may have been misread; after that more is gone."""
    half = lost(5 / 6, (0.5, 1.0, 1.0), firing=20)
    cases = [make_case(index=20 + i, stories=half, level=math.log(5 / 6)) for i in range(firings)]
    whole = lost(4 / 6, (0.02, 1.0, 1.0), firing=20 + firings)
    _, findings = run(*cases, make_case(index=20 + firings, stories=whole, level=math.log(4 / 6)))
    assert top(findings).cause == cause


@pytest.mark.parametrize(
    ("output", "end", "severity"),
    [("none", "complete", "warning"), ("none", "stalled", "urgent"), ("inferred", "complete", "urgent")],
)
def test_half_the_power_is_urgent_unless_full_output_is_a_guess_and_the_peak_was_reached(
    make_case, run, output, end, severity
):
    half = lost(0.5, kind="all", firing=20)
    _, findings = run(make_case(kiln=ONE_ZONE, stories=half, level=math.log(0.5), output=output, end=end, short_c=72.0))
    assert top(findings).severity == severity


def test_an_odd_log_clears_no_leak_that_stood_before_it(make_case, run):
    """Its histories know the leak, so its balance is as expected: that is no sign of a sound kiln."""
    leak = (Story("leak", 0.99, firing=19, loss_size=Estimate(0.25, 0.02)), Story("none", 0.01))
    odd = (Story("odd", 0.64, firing=23), Story("leak", 0.36, firing=19, loss_size=Estimate(0.25, 0.02)))
    as_expected = Balance(power_per_loss=Estimate(0.0, 0.02))
    cases = [make_case(index=20 + i, stories=leak) for i in range(3)]
    _, findings = run(*cases, make_case(index=23, stories=odd, balance=as_expected))
    assert top(findings).cause == "heat_leak"


def test_a_leak_that_is_told_stands_until_lid_or_brickwork_are_mended(make_case, run):
    leak = (
        Story("leak", 0.98, firing=19, size=Estimate(0.0, 0.01), loss_size=Estimate(0.3, 0.03)),
        Story("none", 0.02),
    )
    first = make_case(index=20, stories=leak)
    memory, findings = run(first)
    assert top(findings).cause == "heat_leak"
    for part, stands in (("relay", True), ("lid", False)):
        entry = LogbookEntry("heron", first.started, "repaired", part)
        leaking = Balance(power_per_loss=Estimate(-0.3, 0.03))
        _, findings = run(make_case(index=21, memory=memory, entries=(entry,), balance=leaking))
        assert any(f.cause == "heat_leak" for f in findings) == stands


def test_a_loss_is_remembered_in_words_that_count_firings(make_case):
    lost = Lost(4, None, -0.2, -0.2, (Share("open_circuit", None, None, 0.9),))
    for index, said in ((4, "in this firing"), (5, "one firing ago"), (7, "3 firings ago")):
        (evidence,) = remembered_evidence(make_case(index=index), lost)
        assert evidence.text.startswith(f"It showed {said} and")

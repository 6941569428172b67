"""What concerns one firing alone is information and nothing more."""

from analysis.condition import Balance
from analysis.measures import BandClimb, Estimate


def causes(findings):
    return {f.cause: f.severity for f in findings}


def test_a_healthy_firing_has_no_finding(make_case, run):
    assert run(make_case())[1] == ()


def test_a_heavy_load_takes_more_heat_for_each_degree_with_power_against_loss_unchanged(make_case, run):
    heavy = Balance(Estimate(-0.8, 0.1), Estimate(-0.8, 0.1), Estimate(0.0, 0.01))
    assert causes(run(make_case(balance=heavy))[1]) == {"heavy_load": "info"}
    weak = Balance(Estimate(-0.8, 0.1), Estimate(-0.3, 0.1), Estimate(-0.5, 0.01))
    assert "heavy_load" not in causes(run(make_case(balance=weak))[1])


def test_more_heat_than_any_load_can_take_is_no_load(make_case, run):
    monstrous = Balance(Estimate(-1.2, 0.1), Estimate(-1.2, 0.1), Estimate(0.0, 0.01))
    assert "heavy_load" not in causes(run(make_case(balance=monstrous))[1])


def test_a_heavy_load_shows_in_the_climb_alone_where_the_kiln_is_well_known(make_case, run):
    by_climb = Balance(
        power_per_capacity=Estimate(-0.5, 0.5), power_per_loss=Estimate(0.3, 0.4), load=Estimate(0.7, 0.08)
    )
    assert causes(run(make_case(balance=by_climb))[1]) == {"heavy_load": "info"}


def test_cooling_is_called_a_witness_only_if_the_log_holds_it(make_case, run):
    heavy = Balance(Estimate(-0.8, 0.1), Estimate(-0.8, 0.1), Estimate(0.0, 0.01))
    assert "cooling" not in run(make_case(balance=heavy))[1][0].evidence[0].text


def test_the_first_firings_have_nothing_to_be_heavier_than(make_case, run):
    heavy = Balance(Estimate(-0.8, 0.1), Estimate(-0.8, 0.1), Estimate(0.0, 0.01))
    assert run(make_case(balance=heavy, index=2))[1] == ()


def test_a_new_programme_is_named(make_case, run):
    assert causes(run(make_case(new_programme=True))[1]) == {"programme_change": "info"}


def test_a_stopped_firing_and_a_cut_log_are_told_apart(make_case, run):
    assert causes(run(make_case(end="aborted", short_c=500.0))[1]) == {"aborted_firing": "info"}
    assert causes(run(make_case(end="incomplete", complete_tail=False))[1]) == {"incomplete_log": "info"}


def test_a_stopped_firing_kept_pace_only_if_it_lay_near_its_set_point(make_case, run):
    for lag_c, said in ((4.0, True), (59.0, False), (None, False)):
        _, (finding,) = run(make_case(end="aborted", short_c=500.0, lag_c=lag_c))
        assert ("kept pace" in finding.evidence[0].text) is said


def test_a_stall_that_nothing_explains_is_not_passed_over(make_case, run):
    """A contact that opens only when hot leaves most of the firing as ever."""
    cooled = (BandClimb(900.0, Estimate(-150.0, 2.0), 0.0),)
    stalled = {"end": "stalled", "short_c": 120.0, "cooling_bands": cooled}
    _, findings = run(make_case(**stalled))
    assert [f.cause for f in findings] == ["open_circuit", "low_supply"]
    assert "opens only when hot" in findings[0].evidence[0].text
    assert run(make_case(**stalled, output="none"))[1] == (), "full output is a guess there"
    assert run(make_case(**stalled | {"cooling_bands": ()}))[1] == (), "the log ended, the firing may have gone on"
    assert run(make_case(**stalled | {"short_c": 20.0}))[1] == ()

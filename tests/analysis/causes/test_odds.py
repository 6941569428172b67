"""Odds among rivals: causes that explain the same evidence share it, and nothing at all stays possible."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.causes.case import Suspicion
from analysis.causes.memory import Standing
from analysis.causes.odds import RIVALS, among_rivals, cleared, log_odds_of, probability, stand
from analysis.findings import CAUSES
from config.logbook import LogbookEntry

ODDS = st.floats(-20.0, 20.0)


def test_every_cause_competes_in_exactly_one_set():
    """A cause in none would be dropped in silence."""
    assert sorted(cause for rivals in RIVALS for cause in rivals) == sorted(CAUSES)


@given(st.lists(ODDS, min_size=1, max_size=5))
def test_rivals_share_less_than_certainty_and_the_stronger_gets_more(odds):
    suspicions = [Suspicion(cause="open_circuit", log_odds=each, zone=str(n)) for n, each in enumerate(odds)]
    ranked = among_rivals(suspicions)
    shares = [share for _, share in ranked]
    assert sum(shares) < 1.0 or sum(shares) == pytest.approx(1.0)
    assert [each.log_odds for each, _ in ranked] == pytest.approx(sorted(odds, reverse=True), abs=1e-9)


@given(ODDS)
def test_a_lone_suspicion_has_the_probability_of_its_own_odds(odds):
    ((_, share),) = among_rivals([Suspicion(cause="heat_leak", log_odds=odds)])
    assert share == pytest.approx(probability(odds))
    if -10.0 < odds < 10.0:
        assert log_odds_of(share) == pytest.approx(odds, abs=1e-6)


def test_causes_that_explain_different_things_do_not_take_from_each_other():
    alone = dict(among_rivals([Suspicion(cause="element_ageing", log_odds=1.0)]))
    both = dict(
        among_rivals(
            [Suspicion(cause="element_ageing", log_odds=1.0), Suspicion(cause="thermocouple_fault", log_odds=3.0)]
        )
    )
    assert both[next(iter(alone))] == next(iter(alone.values()))


def test_a_fault_that_this_firing_could_not_show_is_not_said_to_have_gone(make_case):
    standing = (Standing("welded_contact", "top", None, 4.0, 4, None),)
    for telling, said in ((False, "this one could not show it"), (True, "the last firing did not show it again")):
        _, (suspicion,) = stand(standing, [], make_case(index=5), telling=telling)
        assert said in suspicion.evidence[0].text


def test_a_closed_contact_told_with_and_without_its_zone_is_one_as_sure_as_the_surer(make_case):
    standing = (
        Standing("welded_contact", "top", None, 1.0, 7, None),
        Standing("welded_contact", None, None, 6.0, 4, None),
    )
    now = Suspicion(cause="welded_contact", log_odds=1.0, zone="top", lasting=True)
    (kept,), (running,) = stand(standing, [now], make_case(index=8), telling=True)
    assert (kept.zone, kept.log_odds, kept.since_firing) == ("top", 7.0, 4)
    assert (running.zone, running.since_firing) == ("top", 4)


def test_only_a_closed_contact_may_show_before_its_zone_does(make_case):
    """A couple and a loose connection are seen in a zone, so one without a zone is no one zone's."""
    case = make_case(index=8)
    for cause, part in (("thermocouple_fault", "thermocouple"), ("loose_connection", "wiring")):
        standing = (Standing(cause, None, None, 4.0, 4, None),)
        kept, _ = stand(standing, [Suspicion(cause=cause, log_odds=4.0, zone="top", lasting=True)], case, telling=True)
        assert {item.zone for item in kept} == {None, "top"}
        entry = LogbookEntry("heron", case.started, "replaced", part, zone="top")
        assert cleared(standing, make_case(index=8, entries=(entry,))) == standing

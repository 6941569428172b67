"""The life of an alert: each transition and each message, with the rule that makes it."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.alerts.hiding import EXPLAINS
from daemon.alerts.incident import (
    Acknowledged,
    Alert,
    Change,
    Facts,
    FiringSeen,
    Muted,
    Sighted,
    Telling,
    incident_id,
)
from daemon.alerts.lifecycle import LONGEST_CLEARING, observe
from daemon.alerts.policy import Policy
from daemon.alerts.telling import tell

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY = timedelta(days=1)
POLICY = Policy()
ESCALATING = Policy(escalates=True)

WORN = Facts("element_ageing", "warning", probability=0.86, power=0.91)
DEAD = Facts("open_circuit", "urgent", zone="top", circuit="top", probability=0.97, power=0.66)
BROKEN = Facts("open_element", "urgent", zone="top", probability=0.8, power=0.7)
LEAK = Facts("heat_leak", "warning", probability=0.7)
STUCK = Facts("welded_contact", "urgent", zone="top", probability=0.95)


class Kiln:
    """A kiln whose firings are judged one after the other, two days apart."""

    def __init__(self, policy: Policy = POLICY) -> None:
        self.policy, self.now, self.index = policy, START, -1
        self.alerts: tuple[Alert, ...] = ()
        self.changes: list[Change] = []
        self.told: list[Telling] = []
        self.muted_until: datetime | None = None

    def event(self, event: object) -> "Kiln":
        self.alerts, changes = observe(self.alerts, event, self.policy, self.now)  # type: ignore[arg-type]
        self.changes += changes
        return self

    def tell(self) -> list[str]:
        self.alerts, tellings = tell(self.alerts, self.policy, self.now, kiln_muted_until=self.muted_until)
        self.told += tellings
        return [telling.kind for telling in tellings]

    def fire(self, *facts: Facts, days: float = 2, **how: object) -> list[str]:
        self.now += days * DAY
        self.index += 1
        self.event(FiringSeen("juniper", self.index, facts, **how))  # type: ignore[arg-type]
        return self.tell()

    def wait(self, length: timedelta) -> list[str]:
        self.now += length
        return self.tell()

    @property
    def one(self) -> Alert:
        (alert,) = self.alerts
        return alert


# -- raising ----------------------------------------------------------------------------------------------------


def test_an_urgent_finding_is_told_in_its_first_firing() -> None:
    kiln = Kiln()
    assert kiln.fire(DEAD) == ["raised"]
    assert kiln.one.state == "open"


def test_a_warning_is_told_when_seen_in_two_of_three_firings() -> None:
    kiln = Kiln()
    assert kiln.fire(WORN) == []
    assert kiln.fire() == []
    assert kiln.fire(WORN) == ["raised"]


def test_a_warning_seen_once_is_forgotten_without_a_word() -> None:
    kiln = Kiln()
    told = [kind for facts in [(WORN,), (), (), ()] for kind in kiln.fire(*facts)]
    assert told == []
    assert kiln.alerts == ()
    assert [change.kind for change in kiln.changes] == ["noticed", "dropped"]


def test_what_is_there_on_some_days_only_is_told_the_third_time() -> None:
    low = Facts("low_supply", "warning", probability=0.95)
    kiln = Kiln()
    evenings = [low, None, None, low, None, None, low]
    assert [kiln.fire(*([facts] if facts else [])) for facts in evenings] == [[]] * 6 + [["raised"]]
    worn = Kiln()
    assert [worn.fire(*([WORN] if facts else [])) for facts in evenings] == [[]] * 7
    seldom = Kiln()
    for _ in range(4):
        assert seldom.fire(low) == []
        assert [seldom.fire() for _ in range(12)] == [[]] * 12


def test_an_info_finding_is_never_an_alert() -> None:
    kiln = Kiln()
    for _ in range(5):
        assert kiln.fire(replace(WORN, severity="info")) == []
    assert kiln.alerts == ()


def test_one_message_for_one_cause_not_one_per_firing() -> None:
    kiln = Kiln()
    told = [kind for _ in range(6) for kind in kiln.fire(DEAD, days=0.1)]
    assert told == ["raised"]


def test_a_second_zone_with_the_same_cause_is_a_second_incident() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    assert kiln.fire(DEAD, replace(DEAD, zone="bottom", circuit="bottom"), days=0.1) == ["raised"]
    assert len({alert.incident for alert in kiln.alerts}) == 2


def test_a_diagnosis_that_learns_its_zone_stays_the_same_incident() -> None:
    kiln = Kiln()
    kiln.fire(replace(DEAD, zone=None, circuit=None))
    first = kiln.one.incident
    assert kiln.fire(DEAD, days=0.1) == []
    assert (kiln.one.incident, kiln.one.zone) == (first, "top")


def test_a_diagnosis_that_moves_within_its_family_stays_the_same_incident_and_is_told_once() -> None:
    kiln = Kiln()
    kiln.fire(BROKEN)
    first = kiln.one.incident
    assert kiln.fire(DEAD, days=0.5) == []
    assert (kiln.one.incident, kiln.one.cause) == (first, "open_circuit")
    assert kiln.wait(0.6 * DAY) == ["revised"]
    assert kiln.wait(0.1 * DAY) == []


# -- hiding -----------------------------------------------------------------------------------------------------


def test_a_worse_cause_hides_the_lesser_it_explains() -> None:
    kiln = Kiln()
    kiln.fire(DEAD, WORN)
    kiln.fire(DEAD, WORN, days=0.1)
    assert [(t.kind, t.alert.cause) for t in kiln.told] == [("raised", "open_circuit")]


def test_what_was_hidden_is_told_when_the_worse_is_gone_and_it_still_stands() -> None:
    kiln = Kiln()
    kiln.fire(DEAD, WORN)
    kiln.fire(DEAD, WORN, days=0.1)
    kiln.told.clear()
    kiln.fire(WORN, days=0.1)
    kiln.fire(WORN, days=0.1)
    assert [(t.kind, t.alert.cause) for t in kiln.told] == [("cleared", "open_circuit"), ("raised", "element_ageing")]


def test_a_lesser_one_that_ends_while_hidden_ends_without_a_word() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    kiln.fire(DEAD, WORN)
    kiln.told.clear()
    kiln.fire(DEAD, days=0.1)
    kiln.fire(DEAD, days=0.1)
    assert kiln.told == []


def test_nothing_urgent_is_hidden_behind_a_warning() -> None:
    kiln = Kiln()
    kiln.fire(replace(DEAD, severity="warning"), replace(BROKEN, severity="urgent"))
    assert [t.alert.cause for t in kiln.told] == ["open_element"]


def test_no_two_causes_hide_each_other() -> None:
    for worse, lesser in EXPLAINS.items():
        assert worse not in lesser
        for cause in lesser:
            assert worse not in EXPLAINS.get(cause, frozenset()), (worse, cause)


# -- worse, repeated, escalated ---------------------------------------------------------------------------------


def test_a_warning_that_turns_urgent_is_told_at_once() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    assert kiln.fire(replace(WORN, severity="urgent")) == ["worsened"]


def test_a_further_loss_of_power_is_told_once() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    assert kiln.fire(replace(WORN, power=0.87)) == []
    assert kiln.fire(replace(WORN, power=0.85, power_high=0.92)) == []  # so wide an interval shows no fall
    assert kiln.fire(replace(WORN, power=0.859)) == ["worsened"]
    assert kiln.fire(replace(WORN, power=0.85)) == []


def test_a_kiln_that_is_not_fired_is_reminded_of_once() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    assert [kind for _ in range(60) for kind in kiln.wait(DAY)] == ["repeated"]
    assert kiln.fire(DEAD) == ["repeated"]


def test_repeats_come_after_the_set_interval_and_grow_rarer() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    days = []
    for day in range(1, 200):
        if kiln.fire(WORN, days=1):
            days.append(day)
    assert days[:4] == [14, 42, 98, 154]  # 14, then 28, then 56 days apart, and never rarer


def test_an_urgent_alert_nobody_acknowledged_goes_to_the_second_group_once() -> None:
    kiln = Kiln(ESCALATING)
    kiln.fire(DEAD)
    kinds = [kind for _ in range(24) for kind in kiln.wait(timedelta(hours=1))]
    assert kinds == ["escalated"]
    assert kiln.fire(DEAD, days=0.25) == ["repeated"]


def test_without_a_second_group_nothing_escalates() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    assert kiln.wait(timedelta(hours=23)) == []


# -- acknowledged and muted -------------------------------------------------------------------------------------


def test_an_acknowledged_alert_is_neither_repeated_nor_escalated() -> None:
    kiln = Kiln(ESCALATING)
    kiln.fire(DEAD)
    kiln.event(Acknowledged(kiln.one.incident))
    assert kiln.one.state == "acknowledged"
    assert [kind for _ in range(60) for kind in kiln.wait(DAY)] == []


def test_an_acknowledged_alert_speaks_again_when_it_gets_worse() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    kiln.event(Acknowledged(kiln.one.incident))
    assert kiln.fire(replace(WORN, power=0.85)) == ["worsened"]
    assert kiln.one.state == "open"


def test_an_acknowledged_alert_still_gets_its_closing() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    kiln.event(Acknowledged(kiln.one.incident))
    kiln.fire()
    assert kiln.fire() == ["cleared"]


def test_a_muted_incident_is_silent_until_the_moment_set() -> None:
    kiln = Kiln(ESCALATING)
    kiln.fire(DEAD)
    kiln.event(Muted(kiln.one.incident, kiln.now + 10 * DAY))
    assert [kind for _ in range(9) for kind in kiln.wait(DAY)] == []
    assert kiln.wait(DAY) == ["escalated"]


def test_a_muted_incident_speaks_when_it_gets_worse() -> None:
    kiln = Kiln()
    kiln.fire(WORN)
    kiln.fire(WORN)
    kiln.event(Muted(kiln.one.incident, kiln.now + 100 * DAY))
    assert kiln.fire(replace(WORN, severity="urgent")) == ["worsened"]


def test_a_muted_kiln_keeps_warnings_back_and_tells_what_is_urgent() -> None:
    kiln = Kiln()
    kiln.muted_until = START + 30 * DAY
    assert kiln.fire(LEAK) + kiln.fire(LEAK) == []
    assert kiln.fire(LEAK, STUCK) == ["raised"]
    assert kiln.told[-1].alert.cause == "welded_contact"
    kiln.now = kiln.muted_until
    assert "raised" in kiln.tell()  # the leak, when the mute ends


# -- clearing, coming back --------------------------------------------------------------------------------------


def test_an_alert_clears_after_two_firings_without_it() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    assert kiln.fire(days=0.5) == []
    assert kiln.fire() == ["cleared"]


def test_a_log_that_shows_nothing_does_not_clear_an_alert() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    for _ in range(5):
        assert "cleared" not in kiln.fire(informative=False, days=0.1)


def test_the_first_good_firing_after_a_repair_clears_at_once() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    assert kiln.fire(verified=True, closing="Full power again.") == ["cleared"]
    assert kiln.told[-1].alert.facts.closing == "Full power again."


def test_no_closing_where_no_opening_was_told() -> None:
    kiln = Kiln()
    kiln.event(FiringSeen("juniper", 0, (DEAD,)))
    for index in (1, 2):
        kiln.event(FiringSeen("juniper", index, ()))
    assert kiln.tell() == []


def test_a_warning_that_comes_and_goes_speaks_at_most_once_a_week() -> None:
    kiln = Kiln()
    for n in range(60):
        kiln.fire(*([LEAK] if n % 4 < 2 else []), days=0.5)
    openings = [t for t in kiln.told if t.kind in ("raised", "returned")]
    assert len(openings) <= 4
    assert len({t.alert.incident for t in kiln.told}) == 1


def test_each_return_asks_for_twice_the_good_firings_before_it_counts_as_over() -> None:
    kiln = Kiln()
    needed = []
    for _ in range(5):
        kiln.fire(LEAK, days=4)
        kiln.fire(LEAK, days=4)
        n = 0
        while not kiln.fire(days=0.5):
            n += 1
        needed.append(n + 1)
    assert needed == [2, 4, LONGEST_CLEARING, LONGEST_CLEARING, LONGEST_CLEARING]


def test_a_trouble_long_over_that_comes_again_is_a_new_incident() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    kiln.fire()
    kiln.fire()
    assert kiln.fire(DEAD, days=100) == ["raised"]
    assert len({t.alert.incident for t in kiln.told}) == 2


# -- read again, backlog, clock ---------------------------------------------------------------------------------


def test_a_backlog_tells_only_what_still_stands_at_its_end() -> None:
    kiln = Kiln()
    for index in range(20):
        facts = (DEAD,) if index in (3, 4, 5) else (WORN,) if index >= 17 else ()
        kiln.event(FiringSeen("juniper", index, facts))
    kiln.tell()
    assert [(t.kind, t.alert.cause) for t in kiln.told] == [("raised", "element_ageing")]


def test_a_fuller_log_that_shows_it_never_was_withdraws_the_alert() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    kiln.event(FiringSeen("juniper", kiln.index, ()))
    assert kiln.tell() == ["cleared"]
    assert kiln.changes[-1].kind == "withdrawn"


def test_judging_the_last_firings_again_with_the_same_result_tells_nothing() -> None:
    kiln = Kiln()
    for facts in [(), (WORN,), (WORN, DEAD), (DEAD,)]:
        kiln.fire(*facts, days=0.1)
    for index, facts in enumerate([(), (WORN,), (WORN, DEAD), (DEAD,)]):
        kiln.event(FiringSeen("juniper", index, facts))
    assert kiln.tell() == []


def test_after_the_clock_was_set_back_waits_count_from_now() -> None:
    kiln = Kiln()
    kiln.fire(DEAD)
    kiln.now -= 400 * DAY  # the clock had been wrong by a year
    assert kiln.tell() == []
    assert kiln.wait(DAY) == ["repeated"]


# -- live and machine room --------------------------------------------------------------------------------------

BEHIND = Facts("behind", "warning", scope="juniper/now.csv", text="60 behind")
GONE = Facts("drop folder", "urgent", text="The drop folder is gone.")


def live(*facts: Facts) -> Sighted:
    return Sighted("live", "juniper", facts, scope="juniper/now.csv")


def test_a_live_state_is_told_once_and_closed_when_it_recovers() -> None:
    kiln = Kiln()
    told = []
    for facts in [(BEHIND,), (BEHIND,), (), (), (BEHIND,), ()]:
        kiln.now += timedelta(minutes=30)
        told += kiln.event(live(*facts)).tell()
    assert told == ["raised", "cleared"]


def test_a_live_state_is_not_repeated_and_not_told_under_a_cause_that_explains_it() -> None:
    kiln = Kiln()
    kiln.fire(replace(DEAD, zone=None, circuit=None))
    assert kiln.event(live(BEHIND)).tell() == []


def test_the_finding_that_explains_a_live_state_absorbs_its_closing() -> None:
    kiln = Kiln()
    kiln.event(live(BEHIND)).tell()
    kiln.fire(DEAD, days=0.1)
    assert kiln.event(live()).tell() == []


def test_heat_without_demand_is_told_in_every_firing_it_happens() -> None:
    kiln = Kiln()
    for log in ("a.csv", "b.csv"):
        kiln.now += DAY
        hot = Facts("heat_without_demand", "urgent", scope=log)
        assert kiln.event(Sighted("live", "juniper", (hot,), scope=log)).tell() == ["raised"]
        assert kiln.event(Sighted("live", "juniper", (), scope=log)).tell() == ["cleared"]


def test_a_trouble_of_the_machine_room_leaves_the_others_alone() -> None:
    kiln = Kiln()
    full = Facts("disk", "warning", text="The disk is nearly full.")
    kiln.event(Sighted("machine", "", (GONE,), causes=("drop folder",)))
    kiln.event(Sighted("machine", "", (full,), causes=("disk",)))
    assert kiln.tell() == ["raised", "raised"]
    kiln.event(Sighted("machine", "", (), causes=("drop folder",)))
    assert kiln.tell() == ["cleared"]
    assert [a.cause for a in kiln.alerts if a.standing] == ["disk"]


def test_incident_ids_are_short_plain_and_the_same_for_the_same_beginning() -> None:
    one, again = (incident_id("firing", "juniper", DEAD, "7") for _ in range(2))
    assert one == again
    assert one != incident_id("firing", "juniper", DEAD, "8")
    assert incident_id("machine", "", GONE, "x").startswith("COIL-")
    assert one.isascii()
    assert len(one) == 8


# -- properties -------------------------------------------------------------------------------------------------

DRIFT = Facts("thermocouple_drift", "warning", zone="top", probability=0.8)
FINDINGS = st.lists(st.sampled_from([WORN, DEAD, BROKEN, LEAK, STUCK]), max_size=3, unique_by=lambda f: f.cause)
RUNS = st.lists(FINDINGS, min_size=1, max_size=14)
UNRELATED = st.lists(
    st.lists(st.sampled_from([WORN, DEAD, STUCK, DRIFT]), max_size=3, unique_by=lambda f: f.cause),
    min_size=1,
    max_size=14,
)


def messages(run: list[list[Facts]], upto: int, *, twice: bool) -> list[tuple[str, str, int]]:
    kiln = Kiln()
    for n, facts in enumerate(run):
        kiln.fire(*facts)
        if twice and n == upto:  # a re-exported log, or a restart in mid-intake: all of it judged again
            for index, again in enumerate(run[: n + 1]):
                kiln.event(FiringSeen("juniper", index, tuple(again)))
            assert kiln.tell() == []
    return [(t.alert.incident, t.kind, t.number) for t in kiln.told]


@given(run=UNRELATED, data=st.data())
@settings(max_examples=80, deadline=None)
def test_replaying_any_prefix_of_firings_gives_the_same_messages(run: list[list[Facts]], data: st.DataObject) -> None:
    upto = data.draw(st.integers(0, len(run) - 1))
    assert messages(run, upto, twice=True) == messages(run, upto, twice=False)


@given(run=RUNS, data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_replay_itself_tells_nothing_whatever_the_diagnoses_moved_to(
    run: list[list[Facts]], data: st.DataObject
) -> None:
    messages(run, data.draw(st.integers(0, len(run) - 1)), twice=True)


@given(run=RUNS)
@settings(max_examples=60, deadline=None)
def test_openings_and_closings_of_an_incident_alternate_and_numbers_count_up(run: list[list[Facts]]) -> None:
    kiln = Kiln()
    for facts in run:
        kiln.fire(*facts)
    by_incident: dict[str, list[Telling]] = {}
    for telling in kiln.told:
        by_incident.setdefault(telling.alert.incident, []).append(telling)
    for tellings in by_incident.values():
        assert [t.number for t in tellings] == list(range(1, len(tellings) + 1))
        assert tellings[0].kind == "raised"
        for earlier, later in itertools.pairwise(tellings):
            assert earlier.kind != "cleared" or later.kind == "returned", [t.kind for t in tellings]
            assert later.kind != "raised"


@pytest.mark.parametrize("seed", range(3))
def test_a_healthy_kiln_with_stray_findings_causes_at_most_one_message_a_month(seed: int) -> None:
    """Stray warnings in 4 % of firings, of five causes, three firings a week for two years."""
    import numpy as np

    chance = np.random.default_rng(seed)
    causes = ["element_ageing", "heat_leak", "thermocouple_drift", "low_supply", "thermocouple_fault"]
    kiln = Kiln()
    for _ in range(312):
        stray = [Facts(causes[int(chance.integers(5))], "warning")] if chance.random() < 0.04 else []
        kiln.fire(*stray, days=7 / 3)
    months = [(t.alert.raised_at or START).strftime("%Y-%m") for t in kiln.told]
    assert max((months.count(m) for m in months), default=0) <= 1
    assert len(months) <= 3

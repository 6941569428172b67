"""Cost and dates: like with like, with an interval, and nothing where nothing can be told."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.assessment import to_record
from analysis.findings import PowerRatio
from analysis.judgement import Verification
from analysis.verification import FULL
from config.logbook import LogbookEntry
from daemon.report.charts_use import energy_chart, energy_interval_kwh
from daemon.report.cost import cost_of, price_of_set
from daemon.report.energy_drawn import drawn_kwh
from daemon.report.pace import date_after, days_between_firings
from daemon.report.shown import about, money, odds, plain, power
from daemon.report.verification import verification


def with_energy(history, energies):
    """Return the history with one programme and these energies."""
    fired = []
    for one, kwh in zip(history.firings, energies, strict=False):
        said = one.assessment
        as_new = PowerRatio(1.0, 0.99, 1.01)
        said = replace(said, programme="p", power=as_new, measures=replace(said.measures, energy_kwh=kwh))
        fired.append(replace(one, assessment=said))
    return replace(history, firings=fired, logbook=())


def test_extra_energy_is_the_difference_of_the_ends_with_its_error(juniper):
    early, late = [60.0, 61.0, 59.0, 60.0, 61.0, 59.0], [66.0, 65.0, 67.0, 66.0, 65.0, 67.0]
    cost = cost_of(with_energy(juniper, [*early, *[63.0] * 10, *late]))
    assert cost.extra_kwh == pytest.approx(6.0)
    spread = 0.8944271910  # standard deviation of each end
    assert cost.extra_high - cost.extra_kwh == pytest.approx(1.645 * (2 * spread**2 / 6) ** 0.5)
    assert cost.extra_money == pytest.approx(6.0 * 0.34)
    assert cost.set_price == pytest.approx(410.0 * 6)
    assert cost.payback_firings == pytest.approx(410.0 * 6 / (6.0 * 0.34))


def test_pages_show_the_energy_of_the_record_and_weigh_it_with_the_power_only_once(juniper):
    said = juniper.judged[-1]
    assert said.power.value == pytest.approx(0.87, abs=0.01), "a worn kiln"
    recorded = to_record(said, ("a.csv",), "a.csv")["energy_kwh"]
    assert drawn_kwh(said) == pytest.approx(recorded, abs=0.01)


def test_loads_that_hide_the_difference_give_no_payback(juniper):
    cost = cost_of(with_energy(juniper, [50.0, 70.0, 60.0, 55.0, 65.0, 60.0] * 3))
    assert cost.extra_low < 0 < cost.extra_high
    assert cost.payback_firings is None


def test_only_the_firings_since_the_last_new_set_are_compared(juniper):
    history = with_energy(juniper, [90.0] * 10 + [60.0] * 6 + [64.0] * 6)
    at = history.judged[10].started - timedelta(hours=1)
    renewed = replace(history, logbook=(LogbookEntry("juniper", at, "replaced", "elements"),))
    assert cost_of(renewed).extra_kwh == pytest.approx(4.0)
    assert cost_of(history).extra_kwh == pytest.approx(-26.0)


def test_without_energy_there_is_no_cost_and_without_a_price_no_money(juniper, thrift):
    assert cost_of(thrift) is None
    free = cost_of(replace(juniper, studio=replace(juniper.studio, energy_price=None)))
    assert free.last_kwh is not None
    assert free.last_money is None
    assert free.extra_money is None


def test_a_kiln_whose_elements_are_not_counted_has_no_price_of_a_set(juniper):
    assert price_of_set(replace(juniper.kiln, circuits=())) is None


def test_pace_is_the_mean_gap_and_a_long_closing_is_cut_short(juniper):
    assert days_between_firings(juniper) == pytest.approx(3.4)
    late = []
    for one in juniper.firings[-10:]:
        shift = timedelta(days=300 if one.index >= 55 else 0)
        late.append(replace(one, assessment=replace(one.assessment, started=one.assessment.started + shift)))
    assert days_between_firings(replace(juniper, firings=late)) == pytest.approx((8 * 3.4 + 60) / 9)


def test_a_date_ahead_follows_the_pace_and_is_none_without_one(juniper):
    last = juniper.judged[-1].started
    assert date_after(juniper, 10) == last + timedelta(days=34)
    assert date_after(replace(juniper, firings=juniper.firings[:2]), 10) is None
    assert date_after(juniper, 1e6) is None


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (9, "about 10 Jan 2026"),
        (20, "about late Jan 2026"),
        (33, "about early Feb 2026"),
        (200, "about Jul 2026"),
        (900, "not before 2028"),
    ],
)
def test_a_date_is_said_as_exactly_as_it_can_be_meant(days, said):
    now = datetime(2026, 1, 1, 12, tzinfo=UTC)
    assert about(now + timedelta(days=days), now, "UTC") == said


@pytest.mark.parametrize(
    ("currency", "said"), [("€", "€1,234.50"), ("EUR", "€1,234.50"), ("kr", "1,234.50 kr"), ("", "1,234.50")]
)
def test_money_wears_the_studios_sign(currency, said):
    assert money(1234.5, currency) == said


def test_a_narrow_interval_shows_tenths_and_a_bound_is_called_one():
    assert power(PowerRatio(1.0, 0.995, 1.004)) == "100.0 % (99.5 to 100.4)"
    assert power(PowerRatio(0.87, 0.85, 0.89)) == "87 % (85 to 89)"
    assert power(PowerRatio(None, 0.93, None)) == "at least 93 %"
    assert power(PowerRatio(None, None, None)) == "not known"


def test_nothing_is_ever_certain():
    assert odds(1.0) == "almost certain (99 in 100)"
    assert odds(0.0).endswith("(1 in 100)")


def test_characters_that_a_terminal_or_the_reading_direction_obeys_are_dropped():
    assert plain("a\x1b[31mb\u202ec\x00d\te\n f") == "a[31mbcd e f"
    assert plain("x" * 50, 10) == "x" * 9 + "…"


def test_after_a_repair_the_first_firings_say_whether_it_gave_full_power(juniper):
    at = juniper.judged[56].started + timedelta(hours=30)
    fixed = replace(juniper, logbook=(LogbookEntry("juniper", at, "replaced", "relay", zone="top"),))
    assert verification(fixed).sentence.startswith("Not enough full output since the repair")
    told = []
    for one in fixed.firings:
        said = one.assessment
        if one.index == 57:
            said = replace(said, verification="All circuits give full power.", firing_power=PowerRatio(1.0, 0.98, 1.02))
        if one.index == 59:
            nothing = PowerRatio(None, None, None)
            said = replace(said, verification="Not enough full output to tell.", firing_power=nothing)
        told.append(replace(one, assessment=said))
    found = verification(replace(fixed, firings=told))
    assert found.sentence == "All circuits give full power.", "a firing that cannot tell takes nothing back"
    assert [name for name, _ in found.firings] == ["Firing 58"], "nor does it ask for more firings"


def spoken_after(juniper, *said):
    """Return the history with a relay changed before its newest firings, which said these things of it."""
    count = len(said)
    at = juniper.judged[-count].started - timedelta(hours=5)
    told = list(juniper.firings)
    for i, each in enumerate(said):
        one = told[len(told) - count + i]
        spoken = replace(one.assessment, verification=each.text, repair=each.outcome)
        told[len(told) - count + i] = replace(one, assessment=spoken)
    return replace(juniper, firings=told, logbook=(LogbookEntry("juniper", at, "replaced", "relay"),))


def test_a_proved_repair_is_told_once_with_the_firing_that_showed_it(juniper):
    text = "An earlier firing after the repair showed full power; nothing in this one speaks against it."
    later = Verification("nothing against it", text)
    found = verification(spoken_after(juniper, FULL, later, later))
    assert found.sentence.startswith(f"All circuits give full power: firing {juniper.judged[-3].index + 1} (")
    assert found.firings == ()


def test_what_a_later_firing_says_against_a_repair_stands(juniper):
    text = "The firing after the repair still shows open circuit in zone top: recheck."
    found = verification(spoken_after(juniper, FULL, Verification("still faulty", text, "top")))
    assert found.sentence == text


def test_firings_in_a_row_that_say_the_same_are_one_line(juniper):
    against = Verification("still faulty", "The firing after the repair still shows heat leak: recheck.")
    first, last = juniper.judged[-3].index + 1, juniper.judged[-1].index + 1
    told = verification(spoken_after(juniper, *[against] * 3)).firings
    assert told == ((f"Firings {first} to {last}", against.text),)


def test_a_repair_without_a_firing_since_asks_for_the_verification_firing(juniper):
    at = juniper.judged[-1].started + timedelta(days=1)
    found = verification(replace(juniper, logbook=(LogbookEntry("juniper", at, "replaced", "elements"),)))
    assert "Run the verification firing" in found.sentence


def test_a_lid_repair_and_an_old_repair_need_no_proof_of_power(juniper):
    old = juniper.judged[2].started
    for entry in (
        LogbookEntry("juniper", old, "replaced", "elements"),
        LogbookEntry("juniper", old, "repaired", "lid"),
    ):
        assert verification(replace(juniper, logbook=(entry,))) is None


def test_each_firings_energy_stands_with_its_interval_and_its_cost(juniper):
    said = juniper.judged[-1]
    low, high = energy_interval_kwh(said)
    assert low < drawn_kwh(said) < high
    assert high / low == pytest.approx(said.power.high / said.power.low)
    drawn = energy_chart(juniper)
    assert drawn.table.columns[-1] == "Cost"
    assert drawn.table.rows[0][-1] == f"€{0.34 * drawn_kwh(said):.2f}"
    assert "90 % interval" in drawn.notes[0]
    free = energy_chart(replace(juniper, studio=replace(juniper.studio, energy_price=None)))
    assert "Cost" not in free.table.columns
    bound = replace(said, power=replace(said.power, value=None))
    assert energy_interval_kwh(bound) is None

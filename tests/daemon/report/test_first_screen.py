"""The first screen: is it all right, what is wrong, what to do, by when, how sure."""

from dataclasses import replace
from datetime import timedelta

import pytest

from analysis.findings import Finding, Outlook, PowerRatio
from config.logbook import OPEN_OHM, LogbookEntry
from config.wording import load
from daemon.report.charts_power import power_chart
from daemon.report.history import KilnHistory
from daemon.report.kiln_page import kiln_page
from daemon.report.studio_page import studio_page
from daemon.report.verdict import verdict

WORDS = load()
RECHECK_TOLD = "still gives only 66 % of its power: recheck."


def with_last(history: KilnHistory, **changes) -> KilnHistory:
    """Return the history with its newest assessment changed."""
    last = history.firings[-1]
    return replace(
        history, firings=[*history.firings[:-1], replace(last, assessment=replace(last.assessment, **changes))]
    )


def test_a_kiln_without_firings_is_not_called_sound(juniper):
    said = verdict(replace(juniper, firings=[]), WORDS)
    assert said.standing == "unknown"
    assert "No firing" in said.headline


def test_a_kiln_that_kept_pace_is_sound_with_its_lower_bound(thrift):
    said = verdict(thrift, WORDS)
    assert said.standing == "sound"
    assert "at least 93 %" in said.headline
    assert "how much more cannot be seen" in said.how_sure


def test_a_kiln_whose_power_no_firing_shows_cannot_be_told_and_says_what_would(thrift):
    nothing = PowerRatio(None, None, None)
    said = verdict(with_last(thrift, power=nothing), WORDS)
    assert said.standing == "unknown"
    assert "full output" in said.do


def test_worn_elements_ask_for_a_visit_by_a_date_with_how_sure_and_the_rival(juniper):
    said = verdict(juniper, WORDS)
    assert said.standing == "visit"
    assert said.headline.startswith("The elements are wearing out, since 4 Jun 2026")
    assert "87 % (85 to 89)" in said.headline
    assert "about 14 firings (9 to 24)" in said.by_when
    assert "Sep 2026" in said.by_when
    assert "87 in 100" in said.how_sure
    assert "supply volts low" in said.how_sure
    assert "To decide: cold ohms above those as new" in said.how_sure


def test_an_urgent_finding_is_to_be_inspected_before_the_next_firing(heron):
    said = verdict(heron, WORDS)
    assert said.standing == "stop"
    assert said.by_when == "Before the next firing."
    assert "in circuit top" in said.headline


@pytest.mark.parametrize("cause", ["welded_contact", "loose_connection"])
def test_what_may_do_harm_says_do_not_fire(heron, cause):
    danger = Finding(cause, "urgent", 0.9)
    assert verdict(with_last(heron, findings=(danger,)), WORDS).word == "Do not fire"


def test_a_note_alone_does_not_ask_for_a_visit(juniper):
    note = Finding("heavy_load", "info", 0.9)
    said = verdict(with_last(juniper, findings=(note,), outlook=None, power=PowerRatio(0.97, 0.95, 0.99)), WORDS)
    assert said.standing == "sound"
    assert "full and heavy" in said.headline


def test_a_near_end_without_a_finding_is_worth_an_eye(juniper):
    said = verdict(with_last(juniper, findings=(), outlook=Outlook(0.85, 12.0, 8.0, 20.0)), WORDS)
    assert said.standing == "watch"
    assert "Order a set" in said.do


def test_a_threshold_passed_is_said_and_no_date_invented(juniper):
    said = verdict(with_last(juniper, power=PowerRatio(0.82, 0.80, 0.84), outlook=Outlook(0.85, 0.0, 0.0, 0.0)), WORDS)
    assert "has been passed" in said.by_when


def test_an_outlook_without_an_end_does_not_name_one(juniper):
    said = verdict(with_last(juniper, outlook=Outlook(0.85, None, 60.0, None)), WORDS)
    assert "Not within the next 60 firings" in said.by_when


def test_a_repair_that_no_firing_has_judged_yet_asks_for_the_verification_firing(heron):
    at = heron.judged[-1].started + timedelta(days=1)
    mended = replace(heron, logbook=(LogbookEntry("heron", at, "replaced", "element", zone="top"),))
    said = verdict(mended, WORDS)
    assert said.word == "Repaired, to be proved"
    assert "verification firing" in said.do
    assert "Replaced: element, zone top" in said.headline


def test_a_repair_of_something_else_changes_nothing(heron):
    at = heron.judged[-1].started + timedelta(days=1)
    other = LogbookEntry("heron", at, "replaced", "thermocouple", zone="top")
    elsewhere = LogbookEntry("heron", at, "replaced", "element", zone="bottom")
    for entry in (other, elsewhere):
        assert verdict(replace(heron, logbook=(entry,)), WORDS).standing == "stop"


def test_a_reading_since_the_last_firing_changes_the_odds_at_once(heron):
    at = heron.judged[-1].started + timedelta(days=1)
    twice = LogbookEntry("heron", at, "measured", quantity="ohm", value=41.2, where="circuit top")
    sound = replace(twice, value=20.6)
    assert "74 in 100" in verdict(heron, WORDS).how_sure
    assert "9" in verdict(replace(heron, logbook=(twice,)), WORDS).how_sure[:28]
    assert "unlikely" in verdict(replace(heron, logbook=(sound,)), WORDS).how_sure.lower()


def test_what_is_broken_does_not_wait_for_the_wear_of_the_others(heron):
    calm = replace(heron.findings[0], severity="warning")
    said = verdict(with_last(heron, findings=(calm,), outlook=Outlook(0.9, 80.0, 60.0, 120.0)), WORDS)
    assert "before ware that matters" in said.by_when


def test_a_loose_connection_is_seen_to_before_the_next_firing_even_as_a_warning(heron):
    loose = Finding("loose_connection", "warning", 0.8, zone="top")
    said = verdict(with_last(heron, findings=(loose,)), WORDS)
    assert said.by_when.startswith("Before the next firing")
    assert (said.standing, said.word) == ("stop", "Inspect before firing")


@pytest.mark.parametrize(
    ("probability", "begins"), [(0.95, "An element"), (0.7, "Most likely: an element"), (0.4, "Perhaps: an element")]
)
def test_a_headline_is_no_surer_than_the_finding(heron, probability, begins):
    found = Finding("open_element", "warning", probability, zone="top", circuit="top")
    assert verdict(with_last(heron, findings=(found,)), WORDS).headline.startswith(begins)


def test_a_dead_circuit_is_called_by_its_name(heron):
    found = Finding("open_circuit", "urgent", 0.95, zone="top", circuit="top")
    assert verdict(with_last(heron, findings=(found,)), WORDS).headline.startswith("Circuit top is dead")


def test_the_very_first_firings_are_not_praised_they_only_say_what_full_power_is(juniper):
    first = replace(juniper.firings[0].assessment, reference="first firings", findings=())
    few = replace(juniper, firings=[replace(juniper.firings[0], assessment=first)] * 2, logbook=(), open_alerts=())
    said = verdict(few, WORDS)
    assert said.standing == "unknown"
    assert "too few to judge by" in said.headline
    assert "%" not in said.headline
    assert "100 % that later firings" in power_chart(few).says
    assert verdict(replace(few, firings_in_all=40), WORDS).standing == "sound", "only the newest were loaded"


def test_readings_that_speak_against_a_finding_take_the_sureness_out_of_its_headline(heron):
    at = heron.judged[-1].started + timedelta(days=1)
    sound = LogbookEntry("heron", at, "measured", quantity="ohm", value=20.6, where="circuit top")
    headline = verdict(replace(heron, logbook=(sound,)), WORDS).headline
    assert headline.startswith("Suspected after the last firing, but doubtful now: an element")


def test_a_zone_that_stands_out_is_named_with_its_power(heron):
    assert "82 % (80 to 84); zone top: 52 % (46 to 58)." in verdict(heron, WORDS).headline


def measured(history, value, hours=24, where="circuit top"):
    at = history.judged[-1].started + timedelta(hours=hours)
    return LogbookEntry(history.kiln.id, at, "measured", quantity="ohm", value=value, where=where)


def calm(history):
    return with_last(history, findings=(), outlook=None, power=PowerRatio(0.99, 0.97, 1.01))


def test_an_open_circuit_found_by_hand_is_told_though_the_logs_show_nothing(juniper):
    said = verdict(replace(calm(juniper), logbook=(measured(juniper, OPEN_OHM),)), WORDS)
    assert said.standing == "visit"
    assert "Open at circuit top fits: all elements or a lead open" in said.headline


def test_a_sound_reading_leaves_a_sound_kiln_sound_and_speaks_of_no_relay(juniper):
    page = kiln_page(replace(calm(juniper), logbook=(measured(juniper, 13.8),)), "today")
    assert "13.8 Ω at circuit top fits: as new, 13.7 Ω" in page
    assert "its relay" not in page
    assert verdict(replace(calm(juniper), logbook=(measured(juniper, 13.8),)), WORDS).standing == "sound"


def test_the_newest_reading_of_a_place_counts_and_none_from_before_a_repair(juniper):
    wrong, right = measured(juniper, 27.4), measured(juniper, 13.8, hours=25)
    assert verdict(replace(calm(juniper), logbook=(wrong,)), WORDS).standing == "visit"
    assert verdict(replace(calm(juniper), logbook=(wrong, right)), WORDS).standing == "sound"
    changed = LogbookEntry("juniper", right.at, "replaced", "element", zone="top")
    assert verdict(replace(calm(juniper), logbook=(wrong, changed)), WORDS).standing == "sound"


def test_a_repair_that_did_not_bring_the_power_back_asks_for_another_visit(juniper):
    short = with_last(
        juniper,
        findings=(),
        power=PowerRatio(0.74, 0.7, 0.78),
        verification=f"Zone top {RECHECK_TOLD}",
        repair="short of power",
    )
    said = verdict(short, WORDS)
    assert said.standing == "visit"
    assert said.headline.startswith("The repair is not proved. Zone top still gives only 66 % of its power: recheck.")
    assert said.headline.endswith("Power left: 74 % (70 to 78).")
    assert "wire left off" in said.do
    assert WORDS.cautions.short in kiln_page(short, "today")
    assert WORDS.cautions.short in studio_page([short], juniper.studio, "today")

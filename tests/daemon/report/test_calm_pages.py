"""A kiln with nothing wrong has a calm page: no date read out of noise, no caution without an inspection."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.findings import Finding, Outlook, PowerRatio
from config.logbook import LogbookEntry
from config.wording import load
from daemon.report.charts_firing import asked_for
from daemon.report.charts_power import CEILING, ceiling_of, power_chart
from daemon.report.kiln_page import kiln_page
from daemon.report.shown import odds
from daemon.report.studio_page import ranked_kilns, studio_page
from daemon.report.verdict import shows_wear, verdict

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)
NO_END = Outlook(0.9, 31.0, 13.0, None)  # the data allow that it never comes
CLEAR_END = Outlook(0.9, 31.0, 22.0, 44.0)


def with_outlook(history, outlook, findings=()):
    last = history.firings[-1]
    power = PowerRatio(0.99, 0.97, 1.01)
    said = replace(last.assessment, power=power, outlook=outlook, findings=tuple(findings))
    return replace(history, firings=[*history.firings[:-1], replace(last, assessment=said)], logbook=(), open_alerts=())


def test_where_no_end_is_within_the_interval_there_is_no_wear_to_see_yet(juniper):
    calm = with_outlook(juniper, NO_END)
    assert verdict(calm, load()).by_when == "No wear to see yet."
    assert verdict(calm, load()).standing == "sound"
    assert "many more" not in kiln_page(calm, NOW)
    assert power_chart(calm).says.endswith("No wear to see yet.")


def test_a_first_firing_far_away_is_still_told(juniper):
    calm = with_outlook(juniper, Outlook(0.9, None, 42.0, None))
    assert verdict(calm, load()).by_when == "No wear to see yet. Not within the next 42 firings."


def test_a_near_but_unsure_end_does_not_send_anybody_shopping(juniper):
    said = verdict(with_outlook(juniper, Outlook(0.9, 12.0, 3.0, None)), load())
    assert said.do == "Nothing. Fire as usual."


def test_wear_that_has_an_end_on_both_sides_keeps_its_forecast(juniper):
    worn = with_outlook(juniper, CLEAR_END)
    assert shows_wear(worn.latest)
    assert "31 firings (22 to 44)" in verdict(worn, load()).by_when
    found = with_outlook(juniper, NO_END, [Finding("element_ageing", "warning", 0.8)])
    assert shows_wear(found.latest)


@pytest.mark.parametrize(("outlook", "head"), [(NO_END, "What lies ahead"), (CLEAR_END, "What lies ahead")])
def test_a_sound_kiln_is_given_no_deadline(juniper, outlook, head):
    page = studio_page([with_outlook(juniper, outlook)], juniper.studio, "today")
    assert head in page
    assert "By when" not in page


def test_cautions_stand_beside_every_inspection_of_the_studio_page_and_nowhere_else(juniper, heron):
    short = load().cautions.short
    assert studio_page([with_outlook(juniper, NO_END)], juniper.studio, "today").count(short) == 0
    assert studio_page([with_outlook(juniper, NO_END), heron], juniper.studio, "today").count(short) == 1


def test_new_elements_begin_their_own_story_in_the_power_charts_caption(juniper):
    at = juniper.judged[40].started - timedelta(hours=9)
    renewed = replace(juniper, logbook=(LogbookEntry("juniper", at, "replaced", "elements", id="n"),))
    said = power_chart(renewed).says
    assert said.startswith("New elements (A) took the power from ")
    assert "(firing 41)" in said
    assert "Over 60 firings" not in said


def test_a_set_point_is_drawn_until_the_programme_lets_go():
    assert asked_for((100.0, 600.0, 1285.0, 1285.0, 640.0, 0.0)) == 4
    slow_cool = (100.0, 1220.0, 1120.0, 1020.0, 920.0, 0.0, 0.0)
    assert asked_for(slow_cool) == 5
    assert asked_for(()) == 0


def test_report_and_message_say_how_sure_in_the_same_words():
    assert [odds(p) for p in (0.99, 0.8, 0.62, 0.3, 0.05)] == [
        "almost certain (99 in 100)",
        "likely (80 in 100)",
        "more likely than not (62 in 100)",
        "possible (30 in 100)",
        "unlikely (5 in 100)",
    ]


def test_the_kiln_that_must_not_be_fired_stands_first_however_sure_the_others_are(juniper, heron):
    welded = with_outlook(juniper, NO_END, [Finding("welded_contact", "urgent", 0.9, zone="top")])
    broken = with_outlook(heron, NO_END, [Finding("thermocouple_fault", "urgent", 0.99, zone="top")])
    loose = with_outlook(
        replace(heron, kiln=replace(heron.kiln, id="a")), NO_END, [Finding("loose_connection", "warning", 0.99)]
    )
    assert [h.kiln.id for h, _ in ranked_kilns([loose, broken, welded], load())] == ["juniper", "heron", "a"]


def test_no_interval_is_cut_off_by_the_scale(juniper):
    last = juniper.firings[-1]
    wide = replace(last.assessment, power=PowerRatio(1.04, 0.88, 1.17))
    assert ceiling_of([wide]) > 117
    assert ceiling_of([last.assessment]) == CEILING, "the same scale for every other kiln"

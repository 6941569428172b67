"""The first screen: is it all right, what is wrong, what to do, by when, how sure."""

from dataclasses import replace

import pytest

from analysis.findings import Finding, Outlook, PowerRatio
from config.wording import load
from daemon.report.history import KilnHistory
from daemon.report.verdict import verdict

WORDS = load()


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
    assert "15.7 Ω" in said.how_sure


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

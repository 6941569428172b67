"""The text on the phone: short, complete, in the studio's unit, and safe whatever a log or register holds."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.findings import CAUSES
from analysis.live import LiveKind
from config.wording import load
from daemon.alerts.incident import Alert, Facts, Telling, TellingKind
from daemon.alerts.message import BODY_LIMIT, TITLE_LIMIT, Voice, clean, compose, shorten

START = datetime(2026, 3, 2, 20, 14, tzinfo=UTC)
WORDING = load()
VOICE = Voice("Juniper", "C", "Europe/Dublin", WORDING)
DEAD = Facts(
    "open_circuit",
    "urgent",
    zone="top",
    circuit="top",
    since=START,
    probability=0.97,
    power=0.66,
    power_low=0.63,
    power_high=0.7,
    reference="nameplate",
    evidence=("The climb near {c:1200} fell from {dc:110} an hour to {dc:60} an hour within one firing",),
)
WORN = Facts(
    "element_ageing",
    "warning",
    since=START,
    probability=0.86,
    power=0.91,
    power_low=0.88,
    power_high=0.94,
    reference="first firings",
    firings_left=(9.0, 24.0),
    threshold=0.9,
)


def told(facts: Facts, kind: TellingKind = "raised", voice: Voice = VOICE, source: str = "firing") -> tuple[str, str]:
    alert = Alert("JUN-7K2M", source, "juniper", facts, "open", START, raised_at=START)  # type: ignore[arg-type]
    message = compose(Telling(alert, kind, 1, ""), voice, START + timedelta(days=3))
    return message.title, message.body


def test_the_message_of_a_dead_circuit() -> None:
    title, body = told(DEAD)
    assert title == "Juniper: a circuit is dead"
    assert body.splitlines() == [
        "A whole circuit is dead (top).",
        "Since 2 Mar 2026, 20:14.",
        "Full power 66 % (63 to 70) of the nameplate's.",
        "How sure: almost certain (97 %).",
        "The climb near 1200 °C fell from 110 °C an hour to 60 °C an hour within one firing.",
        f"If left: the {WORDING.causes['open_circuit'].consequence[4:]}",
        f"First: {WORDING.causes['open_circuit'].first_look}.",
        WORDING.cautions.short,
        "Incident JUN-7K2M.",
    ]


def test_a_studio_that_reads_fahrenheit_gets_fahrenheit() -> None:
    _, body = told(DEAD, voice=replace(VOICE, unit="F"))
    assert "near 2192 °F fell from 198 °F an hour to 108 °F" in body
    assert "°C" not in body


def test_the_message_of_worn_elements_says_how_many_firings_are_left() -> None:
    title, body = told(WORN)
    assert title == "Juniper: elements worn"
    assert "Full power 91 % (88 to 94) of its first firings. 9 to 24 firings left to 90 %." in body
    _, body = told(replace(WORN, firings_left=(30.0, None)))
    assert "At least 30 firings left to 90 %." in body
    _, body = told(replace(WORN, firings_left=(0.0, 0.4)))
    assert "Time to replace: 90 % is reached." in body


def test_the_studio_s_clock_is_told_not_utc() -> None:
    _, body = told(replace(DEAD, since=datetime(2026, 7, 2, 20, 14, tzinfo=UTC)))
    assert "Since 2 Jul 2026, 21:14." in body


@pytest.mark.parametrize("kind", get_args(TellingKind))
@pytest.mark.parametrize("cause", CAUSES)
@pytest.mark.parametrize("unit", ["C", "F"])
def test_every_cause_and_kind_fits_a_phone_and_names_its_incident(kind: TellingKind, cause: str, unit: str) -> None:
    title, body = told(
        replace(DEAD, cause=cause), kind, replace(VOICE, unit=unit, kiln_title="The big old front loader")
    )  # type: ignore[arg-type]
    assert len(title) <= TITLE_LIMIT
    assert len(body) <= BODY_LIMIT < 600
    assert body.endswith("Incident JUN-7K2M.")
    assert "{" not in body


@pytest.mark.parametrize("cause", CAUSES)
def test_a_suggested_inspection_always_comes_with_the_caution(cause: str) -> None:
    _, body = told(replace(DEAD, cause=cause))
    assert "First:" in body
    assert WORDING.cautions.short in body


@pytest.mark.parametrize("kind", get_args(LiveKind))
def test_a_live_message_says_that_it_is_no_safety_device(kind: str) -> None:
    facts = Facts(kind, "warning", text="{dc:60} behind at {c:1012}.", inspection="Look.", scope="juniper/now.csv")
    title, body = told(facts, source="live")
    assert title.startswith("Juniper: ")
    assert "60 °C behind at 1012 °C." in body
    assert "Coilwatch is no safety device." in body


def test_a_closing_says_how_long_it_stood_and_what_the_repair_gave() -> None:
    title, body = told(replace(DEAD, closing="The repair gave full power: 99 % of the nameplate's."), "cleared")
    assert title == "Juniper, over (a circuit is dead)" or title == "Juniper: over (a circuit is dead)"
    assert "It stood for 3 days, from 2 Mar 2026, 20:14." in body
    assert "99 %" in body


@pytest.mark.parametrize(
    ("kind", "first"),
    [
        ("worsened", "This got worse."),
        ("returned", "This is back."),
        ("repeated", "Still so; raised 2 Mar 2026, 20:14."),
        ("escalated", "Urgent, and nobody has acknowledged it."),
    ],
)
def test_a_later_message_says_why_it_comes(kind: TellingKind, first: str) -> None:
    assert told(DEAD, kind)[1].splitlines()[0] == first


HOSTILE = "\x1b[31mred\x1b[0m <script>alert(1)</script>\r\n\u202eevil\u0000 =cmd|' /C calc'!A0 \ud800"


def test_what_a_log_or_register_smuggles_in_loses_its_controls() -> None:
    title, body = told(
        replace(DEAD, zone=HOSTILE, circuit=None, evidence=(HOSTILE,)), voice=replace(VOICE, kiln_title=HOSTILE)
    )
    for text in (title, body.replace("\n", "")):
        assert all(char.isprintable() for char in text)
        text.encode("utf-8")


@given(st.text(max_size=2000), st.text(max_size=2000), st.text(max_size=300))
def test_however_long_the_texts_the_message_stays_within_its_limits(evidence: str, zone: str, name: str) -> None:
    title, body = told(
        replace(DEAD, zone=zone, circuit=None, evidence=(evidence,)), voice=replace(VOICE, kiln_title=name)
    )
    assert len(title) <= TITLE_LIMIT
    assert len(body) <= BODY_LIMIT
    assert body.endswith("Incident JUN-7K2M.")


@given(st.text(max_size=100), st.integers(1, 60))
def test_shortened_text_is_never_longer_than_asked(text: str, limit: int) -> None:
    assert len(shorten(text, limit)) <= limit
    assert "\n" not in clean(text)

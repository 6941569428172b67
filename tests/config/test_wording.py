"""The wording of causes and cautions: complete, overridable, and never a safety promise."""

import re
from pathlib import Path

import pytest

from analysis.findings import CAUSES
from config.units import render
from config.wording import SHIPPED, WordingError, cause_names, load

WORDS = load()


def test_every_cause_of_the_analysis_has_its_wording_and_no_other():
    assert cause_names() == CAUSES
    assert {path.stem for path in (SHIPPED / "causes").glob("*.toml")} == set(CAUSES)


@pytest.mark.parametrize("cause", CAUSES)
def test_a_cause_says_what_it_is_what_it_is_not_and_what_evidence_it_wants(cause):
    said = WORDS.causes[cause]
    assert all((said.title, said.short, said.what, said.what_not, said.consequence, said.first_look, said.deciding))
    assert said.evidence_wanted
    assert said.inspection
    assert len(said.first_look) <= 130, "it must fit a phone message"
    for phrase in (said.first_look, said.deciding):
        assert not phrase.endswith("."), "it stands after a colon"
    assert said.first_look.split()[:3] != said.deciding.split()[:3], "they stand on one screen"


@pytest.mark.parametrize("cause", CAUSES)
def test_headlines_read_well_with_and_without_a_place(cause):
    for where in ("", "in zone top", "in circuit 2"):
        line = WORDS.causes[cause].headline_at(where)
        assert "{" not in line
        assert "  " not in line
        assert not line.endswith((" ", ":", "."))


@pytest.mark.parametrize("cause", [c for c in CAUSES if WORDS.causes[c].after == "verification"])
def test_causes_that_open_the_element_box_bring_a_caution_of_their_own(cause):
    assert WORDS.causes[cause].cautions
    assert WORDS.causes[cause].parts


def test_the_cautions_isolate_lock_and_prove_dead_before_anything_is_touched():
    keys = [step.key for step in WORDS.cautions.steps]
    assert keys.index("isolate") < keys.index("lock") < keys.index("prove")
    assert {"cold", "dust", "law"} <= set(keys)
    text = " ".join(step.text for step in WORDS.cautions.steps)
    for wanted in ("plug", "fibre", "licensed", "Local codes", "earth"):
        assert wanted in text
    assert "no safety device" in WORDS.cautions.short
    assert "no safety device" in WORDS.cautions.no_safety_device


def test_trade_practice_is_marked_as_having_no_source():
    assert "no published source" in WORDS.measuring.practice_mark
    notes = " ".join((*WORDS.measuring.reconnecting.items, *WORDS.measuring.coils_out.items))
    for wanted in ("Photograph", "washers", "laps over", "Tighten", "grooves", "holders"):
        assert wanted in notes


def test_every_temperature_in_the_wording_can_be_shown_in_fahrenheit():
    steps = " ".join(step.text for step in WORDS.cautions.steps) + " ".join(WORDS.measuring.verification.items)
    assert "{c:" in steps
    assert re.search(r"\d °C", render(steps, "F")) is None


def test_a_studio_replaces_single_sentences_and_keeps_the_others(tmp_path: Path):
    (tmp_path / "causes").mkdir()
    own = tmp_path / "causes" / "element_ageing.toml"
    own.write_text('title = "Spirales usées"\nparts = ["un jeu complet"]\n', encoding="utf-8")
    said = load(tmp_path)
    assert said.causes["element_ageing"].title == "Spirales usées"
    assert said.causes["element_ageing"].parts == ("un jeu complet",)
    assert said.causes["element_ageing"].what == WORDS.causes["element_ageing"].what
    assert said.causes["open_circuit"] == WORDS.causes["open_circuit"]


def test_a_studio_replaces_one_measuring_note_and_keeps_the_other_tables(tmp_path: Path):
    (tmp_path / "measuring.toml").write_text('[ohm]\nhow = "Mit kalten Leitungen."\n', encoding="utf-8")
    said = load(tmp_path)
    assert said.measuring.methods["ohm"].how == "Mit kalten Leitungen."
    assert said.measuring.methods["ohm"].tolerance == WORDS.measuring.methods["ohm"].tolerance
    assert said.measuring.tools == WORDS.measuring.tools


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("causes/heat_leak.toml", 'titel = "x"', "there is no key 'titel'"),
        ("causes/heat_leak.toml", "title = 3", "title must be a sentence in quotes"),
        ("causes/heat_leak.toml", 'parts = "brick"', "parts must be a list"),
        ("causes/heat_leak.toml", "parts = [1]", "list of sentences"),
        ("causes/heat_leak.toml", 'after = "never"', "after must be one of"),
        ("causes/heat_leak.toml", "title = ", "not TOML"),
        ("cautions.toml", 'steps = [{ key = "cold" }]', "needs key, head and text"),
    ],
)
def test_a_faulty_wording_file_is_named_with_its_remedy(tmp_path: Path, name: str, text: str, said: str):
    place = tmp_path / name
    place.parent.mkdir(exist_ok=True)
    place.write_text(text, encoding="utf-8")
    with pytest.raises(WordingError) as fault:
        load(tmp_path)
    assert said in str(fault.value)
    assert place.name in str(fault.value)


def test_a_wording_folder_that_is_not_there_is_said(tmp_path: Path):
    with pytest.raises(WordingError, match="no such folder"):
        load(tmp_path / "nowhere")


def test_a_huge_wording_file_is_refused(tmp_path: Path):
    (tmp_path / "cautions.toml").write_text("#" * 100_000, encoding="utf-8")
    with pytest.raises(WordingError, match="larger than"):
        load(tmp_path)

"""``coilwatch log``, ``report`` and ``visit`` as a person or a script uses them."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from config.logbook import OPEN_OHM
from daemon.main import main

TOML = """
[studio]
time_zone = "Europe/Dublin"
[[kiln]]
id = "juniper"
name = "Juniper"
volts = 240.0
zones = ["top", "bottom"]
[[kiln.circuit]]
name = "top"
zone = "top"
elements = 2
element_ohm = 27.4
[[kiln.circuit]]
name = "bottom"
zone = "bottom"
elements = 2
element_ohm = 27.4
"""


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "coilwatch.toml").write_text(TOML, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, answers: list[str]) -> None:
    """Answer as a person would, and fail if more is asked than is answered."""
    said: Iterator[str] = iter(answers)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: next(said))


def listed(capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    capsys.readouterr()
    assert main(["log", "juniper", "list", "--json"]) == 0
    entries: list[dict[str, object]] = json.loads(capsys.readouterr().out)
    return entries


def test_a_script_says_it_in_one_line(studio, capsys):
    assert main(["log", "juniper", "replaced", "elements", "--note", "full set", "--at", "2026-04-06"]) == 0
    (entry,) = listed(capsys)
    assert (entry["what"], entry["part"], entry["note"]) == ("replaced", "elements", "full set")
    assert entry["at"] == "2026-04-05T23:00:00Z"


def test_a_reading_is_answered_at_once_with_what_it_fits(studio, capsys):
    assert main(["log", "juniper", "measured", "27.6", "ohm", "--where", "circuit top"]) == 0
    said = capsys.readouterr().out
    assert "27.6 Ω at circuit top fits: one element open" in said


def test_a_reading_with_a_decimal_comma_is_understood(studio, capsys):
    assert main(["log", "juniper", "measured", "13,9", "ohm", "--where", "circuit top"]) == 0
    assert listed(capsys)[0]["value"] == 13.9


def test_what_is_missing_is_asked_for_at_a_terminal(studio, capsys, monkeypatch):
    at_a_terminal(monkeypatch, ["3", "1", "13.8", "1"])
    assert main(["log", "juniper"]) == 0
    monkeypatch.undo()
    monkeypatch.chdir(studio)
    (entry,) = listed(capsys)
    assert (entry["what"], entry["quantity"], entry["value"], entry["where"]) == (
        "measured",
        "ohm",
        13.8,
        "circuit top",
    )


def test_a_wrong_answer_is_asked_again_and_then_nothing_is_written(studio, capsys, monkeypatch):
    at_a_terminal(monkeypatch, ["banana", "99", "?"])
    assert main(["log", "juniper", "replaced"]) == 2
    monkeypatch.undo()
    monkeypatch.chdir(studio)
    assert listed(capsys) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["measured"], "--quantity"),
        (["measured", "ohm"], "--value"),
        (["measured", "13.9", "ohm"], "--where"),
        (["replaced"], "--part"),
        (["note"], "the note's text"),
        ([], "WHAT"),
    ],
)
def test_in_a_script_what_is_missing_is_named(studio, capsys, words, said):
    assert main(["log", "juniper", *words]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["replaced", "banana"], "'banana' is not understood"),
        (["measured", "lots", "ohm", "--where", "circuit top"], "'lots' is no number"),
        (["replaced", "relay", "--zone", "attic"], "Its zones: top, bottom"),
        (["note", "x", "--at", "yesterday"], "is no date"),
        (["replaced", "relay", "--at", "2999-01-01"], "lies in the future"),
        (["replaced", "relay", "fuse"], "write one entry for each part"),
        (["undo", "nothing"], "no standing entry 'nothing'"),
        (["read", "nowhere.jsonl"], "cannot be read"),
        (["read"], "Name one file"),
    ],
)
def test_a_slip_is_answered_with_its_remedy(studio, capsys, words, said):
    assert main(["log", "juniper", *words]) == 2
    assert said in capsys.readouterr().err


def test_an_entry_is_taken_back_by_another_and_never_erased(studio, capsys):
    main(["log", "juniper", "note", "wrong"])
    (entry,) = listed(capsys)
    assert main(["log", "juniper", "undo", str(entry["id"])]) == 0
    assert listed(capsys) == []
    from config.settings import load
    from daemon.store import logbook
    from daemon.store.database import open_store

    kept = logbook.of_kiln(open_store(load(studio / "coilwatch.toml").folders.database), "juniper")
    assert [e.note for e in kept] == ["wrong", f"takes back {entry['id']}"]


def test_a_file_of_entries_read_twice_is_taken_in_once(studio, capsys):
    (studio / "book.jsonl").write_text(
        '{"kiln": "juniper", "at": "2026-04-06", "what": "replaced", "part": "elements"}\n', encoding="utf-8"
    )
    assert main(["log", "juniper", "read", "book.jsonl"]) == 0
    assert main(["log", "juniper", "read", "book.jsonl"]) == 0
    assert "already" in capsys.readouterr().out
    assert len(listed(capsys)) == 1


def test_terminal_escapes_in_a_note_do_not_reach_the_terminal(studio, capsys):
    main(["log", "juniper", "note", "a\x1b[2Jb"])
    main(["log", "juniper", "list"])
    assert "\x1b" not in capsys.readouterr().out


def test_report_and_visit_print_where_the_pages_are(studio, capsys):
    assert main(["report"]) == 0
    places = [Path(line) for line in capsys.readouterr().out.splitlines()]
    assert [p.name for p in places] == ["juniper.html", "index.html"]
    assert all(p.is_file() for p in places)
    assert main(["visit", "juniper"]) == 0
    said = capsys.readouterr().out
    assert "juniper-visit.html" in said
    assert "Isolate, lock off and prove dead" in said
    assert "as new: 13.7 Ω (13.0–14.4)" in said


def test_a_script_gets_parts_and_measurements_as_json(studio, capsys):
    assert main(["visit", "juniper", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["page"].endswith("juniper-visit.html")
    first = next(step for step in told["measurements"] if step["key"] == "circuit top")
    assert first["expected"][0]["value"] == pytest.approx(13.7)


def test_an_unknown_kiln_is_answered_with_the_known_ones(studio, capsys):
    for verb in ("report", "visit"):
        assert main([verb, "nobody"]) == 2
        assert "juniper" in capsys.readouterr().err


def test_pdf_without_its_extra_says_what_to_install(studio, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    assert main(["visit", "juniper", "--pdf"]) == 3
    assert "coilwatch[pdf]" in capsys.readouterr().err


@pytest.mark.parametrize("said", ["open", "OL"])
def test_an_open_circuit_is_a_reading_too(studio, capsys, said):
    assert main(["log", "juniper", "measured", said, "--where", "circuit top"]) == 0
    out = capsys.readouterr().out
    assert "Measured open (no reading) at circuit top" in out
    assert "Open at circuit top fits: all elements or a lead open." in out
    assert listed(capsys)[0]["value"] == OPEN_OHM


def test_a_circuit_named_by_its_flag_is_the_place(studio, capsys):
    assert main(["log", "juniper", "measured", "13.8", "ohm", "--circuit", "top"]) == 0
    assert listed(capsys)[0]["where"] == "circuit top"


def test_a_reading_at_a_place_nobody_expects_is_kept_and_the_known_places_are_named(studio, capsys):
    assert main(["log", "juniper", "measured", "13.8", "ohm", "--where", "circuit tpo"]) == 0
    out = capsys.readouterr().out
    assert "nothing is expected at 'circuit tpo'" in out
    assert "Known places: circuit top, circuit bottom" in out
    assert len(listed(capsys)) == 1


def test_an_entry_shows_under_the_day_it_was_written_for_wherever_the_kiln_stands(studio, capsys):
    there = TOML.replace('name = "Juniper"', 'name = "Juniper"\ntime_zone = "Pacific/Auckland"')
    (studio / "coilwatch.toml").write_text(there, encoding="utf-8")
    assert main(["log", "juniper", "note", "new lid", "--at", "2026-04-06"]) == 0
    assert "6 Apr 2026" in capsys.readouterr().out

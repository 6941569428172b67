"""The command line as a person meets it."""

import importlib
import json
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from config.settings import load
from daemon.main import VERBS, main, parser
from daemon.service import lock_data

SAMPLES = Path(__file__).resolve().parents[3] / "sample_logs"


@pytest.fixture
def studio(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COILWATCH_SETTINGS", raising=False)
    assert main(["setup", "--yes", "--kiln", "juniper", "--time-zone", "Europe/Dublin", "--log-unit", "C"]) == 0
    return tmp_path


def test_every_verb_has_help_with_an_example():
    verbs = parser()._subparsers._group_actions[0].choices
    assert tuple(verbs) == VERBS
    for verb, each in verbs.items():
        assert f"coilwatch {verb}" in each.format_help().split("example")[-1], verb


def test_every_help_is_laid_out_alike(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    for verb, each in parser()._subparsers._group_actions[0].choices.items():
        said = each.format_help()
        about, examples = said.split("\nexample", 1)
        assert all(len(line) <= 80 or "{" in line for line in about.splitlines()), verb
        assert all(line.startswith("  coilwatch ") for line in examples.splitlines()[1:2]), verb
        assert "--settings FILE" in about, verb


def test_help_and_version_load_nothing_heavy():
    look = (
        "import sys; from daemon.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'pandas', 'numpy', 'sqlite_utils', 'pydantic', 'apprise', 'matplotlib', 'apscheduler', 'jinja2'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-P", "-c", look], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_settings_can_be_named_before_or_after_the_verb(studio, monkeypatch):
    monkeypatch.chdir("/")
    file = str(studio / "coilwatch.toml")
    assert main(["status", "--settings", file]) == main(["--settings", file, "status"]) == 0


def test_wrong_settings_are_one_plain_message_and_exit_code_2(studio, capsys):
    (studio / "coilwatch.toml").write_text('[[kiln]]\nid = "a"\nvolt = 3\n')
    assert main(["status"]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"coilwatch: {studio / 'coilwatch.toml'}:3: ")
    assert "Traceback" not in said


def test_missing_settings_name_the_way_out(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["start", "--once"]) == 2
    assert "coilwatch setup" in capsys.readouterr().err


def test_setup_does_not_write_over_settings_unless_told(studio, capsys):
    assert main(["setup", "--yes"]) == 2
    assert "--force" in capsys.readouterr().err
    assert main(["setup", "--yes", "--force", "--kiln", "heron"]) == 0
    assert load(studio / "coilwatch.toml").kilns[0].id == "heron"


def test_setup_refuses_what_could_not_be_used_and_leaves_no_file(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["setup", "--yes", "--time-zone", "Europe/Dubln"]) == 2
    assert "coilwatch.toml:5: studio, time_zone" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_check_finds_a_fresh_studio_in_order(studio, capsys):
    assert main(["check", "--json"]) == 0
    found = {each["what"]: each["state"] for each in json.loads(capsys.readouterr().out)}
    assert found["settings"] == found["drop folder"] == found["data folder"] == found["installation"] == "ok"
    assert found["delivery"] == "note"


def test_check_names_a_missing_drop_folder(studio, capsys):
    for folder in (studio / "drop" / "juniper", studio / "drop"):
        folder.rmdir()
    assert main(["check"]) == 1
    assert "WRONG  drop folder" in capsys.readouterr().out


def test_status_names_files_that_were_not_taken_in_with_the_reason(studio, capsys):
    (studio / "drop/juniper/empty.csv").touch()
    (studio / "coilwatch.toml").write_text(
        (studio / "coilwatch.toml").read_text().replace("# settle_s = 10", "settle_s = 0")
    )
    assert main(["start", "--once"]) == 0
    assert main(["status"]) == 1
    assert "set aside       juniper/empty.csv: it is empty" in capsys.readouterr().out
    assert main(["status", "--json"]) == 1
    stands = json.loads(capsys.readouterr().out)
    assert stands["files"]["states"] == {"set aside": 1}
    assert stands["service"]["running"] is False


def test_assess_gives_every_file_a_record(studio, capsys):
    from importlib import util

    spec = util.spec_from_file_location("logs", __file__.replace("commands/test_main.py", "intake/conftest.py"))
    logs = util.module_from_spec(spec)
    sys.modules["logs"] = logs
    spec.loader.exec_module(logs)
    (studio / "logs/juniper").mkdir(parents=True)
    (studio / "logs/juniper/a.csv").write_text(logs.log_text(datetime(2026, 3, 2, tzinfo=UTC)))
    (studio / "logs/juniper/b.csv").write_text(logs.log_text(datetime(2026, 2, 2, tzinfo=UTC)))
    (studio / "logs/juniper/bad.csv").write_bytes(b"\x00\x01\x02")
    assert main(["assess", "logs", "--jsonl", "out.jsonl"]) == 1
    records = [json.loads(line) for line in (studio / "out.jsonl").read_text().splitlines()]
    assert [record["log"] for record in records] == ["juniper/bad.csv", "juniper/b.csv", "juniper/a.csv"]
    assert records[0]["end"] == "unreadable"
    assert records[0]["problems"]
    assert set(records[0]) == set(records[1])
    (studio / "logs/juniper/bad.csv").unlink()
    capsys.readouterr()
    assert main(["assess", "logs"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert main(["assess", "nowhere"]) == 3


@pytest.mark.parametrize("words", [["start"], ["start", "--once"], ["backfill", "."], ["restore", "made.db"]])
def test_what_needs_the_data_to_itself_is_refused_while_another_has_it(studio, capsys, words):
    (studio / "made.db").touch()
    with lock_data(load(studio / "coilwatch.toml")):
        assert main(words) == 3
    assert "another Coilwatch is already working on" in capsys.readouterr().err


def test_backfill_takes_in_another_folder_and_leaves_it_alone(studio, capsys):
    (studio / "old").mkdir()
    (studio / "old/a.csv").write_bytes(b"nothing of use")
    assert main(["backfill", "old", "--kiln", "thrift"]) == 2
    assert main(["backfill", "nowhere"]) == 3
    assert (studio / "old/a.csv").read_bytes() == b"nothing of use"


def test_the_unit_is_written_where_it_belongs(studio, capsys):
    assert main(["service", "--for", "systemd", "--install", "--home", str(studio / "home")]) == 0
    unit = (studio / "home/.config/systemd/user/coilwatch.service").read_text()
    assert str(studio / "coilwatch.toml") in unit
    assert "systemctl --user" in capsys.readouterr().err


def test_restore_lists_back_ups_and_refuses_an_unknown_one(studio, capsys):
    assert main(["restore"]) == 0
    assert main(["restore", "coilwatch-2020-01-01.db"]) == 2


def test_alone_it_says_what_there_is_and_where_to_begin(capsys):
    assert main([]) == 2
    said = capsys.readouterr().err
    for verb in VERBS:
        assert f"\n    {verb} " in said
    assert said.index("coilwatch setup") < said.index("coilwatch start")


def test_every_command_stands_under_an_occasion():
    folder = Path(importlib.import_module("daemon.commands").__file__).parent
    there = {path.stem for path in folder.glob("*.py") if "\ndef add(" in path.read_text(encoding="utf-8")}
    assert set(VERBS) == there
    assert len(VERBS) == len(set(VERBS))


@pytest.mark.parametrize("verb", VERBS)
def test_every_command_ends_its_help_with_examples_and_exit_codes(verb, capsys):
    with pytest.raises(SystemExit):
        main([verb, "--help"])
    said = capsys.readouterr().out
    assert said.index("example") < said.index("exit codes: 0 done")


def test_assess_gives_the_start_by_the_kiln_s_own_clock_and_marks_utc(studio, capsys):
    log = SAMPLES / "logs" / "heron" / "heron-2025-10-02.csv"
    assert main(["assess", str(log), "--register", str(SAMPLES / "coilwatch.toml")]) == 0
    assert "2025-10-02 19:10  complete" in capsys.readouterr().out
    stranger = studio / "stranger" / log.name
    stranger.parent.mkdir()
    stranger.write_bytes(log.read_bytes())
    assert main(["assess", str(stranger)]) == 0
    assert "2025-10-02 19:10Z complete" in capsys.readouterr().out  # its clock's zone is not known


@pytest.mark.parametrize(
    "words",
    [
        ["status"],
        ["report"],
        ["visit", "juniper"],
        ["log", "juniper", "list"],
        ["log", "juniper", "replaced", "elements"],
        ["acknowledge", "juniper"],
        ["mute", "juniper", "2d"],
        ["export"],
        ["check"],
        ["restore"],
        ["start", "--once"],
    ],
    ids=" ".join,
)
def test_every_command_closes_the_store_it_opened(words, studio, monkeypatch, capsys):
    opened: list[sqlite3.Connection] = []
    connect = sqlite3.connect

    def noted(*args, **kwargs):
        opened.append(connect(*args, **kwargs))
        return opened[-1]

    monkeypatch.setattr(sqlite3, "connect", noted)
    main(words)
    for connection in opened:
        with pytest.raises(sqlite3.ProgrammingError, match="closed"):
            connection.execute("select 1")

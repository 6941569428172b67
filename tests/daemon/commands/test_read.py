"""``coilwatch read`` tells a studio owner how a log was understood, and never hands on a log's control codes."""

import json

import pytest

from daemon.main import main

LOG = "\n".join(
    [
        "Studio kiln\x1b[31m",
        "Programme: glaze 1222",
        "time (s),T1,T2,set point,output (%),board",
        *(f"{60 * k},{20 + 2 * k},{19 + 2 * k},{21 + 2 * k},{min(100, k // 5)},31" for k in range(400)),
        "*** ERROR 3 \x07***",
        "24000,820,819,821,80",
    ]
)
SETTINGS = """
[studio]
name = "Tidewrack Clay Studio"
time_zone = "Europe/Dublin"
temperature_unit = "F"
[[kiln]]
id = "heron"
name = "Heron"
zones = ["top", "bottom"]
[kiln.log]
temperature_unit = "C"
[[kiln]]
id = "juniper"
[kiln.log]
columns = { "T9" = "zone top" }
"""


@pytest.fixture
def studio(tmp_path, monkeypatch):
    (tmp_path / "coilwatch.toml").write_text(SETTINGS, encoding="utf-8")
    (tmp_path / "drop" / "heron").mkdir(parents=True)
    (tmp_path / "drop" / "heron" / "2026-03-02_0814.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COILWATCH_SETTINGS", raising=False)
    return tmp_path


def test_the_account_is_plain_text_with_columns_units_repairs_and_questions(studio, capsys):
    assert main(["read", "drop/heron/2026-03-02_0814.csv"]) == 0
    said = capsys.readouterr().out
    assert "read as a log of Heron" in said
    assert "Firing 1 of 1: began 2026-03-02 08:14 (from the file's name), 6:39 h, 400 samples" in said
    assert "peak 1504 °F (zone top)" in said
    assert "programme: glaze 1222" in said
    assert 'named "set point"' in said
    assert "6:39 h  ERROR 3" in said
    assert "the last line is cut off and was left out" in said
    assert all(char.isprintable() or char == "\n" for char in said)


def test_json_holds_the_same(studio, capsys):
    assert main(["read", "drop/heron/2026-03-02_0814.csv", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["kiln"] == "heron"
    assert said["firings"][0]["started"] == "2026-03-02T08:14:00Z"
    assert said["firings"][0]["peak_c"] == 818.0
    assert said["account"]["columns"][5]["role"] == "room"
    assert said["account"]["rows"]["used"] == 400


def test_without_settings_the_file_is_still_read_and_what_is_not_known_is_asked_for(studio, capsys, monkeypatch):
    monkeypatch.chdir(studio / "empty")
    assert main(["read", "../drop/heron/2026-03-02_0814.csv"]) == 1
    said = capsys.readouterr().out
    assert "no kiln of the register" in said
    assert "What would tell: time_zone" in said


def test_a_log_from_anywhere_is_read_as_one_of_the_only_kiln_in_the_register(studio, capsys):
    alone = '[studio]\ntime_zone = "Europe/Dublin"\n[[kiln]]\nid = "juniper"\nname = "Juniper"\n'
    (studio / "empty" / "coilwatch.toml").write_text(alone, encoding="utf-8")
    where = ["--settings", str(studio / "empty" / "coilwatch.toml")]
    main(["read", "drop/heron/2026-03-02_0814.csv", *where])
    said = capsys.readouterr().out
    assert "read as a log of Juniper" in said
    assert "What would tell: time_zone" not in said


def test_a_log_of_no_kiln_goes_by_the_clock_of_all_the_others(studio, capsys):
    both = '[studio]\ntime_zone = "Europe/Dublin"\n[[kiln]]\nid = "a"\n[[kiln]]\nid = "b"\n'
    (studio / "empty" / "coilwatch.toml").write_text(both, encoding="utf-8")
    main(["read", "drop/heron/2026-03-02_0814.csv", "--settings", str(studio / "empty" / "coilwatch.toml")])
    said = capsys.readouterr().out
    assert "no kiln of the register" in said
    assert "What would tell: time_zone" not in said


def test_a_wrong_hint_of_the_register_is_named(studio, capsys):
    assert main(["read", "drop/heron/2026-03-02_0814.csv", "--kiln", "juniper"]) == 1
    assert "[kiln.log] columns names 'T9'" in capsys.readouterr().out


def test_a_kiln_that_is_not_there_is_wrong_use(studio, capsys):
    assert main(["read", "drop/heron/2026-03-02_0814.csv", "--kiln", "thrift"]) == 2
    assert "It has: heron, juniper" in capsys.readouterr().err


def test_a_file_that_is_not_there_cannot_be_read(studio, capsys):
    assert main(["read", "nowhere.csv"]) == 3
    assert "nowhere.csv" in capsys.readouterr().err


def test_an_unreadable_file_gives_its_reason_and_remedy(studio, capsys):
    (studio / "letter.txt").write_text("Dear sir,\n" * 50, encoding="utf-8")
    assert main(["read", "letter.txt", "--json"]) == 1
    assert "no table of numbers" in json.loads(capsys.readouterr().out)["unreadable"]


def test_a_file_over_the_size_limit_of_the_settings_is_refused_before_it_is_loaded(studio, capsys):
    settings = studio / "coilwatch.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "\n[service]\nfile_limit_mb = 0.004\n", encoding="utf-8")
    assert main(["read", "drop/heron/2026-03-02_0814.csv"]) == 1
    said = capsys.readouterr().out
    assert "more than the limit of 0.004 MB" in said
    assert "service.file_limit_mb" in said


def test_zones_have_the_registers_names_a_clock_beside_a_date_its_own_and_every_column_its_unit(studio, capsys):
    rows = [f"{k % 28 + 1:02d}.03.2026;08:14:00;{20 + 20 * k};{19 + 20 * k};{20 + 20 * k};55;236,1" for k in range(40)]
    log = "\n".join(["Datum;Uhrzeit;Istwert 1 (C);Istwert 2 (C);Sollwert (C);Leistung;Spannung", *rows]) + "\n"
    (studio / "drop" / "heron" / "days.csv").write_text(log, encoding="utf-8")
    main(["read", "drop/heron/days.csv", "--json"])
    columns = json.loads(capsys.readouterr().out)["account"]["columns"]
    assert [column["role"] for column in columns] == [
        "date",
        "clock",
        "zone top",
        "zone bottom",
        "set point",
        "output",
        "volts",
    ]
    assert [column["unit"] for column in columns] == ["", "", "C", "C", "C", "%", "V"]


def test_a_log_named_by_its_day_only_claims_no_hour(studio, capsys):
    (studio / "drop" / "heron" / "2026-03-05.csv").write_text(LOG, encoding="utf-8")
    main(["read", "drop/heron/2026-03-05.csv"])
    said = capsys.readouterr().out
    assert "began 2026-03-05, hour not known (from the file's name)" in said
    assert "1 message, 1 cut off" in said

"""Export: plain tables that say what each column means, no formulas, and a case without secrets."""

import csv
import importlib.util
import io
import json
import sys
import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import load
from daemon.export import FINDINGS, FIRINGS, ZONES, case_bundle, register_toml, safe_cell, safe_name, tables


def _samples():
    place = Path(__file__).parent / "report" / "conftest.py"
    spec = importlib.util.spec_from_file_location("export_samples", place)
    made = importlib.util.module_from_spec(spec)
    sys.modules["export_samples"] = made
    spec.loader.exec_module(made)
    return made


SAMPLES = _samples()
JUNIPER = SAMPLES.ageing()


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_every_firing_zone_and_finding_is_a_row_and_every_column_is_explained():
    made = tables([JUNIPER])
    firings = rows(made["firings.csv"])
    assert len(firings) == 60
    assert len(rows(made["zones.csv"])) == 180
    assert len(rows(made["findings.csv"])) == 1
    explained = {(r["file"], r["column"]) for r in rows(made["columns.csv"])}
    for file, columns in (("firings.csv", FIRINGS), ("zones.csv", ZONES), ("findings.csv", FINDINGS)):
        assert list(rows(made[file])[0]) == [c.name for c in columns]
        assert {(file, c.name) for c in columns} <= explained
    assert float(firings[-1]["power_ratio"]) == pytest.approx(0.87, abs=0.001)
    assert firings[0]["started"] == "2026-01-05T08:10:00Z"


def test_what_is_not_known_is_empty_and_not_nought():
    bare = rows(tables([SAMPLES.healthy()])["firings.csv"])
    assert bare[0]["power_ratio"] == ""
    assert bare[0]["power_low"] == "0.93"
    assert bare[0]["energy_kwh"] == ""


def test_the_logbook_is_exported_in_the_form_it_is_read_in():
    from daemon.logbook import parse_line

    lines = tables([JUNIPER])["logbook.jsonl"].splitlines()
    assert [parse_line(line, kilns=[JUNIPER.kiln]).id for line in lines] == [e.id for e in JUNIPER.logbook]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "|calc", "%0a", "\x1b=1"])
def test_no_cell_is_a_formula(text):
    assert str(safe_cell(text)).startswith("'")


@given(st.text(max_size=60))
def test_no_text_at_all_becomes_a_formula_or_breaks_a_row(text):
    cell = safe_cell(text)
    assert isinstance(cell, str)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert "\n" not in cell


def test_numbers_stay_numbers_also_below_nought():
    assert safe_cell(-0.16) == -0.16


def test_the_register_in_a_case_is_read_back_as_the_same_kiln(tmp_path):
    kiln = replace(
        JUNIPER.kiln, name='Ju"ni\\per \x7f', model="a=b", log=replace(JUNIPER.kiln.log, temperature_unit="C")
    )
    (tmp_path / "coilwatch.toml").write_text(register_toml(kiln), encoding="utf-8")
    assert tomllib.loads(register_toml(kiln))["kiln"][0]["name"] == kiln.name
    back = load(tmp_path / "coilwatch.toml").kilns[0]
    assert back == replace(kiln, element_price=None)


def test_a_case_holds_pages_tables_register_and_logs_under_safe_names():
    logs = [("juniper/../../etc/passwd", b"a"), ("juniper\\x.csv", b"b"), ("=cmd.csv", b"c")]
    made = case_bundle(JUNIPER, {"report.html": "<p>"}, b"png", logs)
    with zipfile.ZipFile(io.BytesIO(made)) as bundle:
        names = bundle.namelist()
        assert {"about.txt", "report.html", "power.png", "firings.csv", "columns.csv", "register.toml"} <= set(names)
        assert [n for n in names if n.startswith("logs/")] == ["logs/01-passwd", "logs/02-x.csv", "logs/03-cmd.csv"]
        assert bundle.read("logs/02-x.csv") == b"b"
    assert made == case_bundle(JUNIPER, {"report.html": "<p>"}, b"png", logs), "the same case is the same file"


@given(st.text(max_size=60))
def test_any_log_name_is_safe_in_a_bundle(name):
    safe = safe_name(name)
    assert safe
    assert set(safe).isdisjoint('/\\:*?"<>|\x00 ')
    assert not safe.startswith(".")


def test_the_command_writes_tables_and_a_case_without_secrets(tmp_path, capsys, monkeypatch):
    from daemon.main import main

    secret = "ntfy://very-secret-topic"
    (tmp_path / "coilwatch.toml").write_text(
        f'[[kiln]]\nid = "juniper"\n[alerts.targets]\nphone = "{secret}"\n', encoding="utf-8"
    )
    monkeypatch.chdir(tmp_path)
    assert main(["export", "--to", "out", "--json"]) == 0
    written = json.loads(capsys.readouterr().out)["files"]
    assert {Path(p).name for p in written} == {
        "firings.csv",
        "zones.csv",
        "findings.csv",
        "columns.csv",
        "logbook.jsonl",
    }
    assert main(["export", "juniper", "--case", "--to", "out"]) == 0
    with zipfile.ZipFile(tmp_path / "out" / "juniper-case.zip") as bundle:
        assert "report.html" in bundle.namelist()
        assert all(b"very-secret" not in bundle.read(name) for name in bundle.namelist())
    assert main(["export", "--case"]) == 2
    assert main(["export", "nobody"]) == 2
    assert "juniper" in capsys.readouterr().err

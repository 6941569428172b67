"""The service's own log."""

import json
import logging
from pathlib import Path

import pytest

from config.settings import load
from daemon import service_log


@pytest.fixture
def settings(tmp_path, monkeypatch):
    monkeypatch.setenv("COILWATCH_ALERTS__TARGETS__PHONE", "ntfy://hush-hush-7-topic")
    (tmp_path / "coilwatch.toml").write_text("[service]\nlog_level = 'debug'\n")
    yield load(tmp_path / "coilwatch.toml")
    root = logging.getLogger()
    for handler in list(root.handlers):
        if type(handler.formatter).__module__ == "daemon.service_log":
            root.removeHandler(handler)
            handler.close()
    root.setLevel(logging.WARNING)
    logging.getLogger("coilwatch").setLevel(logging.NOTSET)
    logging.raiseExceptions = True


def lines(settings):
    return [json.loads(line) for line in settings.folders.service_log.read_text(encoding="utf-8").splitlines()]


def test_each_record_is_one_json_line_whatever_a_name_holds(settings, capsys):
    service_log.begin(settings)
    logging.getLogger("coilwatch.intake").warning("set aside: %s", 'a\n"b"\x1b[2J.csv')
    (line,) = lines(settings)
    assert (line["level"], line["part"], line["said"]) == ("warning", "intake", 'set aside: a\n"b"\x1b[2J.csv')
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "\x1b" not in said


def test_no_secret_reaches_the_log_at_any_level(settings, capsys):
    service_log.begin(settings)
    for level in (logging.DEBUG, logging.INFO, logging.ERROR):
        logging.getLogger("coilwatch.x").log(level, "sending to %s", "ntfy://hush-hush-7-topic")
    try:
        Path("/nowhere/ntfy://hush-hush-7-topic").read_bytes()
    except OSError:
        logging.getLogger("coilwatch.x").exception("it failed")
    assert "hush-hush-7" not in settings.folders.service_log.read_text(encoding="utf-8")
    assert "hush-hush-7" not in capsys.readouterr().err
    assert "Traceback" in lines(settings)[-1]["trace"]


def test_beginning_twice_does_not_write_twice(settings, capsys):
    service_log.begin(settings)
    service_log.begin(settings, quiet=True)
    logging.getLogger("coilwatch.x").warning("once")
    assert len(lines(settings)) == 1
    assert capsys.readouterr().err == ""


def test_the_log_is_begun_anew_when_full_and_only_a_few_old_ones_are_kept(settings, monkeypatch):
    monkeypatch.setattr(service_log, "_BYTES", 2000)
    service_log.begin(settings, quiet=True)
    for number in range(200):
        logging.getLogger("coilwatch").info("line %d of a long night", number)
    logs = sorted(settings.folders.service_log.parent.glob("service.log*"))
    assert [log.name for log in logs] == [
        "service.log",
        *(f"service.log.{n}" for n in range(1, service_log._FILES + 1)),
    ]
    assert all(log.stat().st_size <= 2000 for log in logs)
    assert lines(settings)[-1]["said"] == "line 199 of a long night"

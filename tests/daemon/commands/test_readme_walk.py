"""The README's commands, one after the other as they stand there, on a log of one's own."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from daemon.main import main

ROOT = Path(__file__).resolve().parents[3]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SAMPLE = ROOT / "sample_logs" / "logs" / "heron" / "heron-2025-10-02.csv"
INSTEAD = {"start": ["start", "--once"], "service": ["service", "--install", "--home", "home"]}
"""A test cannot wait for Ctrl-C, and must not write into the home of whoever runs it."""


def commands(section: str) -> list[list[str]]:
    """The commands of a section's code blocks, without their comments."""
    text = README.split(f"\n## {section}\n")[1].split("\n## ")[0]
    lines = "\n".join(re.findall(r"```\n(.*?)```", text, re.DOTALL)).splitlines()
    return [shlex.split(line, comments=True)[1:] for line in lines if line.startswith("coilwatch ")]


@pytest.fixture
def studio(tmp_path, monkeypatch):
    """An empty folder, and beside it the logs that are already there."""
    (tmp_path / "old logs").mkdir()
    shutil.copy(SAMPLE, tmp_path / "old logs" / "my first log.csv")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COILWATCH_SETTINGS", raising=False)
    monkeypatch.setenv("COILWATCH_SERVICE__SETTLE_S", "0.2")  # ten seconds of waiting show nothing here
    return tmp_path


def test_from_setup_to_a_running_service_by_the_readme_alone(studio, capsys):
    walked = commands("Your own kilns")
    assert [step[0] for step in walked] == ["setup", "read", "check", "backfill", "start", "service"]
    codes = {}
    for step in walked:
        given = INSTEAD.get(step[0], step)
        own = {"FILE": "old logs/my first log.csv", "DIR": "old logs"}
        codes[step[0]] = main([own.get(word, word) for word in given])
        if step[0] == "setup":
            assert (studio / "drop" / "kiln-1").is_dir()
    # nobody answered setup's questions here, so the log's clock is known (this computer's) and its unit stands in it
    assert codes == dict.fromkeys(codes, 0)
    assert main(["status"]) == 0
    assert "1 firing" in capsys.readouterr().out
    assert (studio / "data" / "reports" / "kiln-1.html").exists()


def test_a_repair_and_a_reading_go_into_the_logbook_as_the_readme_writes_them(studio, capsys):
    assert main(["setup", "--yes", "--kiln", "heron", "--kiln", "juniper", "--time-zone", "Europe/Dublin"]) == 0
    for step in commands("After a repair"):
        assert main(step) == 0, step
    assert main(["log", "heron", "list"]) == 0
    assert "full set" in capsys.readouterr().out

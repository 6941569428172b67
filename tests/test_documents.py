"""What the documents say is so: commands exist, dependencies are explained, the two commands stand as CI runs them."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
COMMANDS = {
    path.stem
    for path in (ROOT / "daemon" / "commands").glob("*.py")
    if "\ndef add(" in path.read_text(encoding="utf-8")
}
PACKAGES = ("analysis", "config", "daemon")
DESIGNED = {
    "demo", "start", "assess", "read", "report", "visit", "log", "status", "backfill", "acknowledge", "mute", "check",
    "setup", "service", "export",
}  # fmt: skip


def test_every_command_of_the_design_is_a_module():
    assert set() == DESIGNED - COMMANDS


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "sample_logs/README.md"])
def test_every_command_a_document_names_exists(document):
    text = (ROOT / document).read_text(encoding="utf-8")
    named = set(re.findall(r"(?:`|^|/|\\)coilwatch ([a-z]+)", text, re.MULTILINE))
    named |= set(re.findall(r"^ {4}coilwatch ([a-z]+)", text, re.MULTILINE))
    assert named - COMMANDS == set()


def test_the_readme_opens_with_the_job_then_the_two_commands_then_a_picture():
    places = [README.index(mark) for mark in ("\n\nIf you look after", "coilwatch demo", "'.[dev]'", "![")]
    assert places == sorted(places)


def test_the_readme_holds_both_commands_as_one_line_each():
    lines = README.splitlines()
    demo = [line for line in lines if re.match(r"python3 -m venv .*coilwatch demo$", line)]
    tests = [line for line in lines if re.match(r"python3 -m venv .*\[dev\].*pytest$", line)]
    assert (len(demo), len(tests)) == (1, 1)


def test_every_file_a_document_links_to_is_there():
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert "://" in target or (ROOT / target).exists(), target


def test_every_place_the_developers_guide_names_is_there():
    for place in set(re.findall(r"`((?:config|analysis|daemon|tests|sample_logs)/[\w/.]+)`", DEVELOPERS)):
        assert (ROOT / place).exists(), place


def test_every_module_stands_in_the_developers_guide_under_its_folder_and_no_other_does():
    """A new module wants a word or two under "Every module": where a maintainer looks first."""
    section = DEVELOPERS.split("## Every module\n")[1].split("\n## ")[0]
    for part in section.split("\n### ")[1:]:
        folder, text = part.split("\n", 1)
        told = set(re.findall(r"`(\w+)`", text))
        there = {path.stem for path in (ROOT / folder.strip("` ")).glob("*.py")} - {"__init__"}
        assert sorted(there - told) == [], f"name these with a word or two in DEVELOPERS.md, Every module, {folder}"
        assert sorted(told - there) == [], f"no longer there, but named in DEVELOPERS.md, Every module, {folder}"
    folders = set(re.findall(r"^### `([\w/]+)`$", section, re.MULTILINE))
    packages = {p.parent.relative_to(ROOT).as_posix() + "/" for name in PACKAGES for p in (ROOT / name).rglob("*.py")}
    assert folders == packages


def test_each_dependency_has_its_reason():
    wanted = [
        *PROJECT["dependencies"],
        *(name for extra in PROJECT["optional-dependencies"].values() for name in extra),
    ]
    for dependency in wanted:
        name = re.split(r"[<>=\[; ]", dependency)[0]
        assert re.search(rf"^\|.*\b{re.escape(name)}\b.*\|", DEVELOPERS, re.MULTILINE | re.IGNORECASE), name


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_each_command_explains_itself_with_an_example(name):
    said = subprocess.run(
        [sys.executable, "-P", "-c", f"import sys; from daemon.main import main; sys.exit(main(['{name}', '--help']))"],
        capture_output=True, text=True, timeout=30, check=False, encoding="utf-8",
    )  # fmt: skip
    assert said.returncode == 0, said.stderr
    assert f"coilwatch {name}" in said.stdout
    assert "xample" in said.stdout

"""The index of outside checks is complete: every check with source and how it is known, every file with its licence."""

import ast
import re
from pathlib import Path

OUTSIDE = Path(__file__).resolve().parent / "outside"
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in (OUTSIDE / "README.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("|") and "::test_" in line
]
KNOWN = ("seen", "quoted", "memory", "worked", "the same")


def checks() -> set[str]:
    """Every test function of the folder, as the index names it."""
    return {
        f"{path.name}::{node.name}"
        for path in OUTSIDE.glob("test_*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


def test_every_check_against_published_values_stands_in_the_index_once():
    listed = [name for row in ROWS for name in re.findall(r"`(test_\w+\.py::test_\w+)`", row[3])]
    assert sorted(listed) == sorted(checks())


def test_every_row_of_the_index_names_its_source_and_how_it_is_known():
    assert len(ROWS) > 30
    for row in ROWS:
        what, source, how, _ = row
        assert what, row
        assert source, row
        assert any(word in how for word in KNOWN), row


def test_every_test_module_says_in_its_first_lines_what_it_rests_on():
    for path in OUTSIDE.glob("test_*.py"):
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path.name


def test_every_real_log_has_its_origin_and_licence():
    sources = (OUTSIDE / "data" / "SOURCES.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| (\S+\.csv) \|.*\| (?:BSD|MIT|public domain)", sources, re.MULTILINE)
    assert sorted(listed) == sorted(path.name for path in (OUTSIDE / "data").glob("*.csv"))

"""The house keeps its shape: who may import whom, how big a module may be, and what may not be written in it."""

import ast
import re
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("daemon", "analysis", "config")
LONGEST_MODULE = 400
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
SCRIPTS = sorted((ROOT / "sample_logs").rglob("*.py"))

# What analysis may not reach for: the clock, the disk, the network, other processes, logging, settings, chance.
IMPURE = {
    "os", "io", "pathlib", "shutil", "tempfile", "glob", "sqlite3", "sqlite_utils", "socket", "http", "urllib",
    "requests", "subprocess", "multiprocessing", "threading", "asyncio", "logging", "time", "random", "secrets", "sys",
    "warnings", "apprise", "watchdog", "apscheduler", "pydantic", "pydantic_settings", "jinja2", "matplotlib", "pandas",
    "scipy", "statsmodels",
}  # fmt: skip
PARSING = {"io", "pandas", "warnings"}  # the reader may use pandas on bytes it was handed, and hush it
IMPURE_CALLS = {"open", "print", "input", "exec", "eval", "now", "utcnow", "today", "default_rng"}


def name_of(path: Path) -> str:
    """The dotted module name."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def imported(path: Path) -> Iterator[str]:
    """Every module a file imports, anywhere in it; ``from a import b`` gives ``a`` and ``a.b``."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)} imports relatively"
            assert node.module is not None
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def in_package(module: str, package: str) -> bool:
    return module == package or module.startswith(package + ".")


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_go_only_down_the_house(path):
    package = path.relative_to(ROOT).parts[0]
    for module in imported(path):
        if package == "analysis":
            assert not in_package(module, "daemon"), f"analysis must not know the daemon: {module}"
            if in_package(module, "config"):
                assert module.startswith(("config.kiln", "config.logbook")), (
                    f"analysis knows only plain types: {module}"
                )
        if package == "config":
            assert not in_package(module, "daemon") and not in_package(module, "analysis"), module  # noqa: PT018


@pytest.mark.parametrize("path", [path for path in MODULES if name_of(path).startswith("analysis")], ids=name_of)
def test_analysis_reaches_for_nothing_but_its_arguments(path):
    reached = {module.split(".")[0] for module in imported(path)} & IMPURE
    if name_of(path).startswith("analysis.reading"):
        reached -= PARSING
    assert not reached, f"{name_of(path)} imports {sorted(reached)}"
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            assert called not in IMPURE_CALLS, f"{name_of(path)}:{node.lineno} calls {called}"


@pytest.mark.parametrize("path", MODULES + SCRIPTS, ids=name_of)
def test_a_module_stays_small_enough_to_read_at_a_sitting(path):
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_MODULE, f"{name_of(path)} has {lines} lines"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_is_named_for_what_it_holds(path):
    words = set(re.split(r"[._]", name_of(path)))
    assert not words & {"utils", "util", "helpers", "helper", "manager", "managers", "misc", "common", "stuff", "tools"}


def test_every_module_is_used_by_the_program():
    """From the console script on, each module is imported by another; the commands are the doors."""
    names = {name_of(path): path for path in MODULES}
    doors = [name for name in names if name == "daemon.main" or name.startswith("daemon.commands.")]
    seen: set[str] = set()
    waiting = list(doors)
    while waiting:
        name = waiting.pop()
        if name in seen or name not in names:
            continue
        seen.add(name)
        waiting += [name.rsplit(".", 1)[0]] if "." in name else []
        waiting += list(imported(names[name]))
        text = names[name].read_text(encoding="utf-8")
        waiting += re.findall(r"(?:[\"']|from )((?:daemon|analysis|config)(?:\.\w+)+)", text)  # named, not imported
    assert sorted(set(names) - seen) == []


def test_the_three_package_names_are_ours_alone_in_this_environment():
    owners = metadata.packages_distributions()
    assert {package: set(owners.get(package, ["coilwatch"])) for package in PACKAGES} == {
        package: {"coilwatch"} for package in PACKAGES
    }


def test_only_the_three_packages_are_shipped():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"] == list(PACKAGES)
    assert project["project"]["scripts"] == {"coilwatch": "daemon.main:main"}


def texts() -> list[Path]:
    """Every text file of the project that people write."""
    kept = ("daemon", "analysis", "config", "tests", "sample_logs", ".ci")
    suffixes = {".py", ".md", ".toml", ".txt", ".html", ".css", ".jinja", ".j2", ".jsonl", ".json", ".svg", ".cfg", ""}
    found = [path for folder in kept for path in (ROOT / folder).rglob("*") if path.suffix in suffixes]
    found += [path for path in ROOT.iterdir() if path.suffix in suffixes]
    clean = [path for path in found if path.is_file() and "__pycache__" not in path.parts and path.name != ".git"]
    return [path for path in clean if "logs" not in path.relative_to(ROOT).parts]


def test_no_text_tells_where_it_was_written():
    """Machine paths belong to one machine; the pieces are joined here so that this file does not break its own rule."""
    places = re.compile(
        "|".join(
            ("/" + "work/", "/" + "tmp/", "/" + "root/", "/" + "home/" + r"\w+/", "trans" + "cript", "seed " + "doc")
        )
    )
    told = {
        f"{path.relative_to(ROOT)}:{number}"
        for path in texts()
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
        if places.search(line)
    }
    assert told == set()


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_nothing_is_left_undone(path):
    text = path.read_text(encoding="utf-8")
    assert "NotImplementedError" not in text
    assert not re.search(r"#\s*(TODO|FIXME|XXX)\b", text)


def test_nothing_that_is_pinned_tells_which_registry_it_came_from():
    pins = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = [line for line in pins if line and not line.startswith("#")]
    assert pinned
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9._+-]+( ; .+)?", line) for line in pinned)
    assert not list(ROOT.glob("*.lock"))

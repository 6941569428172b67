"""The demo plays through the real service: watched folder, store, alerts, outbox and Apprise to a phone on loopback.

Played here with one kiln's first firings up to the night its circuit died; ``coilwatch demo`` plays all of it.
"""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from daemon.demo.story import SAMPLES

FIRINGS = (
    "2025-10-07",
    "2025-10-16",
    "2025-10-24",
    "2025-11-05",
    "2025-11-14",
    "2025-11-22",
    "2025-12-03",
    "2025-12-19",
    "2026-01-10",
    "2026-01-22",
)
A_REAL_STUDIOS_ENVIRONMENT = {
    "PYTHONIOENCODING": "utf-8",
    "COILWATCH_ALERTS__TARGETS__OWNER": "json://127.0.0.1:9/",  # must never be told
    "HTTP_PROXY": "http://127.0.0.1:9",  # must not come between the service and the demo's phone
}
_CODE = "import sys; from daemon.main import main; sys.exit(main(sys.argv[1:]))"


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    folder = tmp_path_factory.mktemp("samples")
    register = (SAMPLES / "coilwatch.toml").read_text(encoding="utf-8")
    only_juniper = register.partition('[[kiln]]\nid = "heron"')[0]
    (folder / "coilwatch.toml").write_text(only_juniper, encoding="utf-8")
    (folder / "logbook.jsonl").write_text("", encoding="utf-8")
    (folder / "logs" / "juniper").mkdir(parents=True)
    for day in FIRINGS:
        shutil.copy(SAMPLES / "logs" / "juniper" / f"juniper-{day}.csv", folder / "logs" / "juniper")
    return folder


def start(samples: Path, folder: Path) -> subprocess.Popen[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("COILWATCH_")}
    return subprocess.Popen(
        [sys.executable, "-P", "-c", _CODE, "demo", "--folder", str(folder), "--samples", str(samples)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        env=environment | A_REAL_STUDIOS_ENVIRONMENT,
    )


def wait_for(condition, limit_s: float = 40.0) -> None:
    until = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.05)


@pytest.fixture(scope="module")
def killed_and_played_on(samples, tmp_path_factory):
    """A demo killed after its second log, then played on in the same folder to its end."""
    folder = tmp_path_factory.mktemp("studio")
    first = start(samples, folder)
    dropped = folder / "drop" / "juniper"
    try:
        wait_for(lambda: dropped.is_dir() and len(list(dropped.iterdir())) >= 2)
    finally:
        first.kill()
        first.communicate()
    second = start(samples, folder)
    try:
        said, _ = second.communicate(timeout=90)
    finally:
        second.kill()
    return folder, second.returncode, said


def test_a_killed_demo_is_played_to_its_end_by_a_second_call(killed_and_played_on):
    folder, code, said = killed_and_played_on
    assert code == 0, said
    assert f"{len(FIRINGS)} firing logs" in said
    assert len(list((folder / "drop" / "juniper").iterdir())) == len(FIRINGS)


def test_the_dead_circuit_reaches_the_phone_as_urgent_in_its_first_firing(killed_and_played_on):
    folder, _, said = killed_and_played_on
    urgent = [line for line in said.splitlines() if line.startswith("2026-01-22") and " !! " in line]
    assert len(urgent) == 1
    messages = (folder / "phone" / "messages.jsonl").read_text(encoding="utf-8").splitlines()
    assert sum("circuit is dead" in line and "No safety device" not in line for line in messages) >= 1
    assert "Juniper: a circuit is dead" in said


def test_nothing_but_the_demos_own_phone_is_ever_told(killed_and_played_on):
    folder, _, said = killed_and_played_on
    assert "owner" not in (folder / "data" / "service.log").read_text(encoding="utf-8")
    assert "127.0.0.1:9/" not in said


def test_reports_and_the_visit_sheet_are_written_and_their_places_said(killed_and_played_on):
    folder, _, said = killed_and_played_on
    for page in ("index.html", "juniper.html", "juniper-visit.html"):
        assert (folder / "data" / "reports" / page).is_file()
    assert str(folder / "data" / "reports" / "index.html") in said
    kept = folder / "on the day" / "2026-01-22 juniper"
    assert {page.name for page in kept.glob("*.html")} == {"juniper.html", "juniper-visit.html"}


def test_no_service_is_left_behind(killed_and_played_on):
    """The data folder's lock is free: the first ended when its demo was killed, the second when it was over."""
    from filelock import FileLock

    with FileLock(killed_and_played_on[0] / "data" / "service.lock").acquire(timeout=10):
        pass

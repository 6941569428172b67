"""The real service as a process, treated roughly."""

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = PROJECT / "sample_logs" / "logs" / "juniper"
START = "import sys; from daemon.main import main; sys.exit(main())"
posix = pytest.mark.skipif(os.name == "nt", reason="signals and links as on POSIX systems")


class Running:
    """A studio with its service; everything is seen from outside, as a person or a monitor would."""

    def __init__(self, root: Path, extra: str = "") -> None:
        self.root = root
        self.process: subprocess.Popen[bytes] | None = None
        self.samples = sorted(SAMPLES.iterdir())
        (root / "drop/juniper").mkdir(parents=True, exist_ok=True)
        text = f"[service]\nsettle_s = 0.1\nscan_s = 1\n{extra}\n"
        text += '[[kiln]]\nid = "juniper"\n[kiln.log]\ntemperature_unit = "C"\n'
        (root / "coilwatch.toml").write_text(text, encoding="utf-8")

    def start(self, program: str = START) -> "subprocess.Popen[bytes]":
        """Start the service."""
        with (self.root / "output.txt").open("ab") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-c", program, "start"], cwd=self.root, stdout=out, stderr=out
            )
        return self.process

    def said(self) -> str:
        """Return what the service wrote on its terminal."""
        return (self.root / "output.txt").read_text(encoding="utf-8", errors="replace")

    def drop(self, number: int, name: str | None = None) -> Path:
        """Drop one of the sample logs."""
        target = self.root / "drop/juniper" / (name or self.samples[number].name)
        half = target.with_name(target.name + ".part")
        shutil.copy(self.samples[number], half)
        half.replace(target)
        return target

    def ask(self, sql: str) -> list[tuple[object, ...]]:
        """Read from the database; nothing yet is an empty list."""
        with (
            contextlib.suppress(sqlite3.OperationalError),
            contextlib.closing(sqlite3.connect(self.root / "data/coilwatch.db", timeout=10)) as db,
        ):
            return db.execute(sql).fetchall()
        return []

    def judged(self) -> int:
        """Return how many firings are judged."""
        return int(str((self.ask("select count(*) from firings where assessment is not null") or [(0,)])[0][0]))

    def wait(self, what: Callable[[], bool], limit_s: float = 40.0) -> None:
        """Wait until something is so."""
        until = time.monotonic() + limit_s
        while not what():
            assert time.monotonic() < until, f"waited in vain; the service said:\n{self.said()}"
            time.sleep(0.05)

    def command(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """Run another command of the program on the same studio."""
        return subprocess.run(
            [sys.executable, "-P", "-c", START, *words], cwd=self.root, capture_output=True, text=True, check=False
        )

    def end(self) -> int:
        """Ask the service to end and return its exit code."""
        assert self.process is not None
        self.process.terminate()
        return self.process.wait(10)


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    made = Running(tmp_path)
    yield made
    if made.process is not None and made.process.poll() is None:
        made.process.kill()
        made.process.wait()


@posix
def test_a_day_in_the_life_of_the_drop_folder(running):
    """Deleted, made again, swapped, and replaced by a link: each time the service goes on by itself."""
    running.start()
    running.drop(0)
    running.wait(lambda: running.judged() == 1)

    shutil.rmtree(running.root / "drop")
    running.wait(lambda: bool(running.ask("select 1 from notes where key = 'folder' and value <> ''")))
    assert running.judged() == 1
    stands = json.loads(running.command("status", "--json").stdout)
    assert "drop" in stands["service"]["folder"]
    assert stands["service"]["running"] is True

    (running.root / "drop/juniper").mkdir(parents=True)
    running.drop(1)
    running.wait(lambda: running.judged() == 2)
    running.wait(lambda: running.ask("select value from notes where key = 'folder'") == [("",)])

    (running.root / "drop").rename(running.root / "old drop")
    (running.root / "drop/juniper").mkdir(parents=True)
    running.drop(2)
    running.wait(lambda: running.judged() == 3)

    (running.root / "drop").rename(running.root / "real drop")
    (running.root / "drop").symlink_to(running.root / "real drop")
    running.drop(3)
    running.wait(lambda: running.judged() == 4)
    assert running.end() == 0


@posix
def test_a_second_service_on_the_same_data_is_refused_and_harms_nothing(running):
    running.start()
    running.wait(lambda: bool(running.ask("select 1 from notes where key = 'looked'")))
    second = running.command("start")
    assert second.returncode == 3, second
    assert "another Coilwatch is already working on" in second.stderr
    running.drop(0)
    running.wait(lambda: running.judged() == 1)
    assert running.end() == 0


@posix
@pytest.mark.parametrize("how", [signal.SIGTERM, pytest.param(signal.SIGINT, marks=pytest.mark.slow)])
def test_a_signal_ends_the_service_within_five_seconds_in_the_middle_of_its_work(running, how):
    for number in range(len(running.samples)):
        running.drop(number)
    process = running.start()
    running.wait(lambda: running.judged() >= 1)
    began = time.monotonic()
    process.send_signal(how)
    assert process.wait(10) == 0
    assert time.monotonic() - began < 5
    assert running.ask("pragma integrity_check") == [("ok",)]


@posix
def test_a_killed_service_frees_its_lock_and_the_next_one_finishes_the_work(running):
    for number in range(6):
        running.drop(number)
    process = running.start()
    running.wait(lambda: running.judged() >= 2)
    process.kill()
    process.wait()
    assert running.command("start", "--once").returncode == 0
    assert running.judged() == 6
    assert running.ask("select count(*) from firings") == [(6,)]


@posix
@pytest.mark.parametrize(
    ("thinned", "bursts", "pause_s"), [(1, 12, 0.25), pytest.param(12, 1000, 1.0, marks=pytest.mark.slow)]
)
def test_a_log_written_row_by_row_is_one_firing_in_the_end(running, thinned, bursts, pause_s):
    """A slow writer that keeps the file open (the slow run: one row a second): half-written states pass."""
    header, *rows = running.samples[0].read_text(encoding="utf-8").splitlines(keepends=True)
    text = [header, *rows[::thinned]]
    running.start()
    running.wait(lambda: bool(running.ask("select 1 from notes where key = 'looked'")))
    each = max(1, len(text) // bursts)
    with (running.root / "drop/juniper/slow.csv").open("w", encoding="utf-8") as file:
        for at in range(0, len(text), each):
            file.writelines(text[at : at + each])
            file.flush()
            time.sleep(pause_s)
    whole = len("".join(text).encode())
    running.wait(lambda: running.ask("select size from files where state = 'taken in'") == [(whole,)])
    running.wait(lambda: running.judged() == 1)
    assert running.ask("select count(*) from firings") == [(1,)]
    assert running.end() == 0


CLOCK_TO_SET = """
import datetime, signal, sys, time_machine
from daemon.main import main
def put(days):
    def now(*_):
        time_machine.travel(datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(days=days)).start()
    return now
signal.signal(signal.SIGUSR1, put(400))
signal.signal(signal.SIGUSR2, put(-700))
sys.exit(main())
"""


@posix
@pytest.mark.slow
def test_the_clock_set_on_by_a_year_and_back_by_two_stops_neither_intake_nor_messages(running, sink):
    with (running.root / "coilwatch.toml").open("a", encoding="utf-8") as file:
        file.write(f'[alerts.targets]\nphone = "json://localhost:{sink.port}"\n')
    process = running.start(CLOCK_TO_SET)
    dead = next(at for at, sample in enumerate(running.samples) if sample.name == "juniper-2026-01-22.csv")
    for number in range(dead - 1):
        running.drop(number)
    running.wait(lambda: running.judged() == dead - 1)
    process.send_signal(signal.SIGUSR1)
    running.wait(lambda: "the clock was set by +345" in running.said())
    running.drop(dead - 1)
    running.wait(lambda: running.judged() == dead)
    process.send_signal(signal.SIGUSR2)
    running.wait(lambda: "the clock was set by -604" in running.said())
    running.drop(dead)
    running.wait(lambda: running.judged() == dead + 1)
    running.wait(lambda: any(body["title"].startswith("juniper") for body in sink.bodies()))
    assert running.end() == 0
    assert running.ask("select count(*) from outbox where ended is null and part = 'text'") == [(0,)]
    assert running.ask("pragma integrity_check") == [("ok",)]


@posix
def test_a_database_of_a_newer_version_is_refused_and_left_as_it_is(running):
    assert running.command("start", "--once").returncode == 0
    with contextlib.closing(sqlite3.connect(running.root / "data/coilwatch.db")) as db:
        db.execute("insert into _sqlite_migrations (migration_set, name, applied_at) values ('store', 'm999', 'x')")
        db.commit()
    before = (running.root / "data/coilwatch.db").read_bytes()
    for words in (("start",), ("status",)):
        refused = running.command(*words)
        assert refused.returncode == 3, words
        assert "written by a newer Coilwatch" in refused.stderr
        assert "Traceback" not in refused.stderr
    assert (running.root / "data/coilwatch.db").read_bytes() == before


@posix
def test_a_file_without_a_right_to_read_it_is_named_and_read_once_it_has_one(running):
    file = running.drop(0)
    file.chmod(0)
    if os.access(file, os.R_OK):
        pytest.skip("an administrator may read everything")
    running.start()
    running.wait(lambda: bool(running.ask("select 1 from files where reason like '%cannot be opened%'")))
    file.chmod(0o600)
    running.wait(lambda: running.judged() == 1)
    assert running.end() == 0


@posix
def test_a_database_taken_away_under_the_running_service_ends_it_with_a_clear_word(running, monkeypatch):
    process = running.start()
    running.drop(0)
    running.wait(lambda: running.judged() == 1)
    (running.root / "data").rename(running.root / "data taken away")
    assert process.wait(40) == 3
    assert "the database file was removed or replaced" in running.said()


@pytest.mark.slow
def test_a_short_run_of_kills_loses_and_doubles_nothing():
    """The long run is ``python tests/faults/kill_run.py --kills 200``."""
    words = [
        sys.executable,
        str(PROJECT / "tests/faults/kill_run.py"),
        "--kills",
        "3",
        "--logs",
        "9",
        "--longest",
        "0.6",
    ]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}{c:9}=cmd|' /C calc'!A0"


def test_a_log_that_carries_html_formulas_and_escapes_comes_through_as_plain_text(running):
    rows = ["time,temperature,set point,programme"]
    for minute in range(0, 900, 5):
        temp = 20 + 1.5 * minute if minute < 780 else 1190 - 3 * (minute - 780)
        rows.append(f'2026-03-02T{minute // 60:02}:{minute % 60:02}:00Z,{temp},{temp + 4},"{HOSTILE}\x1b[2J"')
    (running.root / "drop/juniper/<b>&\x1b[31m.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert running.command("start", "--once").returncode == 0
    assert running.judged() == 1
    pages = list((running.root / "data/reports").glob("*.html"))
    assert pages
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "alert(1)</script>" not in text
        assert "<img src=x" not in text
        assert "<b>&\x1b" not in text
        assert "\x1b" not in text
    for words in (("status",), ("status", "--files"), ("assess", "drop")):
        assert "\x1b" not in running.command(*words).stdout

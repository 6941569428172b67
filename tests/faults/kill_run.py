"""Kill the running service at random instants, again and again, and count what was lost or doubled.

    python tests/faults/kill_run.py --kills 200

Drops the sample logs one by one into the drop folder of a real service process, with a notification target that fails
half of the time, kills the process (SIGKILL) at random instants, starts it again, and in the end lets it finish.
Then: every firing stored once, every message delivered at least once, duplicates only as many as kills, database whole.
"""

import argparse
import contextlib
import http.server
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = PROJECT / "sample_logs"
LABELS = ("phone", "tablet", "studio", "partner")
AT_WORK = 0.85  # share of the kills that wait for the service to be at work; the others fall in its start too
START = "import sys; from daemon.main import main; sys.exit(main())"


class Target(http.server.ThreadingHTTPServer):
    """A phone that answers only half of the time; keeps what it took."""

    def __init__(self, chance: random.Random) -> None:
        super().__init__(("127.0.0.1", 0), Answer)
        self.chance = chance
        self.fails = 0.5
        self.taken: Counter[tuple[str, ...]] = Counter()
        self.refused = 0
        threading.Thread(target=self.serve_forever, daemon=True).start()


class Answer(http.server.BaseHTTPRequestHandler):
    server: Target

    def do_POST(self) -> None:
        said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        if self.server.chance.random() < self.server.fails:
            self.server.refused += 1
            self.send_response(503)
        else:
            if not said.get("attachments"):
                self.server.taken[self.path.strip("/"), said["title"], said["message"]] += 1
            self.send_response(200)
        with contextlib.suppress(OSError):
            self.end_headers()

    def log_message(self, *args: object) -> None:
        """Say nothing."""


def studio(root: Path, port: int) -> None:
    """Write the sample studio's settings with quick times and the one target."""
    text = (SAMPLES / "coilwatch.toml").read_text(encoding="utf-8")
    head = (
        "[service]\nsettle_s = 0.1\nscan_s = 2\n[alerts]\nfirst_wait_s = 0.5\nlongest_wait_s = 1\npictures = false\n"
        "[alerts.targets]\n"
        + "".join(f'{label} = "json://127.0.0.1:{port}/{label}"\n' for label in LABELS)
        + "[folders]"
    )
    (root / "coilwatch.toml").write_text(text.replace("[folders]", head, 1), encoding="utf-8")
    for kiln in (SAMPLES / "logs").iterdir():
        (root / "drop" / kiln.name).mkdir(parents=True)


def start(root: Path) -> "subprocess.Popen[bytes]":
    """Start the service as a process of its own."""
    env = dict(os.environ, NO_PROXY="127.0.0.1,localhost")
    with (root / "output.txt").open("ab") as out:
        return subprocess.Popen([sys.executable, "-P", "-c", START, "start"], cwd=root, env=env, stderr=out, stdout=out)


def ask(root: Path, sql: str) -> list[tuple[object, ...]]:
    """Read from the database while the service writes; nothing yet is an empty list."""
    with (
        contextlib.suppress(sqlite3.OperationalError),
        contextlib.closing(sqlite3.connect(root / "data" / "coilwatch.db", timeout=10)) as db,
    ):
        return db.execute(sql).fetchall()
    return []


def at_work(root: Path, pid: int) -> bool:
    """Tell whether the service that runs as ``pid`` has begun to take in logs."""
    return ask(root, "select value from notes where key = 'started'") == [(str(pid),)]


def judged(root: Path) -> int:
    """Return how many firings are judged."""
    return int(str((ask(root, "select count(*) from firings where assessment is not null") or [(0,)])[0][0]))


def wait_until(what: Callable[[], bool]) -> None:
    """Wait until something is so, a minute at most."""
    until = time.monotonic() + 60
    while not what() and time.monotonic() < until:
        time.sleep(0.02)


def is_finished(root: Path, wanted: int) -> bool:
    """Tell whether every log is judged, told of, and every message delivered."""
    owed = ask(root, "select count(*) from outbox where ended is null")
    behind = ask(root, "select count(*) from kilns where stale_from is not null or told = 0")
    return judged(root) == wanted and owed == behind == [(0,)]


def run(kills: int, seed: int, longest_s: float, root: Path, most: int) -> dict[str, object]:
    """Run it all and return the figures."""
    chance = random.Random(seed)
    target = Target(random.Random(seed + 1))
    shutil.copytree(SAMPLES / "logs", root / "samples")
    studio(root, target.server_port)
    logs = sorted((root / "samples").glob("*/*"), key=lambda file: file.name[-14:])[:most]
    wanted = len(logs)
    began = time.monotonic()
    process = start(root)
    stages: Counter[str] = Counter()
    for number in range(kills):
        while logs and wanted - len(logs) < (number + 1) * wanted / kills:
            wait_until(lambda: judged(root) == wanted - len(logs))  # each log is the newest for a while
            file = logs.pop(0)
            shutil.copy(file, root / "drop" / file.parent.name / file.name)
        if chance.random() < AT_WORK:
            wait_until(partial(at_work, root, process.pid))
        time.sleep(chance.uniform(0.0, longest_s))
        stages["killed at work" if at_work(root, process.pid) else "killed while starting"] += 1
        process.kill()
        process.wait()
        process = start(root)
    for file in logs:
        shutil.copy(file, root / "drop" / file.parent.name / file.name)
    target.fails = 0.0
    for _ in range(3):
        wait_until(lambda: is_finished(root, wanted))
    process.terminate()
    ended = process.wait(10)
    return figures(root, target, ended) | {"kills": kills, "seconds": round(time.monotonic() - began, 1), **stages}


def figures(root: Path, target: Target, ended: int) -> dict[str, object]:
    """Count what is in the database against what was dropped and what the target took."""
    owed = Counter(ask(root, "select target, title, body from outbox where part = 'text'"))
    stored = ask(
        root, "select kiln, started, count(*) from firings where assessment is not null group by kiln, started"
    )
    return {
        "exit code": ended,
        "logs": len(list((root / "drop").glob("*/*"))),
        "firings stored": sum(int(str(row[2])) for row in stored),
        "firings stored twice": sum(int(str(row[2])) > 1 for row in stored),
        "messages": sum(owed.values()),
        "messages never delivered": sum((owed - target.taken).values()),
        "messages delivered again": sum((target.taken - owed).values()),
        "sends refused": target.refused,
        "integrity": ask(root, "pragma integrity_check"),
        "half-written files": len([*(root / "data").rglob("*.half")]),
    }


def main() -> int:
    """Run from the command line; exit code 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=float, default=1.2, help="seconds until a kill at most")
    parser.add_argument("--logs", type=int, default=1000, help="use only so many of the sample logs")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = run(args.kills, args.seed, args.longest, Path(folder), args.logs)
    print(json.dumps(found))
    lost = (
        found["logs"] != found["firings stored"] or found["firings stored twice"] or found["messages never delivered"]
    )
    return int(bool(lost) or found["integrity"] != [("ok",)])


if __name__ == "__main__":
    sys.exit(main())

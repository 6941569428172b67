"""What the service costs while nothing happens, and how soon the message about a bad firing is on its way.

    python tests/faults/idle_run.py [--minutes 2] [--firings 3]

Runs the real service on the sample studio (invented) with a web target on this computer, lets it come to rest,
and measures over some minutes its memory (with its children) and processor time. Then drops the log of the firing in
which juniper's circuit died, again and again under the same studio made anew, and measures from the moment the file
has settled until the target holds the text, and until it holds the picture.
Bars: at most 130 MB, at most 0.5 % of one processor, the text within 3 s. Exit code 1 if one is missed. Linux only.
"""

import argparse
import contextlib
import http.server
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = PROJECT / "sample_logs"
START = "import sys; from daemon.main import main; sys.exit(main())"
SETTLE_S = 2.0
DEAD_CIRCUIT = "juniper-2026-01-22.csv"


class Phone(http.server.ThreadingHTTPServer):
    """A web target that notes when each message came, and whether it carried a picture."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Answer)
        self.got: list[tuple[float, bool, str]] = []
        threading.Thread(target=self.serve_forever, daemon=True).start()


class Answer(http.server.BaseHTTPRequestHandler):
    server: Phone

    def do_POST(self) -> None:
        said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.got.append((time.monotonic(), bool(said.get("attachments")), str(said["title"])))
        self.send_response(200)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Say nothing."""


@contextlib.contextmanager
def service(root: Path) -> Iterator[int]:
    """Run the service; yields its process id."""
    env = dict(os.environ, NO_PROXY="127.0.0.1,localhost", PYTHONPATH=str(PROJECT))
    with (root / "output.txt").open("ab") as out:
        words = [sys.executable, "-P", "-c", START, "start"]
        process = subprocess.Popen(words, cwd=root, env=env, stdout=out, stderr=out)
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(20)


def studio(root: Path, port: int) -> None:
    """Write the sample studio with all of juniper's logs up to the one before its circuit died."""
    text = (SAMPLES / "coilwatch.toml").read_text(encoding="utf-8")
    head = f'[service]\nsettle_s = {SETTLE_S}\n[alerts.targets]\nphone = "json://127.0.0.1:{port}"\n[folders]'
    (root / "coilwatch.toml").write_text(text.replace("[folders]", head, 1), encoding="utf-8")
    for kiln in (SAMPLES / "logs").iterdir():
        (root / "drop" / kiln.name).mkdir(parents=True)
    for file in (SAMPLES / "logs/juniper").iterdir():
        if file.name < DEAD_CIRCUIT:
            shutil.copy(file, root / "drop/juniper")


def wait_judged(root: Path, count: int) -> None:
    """Wait until so many firings are judged, three minutes at most."""
    until = time.monotonic() + 180
    while time.monotonic() < until:
        with (
            contextlib.suppress(sqlite3.Error),
            contextlib.closing(sqlite3.connect(root / "data/coilwatch.db", timeout=10)) as db,
        ):
            if db.execute("select count(*) from firings where assessment is not null").fetchone()[0] >= count:
                return
        time.sleep(0.1)
    sys.exit((root / "output.txt").read_text(encoding="utf-8"))


def family(pid: int) -> list[int]:
    """Return a process and all its descendants."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()
    return [pid, *(each for child in children for each in family(int(child)))]


def memory_mb(pid: int) -> float:
    """Return the resident memory of a process and its descendants, what they share counted for each."""
    total = 0
    for each in family(pid):
        lines = Path(f"/proc/{each}/smaps_rollup").read_text(encoding="ascii").splitlines()
        total += int(next(line for line in lines if line.startswith("Rss:")).split()[1])
    return total / 1024


def processor_s(pid: int) -> float:
    """Return the processor time of a process and its descendants, ended ones among them."""
    total = 0
    for each in family(pid):
        fields = Path(f"/proc/{each}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
        total += sum(int(fields[place]) for place in (11, 12, 13, 14))
    return total / os.sysconf("SC_CLK_TCK")


def idle(root: Path, minutes: float) -> dict[str, float]:
    """Return memory and share of a processor while nothing happens."""
    with service(root) as pid:
        wait_judged(root, len([*(root / "drop/juniper").iterdir()]))
        time.sleep(150)  # the children that read, judge and draw end when there is nothing to do
        used, began = processor_s(pid), time.monotonic()
        time.sleep(60 * minutes)
        share = (processor_s(pid) - used) / (time.monotonic() - began)
        return {"memory MB": round(memory_mb(pid), 1), "processes": len(family(pid)), "processor %": 100 * share}


def told_after(root: Path, phone: Phone) -> tuple[float, float]:
    """Return the seconds from the settling of the bad log until its text, and its picture, was held by the phone."""
    phone.got.clear()
    with service(root):
        wait_judged(root, len([*(root / "drop/juniper").iterdir()]))
        time.sleep(20)  # its first reports are drawn
        shutil.copy(SAMPLES / "logs/juniper" / DEAD_CIRCUIT, root / "drop/juniper")
        settled, until = time.monotonic() + SETTLE_S, time.monotonic() + 120
        while not any(picture for _, picture, _ in phone.got) and time.monotonic() < until:
            time.sleep(0.05)
    text = min((at for at, picture, _ in phone.got if not picture), default=float("inf"))
    picture = min((at for at, picture, _ in phone.got if picture), default=float("inf"))
    return text - settled, picture - settled


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--firings", type=int, default=3)
    args = parser.parse_args()
    phone = Phone()
    figures: dict[str, object] = {}
    times = []
    for _ in range(args.firings):
        with tempfile.TemporaryDirectory() as folder:
            studio(Path(folder), phone.server_port)
            times.append(told_after(Path(folder), phone))
    figures["text after s"] = [round(text, 2) for text, _ in times]
    figures["picture after s"] = [round(picture, 2) for _, picture in times]
    with tempfile.TemporaryDirectory() as folder:
        studio(Path(folder), phone.server_port)
        rest = idle(Path(folder), args.minutes)
    figures |= {name: round(value, 2) for name, value in rest.items()}
    print(json.dumps(figures))
    return int(rest["memory MB"] > 130 or rest["processor %"] > 0.5 or max(text for text, _ in times) > 3)


if __name__ == "__main__":
    sys.exit(main())

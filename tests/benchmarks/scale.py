"""How time, memory and database grow with the number of firings: ``assess``, ``backfill``, the running service, pages.

    python tests/benchmarks/scale.py --firings 1000 10000 [--past 500] [--only assess service] [--jobs 2]

The firings of the sample studio (invented) are written again and again with later and later dates, one row in two
minutes, for as many kilns as it takes to give each a history of ``--past`` firings. Then the real commands run on
them as processes of their own. For each number of firings: wall and processor time and the database's bytes for each
firing, the memory of the largest process, and, with all of them in the store, the time of one kiln's report, of the
whole studio's ``status``, and from a new log's arrival to its judgement by the running service (0.2 s of settling
among it). The bar (exit code 1 if missed): none of the costs of one firing grows by more than a third from the
smallest to the largest number. Linux and macOS only (it asks the system what a process used).
"""

import argparse
import contextlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.reading import FiringLog, read_log
from config.settings import load

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = PROJECT / "sample_logs"
START = "import sys; from daemon.main import main; sys.exit(main())"
STEP_S = 120.0
MAY_GROW = 4 / 3
EACH = ("assess cpu ms", "backfill cpu ms", "database KB")
"""The costs of one firing that must not grow; processor time, because it is hardly moved by what else runs."""


@dataclass(frozen=True)
class Cost:
    """What a command took: seconds of wall and of processor, and the memory of its largest process."""

    wall_s: float
    cpu_s: float
    memory_mb: float


@dataclass(frozen=True)
class Table:
    """A firing as the text of a log: the header, the seconds of its rows and what stands in them after the time."""

    header: str
    elapsed_s: tuple[float, ...]
    cells: tuple[str, ...]


def begin(root: Path, *words: str) -> "subprocess.Popen[bytes]":
    """Begin a command of the program in ``root``."""
    with (root / "output.txt").open("wb") as out:
        return subprocess.Popen(
            [sys.executable, "-P", "-c", START, *words],
            cwd=root,
            stdout=out,
            stderr=out,
            env=dict(os.environ, PYTHONPATH=str(PROJECT)),
        )


def measured(root: Path, *words: str) -> Cost:
    """Run a command of the program in ``root`` and measure it with its children; ends all if it fails."""
    began = time.perf_counter()
    _, status, used = os.wait4(begin(root, *words).pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):  # 1: something needs attention
        sys.exit(f"{' '.join(words)} failed:\n{(root / 'output.txt').read_text(encoding='utf-8')[-2000:]}")
    per_mb = 1024 if sys.platform.startswith("linux") else 1024 * 1024
    return Cost(time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / per_mb)


def table_of(log: FiringLog) -> Table:
    """Return a firing as a thinned table."""
    at = np.unique(np.searchsorted(log.elapsed_s, np.arange(0.0, float(log.elapsed_s[-1]), STEP_S)))
    names = [f"{zone} (C)" for zone in log.zone_names] if len(log.zone_names) > 1 else ["temperature"]
    columns = [log.zone_c[at]]
    if log.set_point_c is not None:
        names.append("set point")
        columns.append(log.set_point_c[at, :1])
    if log.output is not None:
        names += [f"output {zone}" for zone in log.zone_names] if len(log.zone_names) > 1 else ["output"]
        columns.append(100 * log.output[at])
    cells = [",".join("" if np.isnan(value) else f"{value:.1f}" for value in row) for row in np.hstack(columns)]
    return Table(",".join(["time", *names]), tuple(log.elapsed_s[at].tolist()), tuple(cells))


def histories(tables: list[Table], count: int) -> Iterator[tuple[str, str]]:
    """Yield so many logs of one kiln as (date, text), one each third day."""
    for number in range(count):
        table = tables[number % len(tables)]
        begun = datetime(1996, 1, 1, 8, tzinfo=UTC) + timedelta(days=3 * number)
        rows = zip(table.elapsed_s, table.cells, strict=True)
        lines = [f"{begun + timedelta(seconds=at):%Y-%m-%dT%H:%M:%SZ},{cells}" for at, cells in rows]
        yield f"{begun:%Y-%m-%d}", "\n".join([table.header, *lines]) + "\n"


def write_studio(root: Path, firings: int, past: int) -> dict[str, Path]:
    """Write ``root/logs`` and the settings; returns the kilns, each with one more log that is not among them."""
    head, *blocks = (SAMPLES / "coilwatch.toml").read_text(encoding="utf-8").split("[[kiln]]\n")
    entries = {block.split('id = "', 1)[1].split('"', 1)[0]: block for block in blocks}
    tables: dict[str, list[Table]] = {}
    for kiln in load(SAMPLES / "coilwatch.toml").kilns:
        for file in sorted((SAMPLES / "logs" / kiln.id).iterdir()):
            tables.setdefault(kiln.id, []).extend(
                table_of(log) for log in read_log(file.read_bytes(), name=file.name, kiln=kiln).firings
            )
    text, later, number = head + "[service]\nsettle_s = 0.2\n", {}, 0
    (root / "later").mkdir()
    while firings > 0:
        like = list(tables)[number % len(tables)]
        name, count = f"{like}-{number:04}", min(past, firings)
        text += "[[kiln]]\n" + entries[like].replace(f'id = "{like}"', f'id = "{name}"', 1)
        for folder in ("logs", "drop"):
            (root / folder / name).mkdir(parents=True)
        *logs, newest = histories(tables[like], count + 1)
        for day, body in logs:
            (root / "logs" / name / f"{day}.csv").write_text(body, encoding="utf-8")
        later[name] = root / "later" / f"{name}.csv"
        later[name].write_text(newest[1], encoding="utf-8")
        firings, number = firings - count, number + 1
    (root / "coilwatch.toml").write_text(text, encoding="utf-8")
    return later


def assessed(root: Path, firings: int, jobs: int) -> dict[str, float]:
    """Measure ``coilwatch assess``."""
    words = ("assess", "logs", "--register", "coilwatch.toml", "--jsonl", "out.jsonl", "--jobs", str(jobs))
    cost = measured(root, *words)
    with (root / "out.jsonl").open(encoding="utf-8") as lines:
        records = sum(1 for _ in lines)
    each = {"assess ms": 1000 * cost.wall_s / firings, "assess cpu ms": 1000 * cost.cpu_s / firings}
    return {"records": records, **each, "assess MB": cost.memory_mb}


def served(root: Path, firings: int, later: dict[str, Path]) -> dict[str, float]:
    """Measure ``coilwatch backfill``, and what report, status and a new log cost afterwards."""
    cost = measured(root, "backfill", "logs")
    database = root / "data/coilwatch.db"
    kept = [file.stat().st_size for file in (root / "data/kept").rglob("*.gz")]  # alike logs are kept once
    kiln, log = next(iter(later.items()))
    return {
        "backfill ms": 1000 * cost.wall_s / firings,
        "backfill cpu ms": 1000 * cost.cpu_s / firings,
        "backfill MB": cost.memory_mb,
        "database KB": database.stat().st_size / firings / 1000,
        "kept log KB": sum(kept) / len(kept) / 1000,
        "report s": measured(root, "report", kiln).wall_s,
        "status s": measured(root, "status", "--json").wall_s,
        "new log s": new_log_s(root, database, kiln, log),
    }


def new_log_s(root: Path, database: Path, kiln: str, log: Path) -> float:
    """Return how long the running service takes from a new log's arrival to its judgement."""

    def ask(sql: str, *values: str) -> str:
        with contextlib.closing(sqlite3.connect(database, timeout=10)) as db:
            return str((db.execute(sql, values).fetchone() or ("",))[0])

    judged = "select count(*) from firings where kiln = ? and assessment is not null"
    before, process = ask(judged, kiln), begin(root, "start")
    try:
        looked = "select max(at) from notes where key in ('looked', 'started') having count(*) = 2"
        began, since = time.monotonic(), ask(looked)
        while ask(looked) == since or ask("select value from notes where key = 'started'") != str(process.pid):
            time.sleep(0.1)
            if time.monotonic() - began > 600:
                sys.exit("the service does not begin")
        time.sleep(8)  # it tells what the backfill left untold, and draws
        began = time.monotonic()
        shutil.copy(log, root / "drop" / kiln)
        while ask(judged, kiln) == before:
            time.sleep(0.02)
            if time.monotonic() - began > 600:
                sys.exit("the new log is not judged")
        return time.monotonic() - began
    finally:
        process.terminate()
        process.wait(30)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--firings", type=int, nargs="+", default=[1000, 10000])
    parser.add_argument("--past", type=int, default=500, help="firings of one kiln")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", nargs="+", choices=("assess", "service"), default=["assess", "service"])
    args = parser.parse_args()
    found: list[dict[str, float]] = []
    for firings in sorted(args.firings):
        with tempfile.TemporaryDirectory() as folder:
            root = Path(folder)
            later = write_studio(root, firings, args.past)
            figures: dict[str, float] = {"firings": firings, "kilns": len(later)}
            if "assess" in args.only:
                figures |= assessed(root, firings, args.jobs)
            if "service" in args.only:
                figures |= served(root, firings, later)
        found.append({name: round(value, 2) for name, value in figures.items()})
        print(json.dumps(found[-1]), flush=True)
    grew = {name: found[-1][name] / found[0][name] for name in EACH if name in found[0]}
    print("growth of the cost of one firing:", json.dumps({name: round(value, 2) for name, value in grew.items()}))
    return int(any(value > MAY_GROW for value in grew.values()))


if __name__ == "__main__":
    sys.exit(main())

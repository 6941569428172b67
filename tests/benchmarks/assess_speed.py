"""How fast the whole of ``assess`` is, and whether a long past makes a new firing dearer.

    python tests/benchmarks/assess_speed.py FLEET STUDIO [--kilns k001,k002] [--past 5000] [--only whole|parts|past]

FLEET holds ``logs`` and ``given``; STUDIO the ``coilwatch.toml`` and ``logbook.jsonl`` made for it. Two bars:

- ``coilwatch assess --jobs 2`` over all logs takes at most 4 times as long as two processes need for a bare
  ``pandas.read_csv`` of the same files (told separator, encoding and rows to skip). Both are run as commands of their
  own, one after the other, start-up included. Wall time is what the bar means; processor time stands beside it because
  it is hardly moved by whatever else the machine does.
- at 5,000 earlier firings a new one costs at most 1.3 times what it costs at 50: one kiln's firings are judged forth
  and back with later and later dates, and firings after the 50th and after the 5,000th are timed by turns, best of
  five. Both at the same place of the round (so at 5,000 or a little later): how many histories a firing is weighed
  under depends on whether the one before it was odd, and that is not what is asked here.
  The cost includes storing and loading the state, as the service does between firings.

Exit code 1 if a bar is missed.
"""

import argparse
import contextlib
import ctypes
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[2]))

if TYPE_CHECKING:
    from pydantic import TypeAdapter

    from analysis.reading import FiringLog
    from analysis.state import KilnState
    from config.kiln import Kiln

HOUSE = Path(__file__).parents[2]
BAR, PAST_BAR = 4.0, 1.3
SEPARATORS = {"semicolon dec comma": ";", "tab hms": "\t", "fixed width": r"\s+"}
SKIPPED = {"preamble csv": 6, "fixed width": 3}
REPEAT = 5
ADOPT_ORPHANS = 36  # PR_SET_CHILD_SUBREAPER of prctl(2)


def read_bare(files: Sequence[tuple[str, str]]) -> int:
    """Read (file, layout) pairs with pandas alone; return how many gave a table."""
    import pandas as pd

    done = 0
    for name, layout in files:
        with Path(name).open("rb") as start:
            wide = start.read(2) in (b"\xff\xfe", b"\xfe\xff")
        try:
            pd.read_csv(
                name,
                encoding="utf-16" if wide else "latin-1",
                sep=SEPARATORS.get(layout, ","),
                on_bad_lines="skip",
                skiprows=SKIPPED.get(layout, 0),
            )
        except (ValueError, pd.errors.ParserError):
            continue
        done += 1
    return done


def files_of(fleet: Path, kilns: Sequence[str]) -> list[list[tuple[str, str]]]:
    """Return each kiln's files with their layout, the kiln with most files first."""
    given = {kiln["id"]: kiln for kiln in json.loads((fleet / "given" / "kilns.json").read_text(encoding="utf-8"))}
    chosen = [
        [(str(file), given[kiln]["layout"].split(";")[0]) for file in sorted((fleet / "logs" / kiln).iterdir())]
        for kiln in kilns
    ]
    return sorted(chosen, key=lambda files: -len(files))


def bare(fleet: Path, kilns: Sequence[str]) -> None:
    """Read all logs with pandas alone, in two processes, one kiln at a time each."""
    work = files_of(fleet, kilns)
    with get_context("spawn").Pool(2) as pool:
        done = sum(pool.imap_unordered(read_bare, work))
    print(f"{done} of {sum(map(len, work))} read")


def timed(command: Sequence[str]) -> tuple[float, float]:
    """Run a command; return its wall time and the processor time of it and all its descendants, in seconds."""
    if sys.platform == "linux":  # else what outlives the command by a moment (the server that forks) is not counted
        ctypes.CDLL(None).prctl(ADOPT_ORPHANS, 1, 0, 0, 0)
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, check=False, stdout=subprocess.DEVNULL, cwd=HOUSE)
    wall = time.perf_counter() - begin
    with contextlib.suppress(ChildProcessError):
        while True:
            os.wait()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def whole(fleet: Path, studio: Path, kilns: Sequence[str]) -> bool:
    """Set ``assess --jobs 2`` against the bare reading; True if the bar is kept."""
    count = sum(map(len, files_of(fleet, kilns)))
    folders = [str(fleet / "logs" / kiln) for kiln in kilns]
    base = [sys.executable, str(Path(__file__).resolve()), str(fleet), str(studio), "--kilns", ",".join(kilns)]
    with tempfile.TemporaryDirectory() as scratch:
        ours = [sys.executable, "-m", "daemon.main", "assess", *folders, "--jobs", "2"]
        ours += ["--register", str(studio / "coilwatch.toml"), "--logbook", str(studio / "logbook.jsonl")]
        ours += ["--jsonl", str(Path(scratch) / "results.jsonl")]
        timed([*base, "--only", "bare"])  # once for nothing: the files are then in memory for both
        bare_wall, bare_cpu = timed([*base, "--only", "bare"])
        wall, cpu = timed(ours)
    print(f"{count} logs, two processes each      wall s   ms/log    CPU s   ms/log")
    for name, spent in (("bare pandas.read_csv", (bare_wall, bare_cpu)), ("coilwatch assess --jobs 2", (wall, cpu))):
        print(f"  {name:27s}" + "".join(f" {seconds:9.1f} {1e3 * seconds / count:8.2f}" for seconds in spent))
    ratio = wall / bare_wall
    print(f"  {'ratio':27s} {ratio:9.2f} {'':8s} {cpu / bare_cpu:9.2f}   bar {BAR}")
    return ratio <= BAR


def parts(fleet: Path, studio: Path, kilns: Sequence[str]) -> None:
    """Print the processor time of each part of judging, per log, over the first firings of some kilns."""
    from analysis.assessment import assess, begin, to_record
    from analysis.measures import measure
    from analysis.reading import read_log
    from analysis.state import update
    from config import settings

    warnings.simplefilter("ignore", RuntimeWarning)
    register = {kiln.id: kiln for kiln in settings.load(studio / "coilwatch.toml").kilns}
    spent: Counter[str] = Counter()
    count = 0
    for id_ in kilns:
        kiln, state = register[id_], begin(register[id_])
        for file in sorted((fleet / "logs" / id_).iterdir())[:40]:
            at = [time.process_time()]
            log = read_log(file.read_bytes(), name=file.name, kiln=kiln).firings[0]
            at.append(time.process_time())
            firing, measures = measure(kiln, log)
            at.append(time.process_time())
            update(kiln, state, firing, measures, ())
            at.append(time.process_time())
            state, assessment = assess(kiln, state, log)
            at.append(time.process_time())
            json.dumps(to_record(assessment, [file.name], file.name))
            at.append(time.process_time())
            took = [late - early for early, late in pairwise(at)]
            spent.update(dict(zip(("reading", "measuring", "state", "", "record"), took, strict=True)))
            spent["causes, outlook"] += took[3] - took[2] - took[1]
            count += 1
    del spent[""]
    table = ", ".join(f"{name} {1e3 * seconds / count:.2f}" for name, seconds in spent.items())
    print(f"  processor time by part, ms per log, of {count} logs: {table}")


def past(fleet: Path, studio: Path, kiln_id: str, long: int) -> bool:
    """Time a new firing after 50 and after ``long`` earlier ones; True if the bar is kept."""
    from pydantic import TypeAdapter

    from analysis.assessment import assess, begin
    from analysis.reading import read_log
    from analysis.state import KilnState
    from config import settings

    warnings.simplefilter("ignore", RuntimeWarning)
    kiln = next(kiln for kiln in settings.load(studio / "coilwatch.toml").kilns if kiln.id == kiln_id)
    files = sorted((fleet / "logs" / kiln_id).iterdir())
    logs = [read_log(file.read_bytes(), name=file.name, kiln=kiln).firings[0] for file in files]
    stored = TypeAdapter(KilnState)
    turn = 2 * len(logs)
    long += (50 - long) % turn
    state, kept = begin(kiln), {}
    for index in range(long + 1):
        # the kiln's firings forth and back, so that no step of power is made by the repetition; each round later
        place = index % turn
        log = logs[min(place, turn - 1 - place)]
        if log.started is not None:
            log = replace(log, started=log.started + timedelta(days=3650 * (index // len(logs))))
        if index in (50, long):
            kept[index] = stored.dump_json(state)
        state, _ = assess(kiln, state, log)
    costs = dict.fromkeys(kept, float("inf"))
    for index in list(kept) * REPEAT:
        costs[index] = min(costs[index], _cost_of_a_round(kiln, stored, kept[index], logs))
    for index, cost in costs.items():
        print(
            f"  after {index:5d} firings: {1e3 * cost:6.2f} ms for a new one, {len(kept[index]) / 1e3:5.1f} kB of state"
        )
    ratio = costs[long] / costs[50]
    print(f"  ratio {ratio:.2f}, bar {PAST_BAR}")
    return ratio <= PAST_BAR


def _cost_of_a_round(kiln: "Kiln", stored: "TypeAdapter[KilnState]", kept: bytes, logs: "Sequence[FiringLog]") -> float:
    """Return the processor time of judging each log as the next firing after a stored state, mean of a round."""
    from analysis.assessment import assess

    begin = time.process_time()
    for log in logs:
        state, _ = assess(kiln, stored.validate_json(kept), log)
        stored.dump_json(state)
    return (time.process_time() - begin) / len(logs)


def main() -> int:
    """Measure what is asked for; 1 if a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fleet", type=Path)
    parser.add_argument("studio", type=Path)
    parser.add_argument("--kilns", help="only these, with commas between")
    parser.add_argument("--past", type=int, default=5000, help="how many earlier firings are many")
    parser.add_argument("--only", choices=("whole", "parts", "past", "bare"), help="only one of the measurements")
    args = parser.parse_args()
    kilns = args.kilns.split(",") if args.kilns else sorted(path.name for path in (args.fleet / "logs").iterdir())
    if args.only == "bare":
        bare(args.fleet, kilns)
        return 0
    kept = True
    if args.only in (None, "whole"):
        kept &= whole(args.fleet, args.studio, kilns)
    if args.only in (None, "parts"):
        parts(args.fleet, args.studio, kilns[::6])
    if args.only in (None, "past"):
        for kiln in kilns[:: max(1, len(kilns) // 3)][:3]:
            kept &= past(args.fleet, args.studio, kiln, args.past)
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())

"""The live watch on a fleet with known truth: each log cut as it would have grown, and what would have been told.

    python tests/benchmarks/live_watch.py FLEET [--every N] [--firings N]

Each firing is looked at every 20 minutes; each state counts once a firing. Told of clean firings is false (but for
one that really ends late: its true duration stands beside the expected end). ``--every N`` takes each N-th kiln.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from accuracy_fleet import load

from analysis.course import PastCourse
from analysis.live import LiveState, silence, watch
from analysis.reading import UnreadableLog, read_log
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln

LOOK_S = 1200.0
PAST = 24


def upto(log: FiringLog, rows: int) -> FiringLog:
    """Return the log as it was when it had so many rows."""
    cut = {
        name: None if getattr(log, name) is None else getattr(log, name)[:rows]
        for name in ("elapsed_s", "zone_c", "set_point_c", "output", "volts", "amps", "room_c", "segment")
    }
    spikes = tuple(spike for spike in log.spikes if spike.elapsed_s <= log.elapsed_s[rows - 1])
    return replace(log, **cut, spikes=spikes)


def course_of(log: FiringLog) -> PastCourse:
    """Return a firing as a course, thinned as the store keeps it."""
    known = np.isfinite(log.zone_c).any(axis=1)
    mean_c = np.nanmean(log.zone_c[known], axis=1)
    step = max(1, mean_c.size // 300)
    wanted = () if log.set_point_c is None else tuple(log.set_point_c.max(axis=1)[known][::step])
    return PastCourse(tuple(log.elapsed_s[known][::step]), tuple(mean_c[::step]), wanted, log.programme or "")


def told_of(kiln: Kiln, log: FiringLog, past: list[PastCourse]) -> Iterator[tuple[float, LiveState]]:
    """Yield each state when it is first seen, with the hours since the log began."""
    seen: set[str] = set()
    for at in np.arange(LOOK_S, float(log.elapsed_s[-1]), LOOK_S):
        view = watch(kiln, upto(log, int(np.searchsorted(log.elapsed_s, at)) + 1), past)
        for state in view.states:
            if state.kind not in seen:
                seen.add(state.kind)
                yield at / 3600, state
    silent = silence(watch(kiln, log, past), 4 * 3600.0, 1800.0)
    if silent is not None:
        yield float(log.elapsed_s[-1]) / 3600, silent


def kind_of(truth: dict[str, Any]) -> str:
    """Return whether a firing is clean, has a material fault, or something else to it."""
    if any(fault.get("material", True) for fault in truth["faults"]):
        return "with a fault"
    return "tagged" if truth["tags"] else "clean"


def main() -> None:
    """Print what was told of firings that were clean, and the counts."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fleet", type=Path)
    parser.add_argument("--every", type=int, default=6)
    parser.add_argument("--firings", type=int, default=40)
    args = parser.parse_args()
    fleet = load(args.fleet)
    counts: Counter[str] = Counter()
    for name in sorted(fleet.kilns)[:: args.every]:
        past: list[PastCourse] = []
        for truth in fleet.truth[name][: args.firings]:
            path = args.fleet / "logs" / truth["log"]
            try:
                log = read_log(path.read_bytes(), name=path.name, kiln=fleet.kilns[name]).firings[0]
            except UnreadableLog:
                continue
            kind = kind_of(truth)
            counts[f"firings {kind}"] += 1
            for hours, state in told_of(fleet.kilns[name], log, past[-PAST:]):
                counts[f"{state.kind} told of firings {kind}"] += 1
                if kind == "clean":
                    end = "" if state.end_s is None else f" expected {state.end_s / 3600:.1f} h,"
                    print(f"{truth['log']} at {hours:.1f} h: {state.kind},{end} truly {truth['hours_to_end']:.1f} h")
            if truth["end"] == "programme complete":
                past.append(course_of(log))
    for what, n in sorted(counts.items()):
        print(f"{n:6d}  {what}")


if __name__ == "__main__":
    main()

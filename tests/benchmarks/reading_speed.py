"""How fast and lean reading is, against a bare ``pandas.read_csv`` of the same bytes in the same run.

    python tests/benchmarks/reading_speed.py [--repeat 30]

Bars: a 3,000-row, 6-column log at most 2.5 times, a 90,000-row one at most 1.5 times as long; peak memory at most
6 times the file. Exit code 1 if one is missed. Times are processor time,
the best of the repeats, the two run in turns.
"""

import argparse
import io
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.reading import read_log

BARS = {3_000: 2.5, 90_000: 1.5}
MEMORY_BAR = 6.0


def log_bytes(rows: int, stamps: str = "seconds") -> bytes:
    """Write a made-up firing of six columns: time, three zones, set point, output."""
    rng = np.random.default_rng(7)
    t = np.arange(rows) * (36_000.0 / rows)
    point = np.interp(t, [0, 14_000, 26_000, 27_500, 36_000], [20, 560, 1222, 1222, 700])
    zones = point[:, None] - [4.0, 2.0, 6.0] + rng.normal(0, 0.4, (rows, 3))
    output = np.clip(30 + point / 22 + rng.normal(0, 4, rows), 0, 100)
    if stamps == "seconds":
        times = [f"{10 * i}" for i in range(rows)]
    else:
        start = np.datetime64("2026-03-02T08:14:00")
        times = [str(start + np.timedelta64(10 * i, "s")) for i in range(rows)]
    lines = [
        "time_s,top (C),middle (C),bottom (C),set point (C),output (%)"
        if stamps == "seconds"
        else "time,top (C),middle (C),bottom (C),set point (C),output (%)"
    ]
    lines += [
        f"{a},{z[0]:.1f},{z[1]:.1f},{z[2]:.1f},{p:.1f},{o:.0f}"
        for a, z, p, o in zip(times, zones, point, output, strict=True)
    ]
    return ("\n".join(lines) + "\n").encode()


def best_of_both(one: Callable[[], object], other: Callable[[], object], repeat: int) -> tuple[float, float]:
    """Return the least processor time of one run of each, run in turns, in milliseconds."""
    took: tuple[list[float], list[float]] = ([], [])
    for _ in range(repeat + 1):
        for work, times in zip((one, other), took, strict=True):
            begin = time.process_time()
            work()
            times.append(time.process_time() - begin)
    return 1e3 * min(took[0][1:]), 1e3 * min(took[1][1:])


def peak_of(work: Callable[[], object]) -> int:
    """Return the peak of memory allocated during one run, in bytes."""
    work()
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def main() -> int:
    """Measure, print a table, and say whether the bars are kept."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeat", type=int, default=30)
    repeat = parser.parse_args().repeat
    missed = 0
    print("rows     stamps   file kB  read_csv ms  reading ms  ratio  bar   memory/file")
    for rows, bar in BARS.items():
        for stamps in ("seconds", "ISO"):
            data = log_bytes(rows, stamps)
            runs = repeat if rows < 10_000 else max(3, repeat // 4)
            bare, ours = best_of_both(
                lambda data=data: pd.read_csv(io.BytesIO(data)),
                lambda data=data: read_log(data, name="2026-03-02_0814.csv"),
                runs,
            )
            memory = peak_of(lambda data=data: read_log(data, name="2026-03-02_0814.csv")) / len(data)
            kept = ours / bare <= bar and (memory <= MEMORY_BAR or rows < 10_000)
            missed += not kept
            print(
                f"{rows:7d}  {stamps:8s} {len(data) / 1e3:7.0f} {bare:12.2f} {ours:11.2f} {ours / bare:6.2f} {bar:5.1f}"
                f" {memory:8.1f}  {'kept' if kept else 'MISSED'}"
            )
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())

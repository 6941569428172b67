"""Read every log of a simulated fleet and hold it against the truth, by layout.

    python tests/benchmarks/reading_fleet.py FLEET STUDIO [--every N] [--speed]

FLEET holds ``logs``, ``given`` and ``truth``; STUDIO the ``coilwatch.toml`` made for it. Checked of every log: that it
is readable and holds one firing; zones, set point, output and its kind, volts and amps as logged; peak within 5 deg C
(it may lie between two samples); start within 150 s (within the day where the log gives the day only); number of
samples; hours to the last sample near the peak; every line accounted for; and that thermocouple faults are seen where
there are some, and nowhere else.
With --speed the time of a bare ``pandas.read_csv`` of the same bytes is set beside it (processor time, best of 3).
"""

import argparse
import io
import json
import sys
import time
import warnings
from collections import Counter, defaultdict
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.reading import Reading, UnreadableLog, read_log
from config import settings

SEPARATORS = {"semicolon dec comma": ";", "tab hms": "\t", "fixed width": r"\s+"}
SKIPPED = {"preamble csv": 6, "fixed width": 3}


def faults_of(reading: Reading, true: dict[str, Any], given: dict[str, Any]) -> list[str]:
    """Return what is wrong with a reading."""
    wrong = [] if len(reading.firings) == 1 else ["parted"]
    log = reading.firings[0]
    if log.zone_c.shape[1] != given["zones"]:
        return [*wrong, "zones"]
    kind = None
    if given["output_logged"]:
        kind = "on-off" if "relay" in given["layout"].split("output per zone")[1][:10] else "duty"
    is_there = {
        "set point": (log.set_point_c is not None, given["setpoint_logged"]),
        "output": (log.output is not None, given["output_logged"]),
        "output kind": (log.output_kind, kind),
        "volts": (log.volts is not None, given["volts_logged"]),
        "amps": (log.amps is not None, given["amps_logged"]),
    }
    wrong += [what for what, (found, want) in is_there.items() if found != want]
    hottest, mean = np.fmax.reduce(log.zone_c, axis=1), _row_means(log.zone_c)
    peaks = [float(np.nanmax(hottest)), float(np.nanmax(mean))]
    broken = bool(true["file"].get("gap")) or "power_cut" in true["tags"]
    if min(abs(peak - true["peak_read_c"]) for peak in peaks) > 5 and not broken:
        wrong.append("peak")
    if abs(log.elapsed_s.size - true["rows"]) > 2 and not broken:
        wrong.append("samples")
    if log.started is not None:
        off = abs((log.started - datetime.fromisoformat(true["start_utc"])).total_seconds())
        if off > (86_400 if any("hour is not known" in text for text in log.problems) else 150):
            wrong.append("start")
    end_h = float(log.elapsed_s[np.flatnonzero(hottest >= peaks[0] - 4)[-1]]) / 3600
    if true["end"] == "programme complete" and not broken and end_h > true["hours_to_end"] + 0.35:
        wrong.append("hours")
    rows = reading.account.rows
    if rows.lines != sum(getattr(rows, name) for name in rows.__slots__ if name != "lines"):
        wrong.append("lines not accounted for")
    faulty = any(fault["code"] == "TC_INTERMITTENT" for fault in true["faults"]) or "sensor" in true["end"]
    if log.spikes and not faulty:
        wrong.append("false spike")
    if faulty and not log.spikes and any(fault["code"] == "TC_INTERMITTENT" for fault in true["faults"]):
        wrong.append("spikes missed")
    return wrong


def _row_means(zone_c: np.ndarray) -> np.ndarray:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.nanmean(zone_c, axis=1)


def bare(data: bytes, layout: str) -> None:
    """Read the bytes with pandas alone, told what it has to know."""
    pd.read_csv(
        io.BytesIO(data),
        encoding="utf-16" if data[:2] == b"\xff\xfe" else "latin-1",
        sep=SEPARATORS.get(layout, ","),
        on_bad_lines="skip",
        skiprows=SKIPPED.get(layout, 0),
    )


def main() -> int:
    """Read, compare, print a table; 1 if a log is unreadable or wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fleet", type=Path)
    parser.add_argument("studio", type=Path)
    parser.add_argument("--every", type=int, default=1, help="only every Nth firing")
    parser.add_argument("--speed", action="store_true", help="time pandas.read_csv beside it")
    args = parser.parse_args()
    kilns = {kiln.id: kiln for kiln in settings.load(args.studio / "coilwatch.toml").kilns}
    given = {kiln["id"]: kiln for kiln in json.loads((args.fleet / "given" / "kilns.json").read_text())}
    truth = [json.loads(line) for line in (args.fleet / "truth" / "firings.jsonl").read_text().splitlines()]
    table: dict[str, Counter[str]] = defaultdict(Counter)
    wrong: Counter[str] = Counter()
    warnings.simplefilter("ignore", RuntimeWarning)
    for true in truth[:: args.every]:
        path, kiln = args.fleet / "logs" / true["log"], given[true["kiln"]]
        layout = kiln["layout"].split(";")[0]
        data = path.read_bytes()
        table[layout]["logs"] += 1
        try:
            reading = read_log(data, name=path.name, kiln=kilns[true["kiln"]])
        except UnreadableLog as error:
            print(f"{true['log']}: {error}")
            wrong["unreadable"] += 1
            continue
        found = faults_of(reading, true, kiln)
        wrong.update(found)
        table[layout]["wrong"] += bool(found)
        table[layout]["undated"] += reading.firings[0].started is None
        if found:
            print(f"{true['log']}: {', '.join(found)}; {reading.problems}")
        if args.speed:
            for name, work in (
                ("ours", lambda d=data, p=path, k=kilns[true["kiln"]]: read_log(d, name=p.name, kiln=k)),
                ("bare", lambda d=data, lay=layout: bare(d, lay)),
            ):
                best = min(_took(work) for _ in range(3))
                table[layout][name] += round(1e6 * best)
    print("layout                 logs  wrong  undated" + ("  read_csv ms  reading ms  ratio" if args.speed else ""))
    total: Counter[str] = Counter()
    for layout, row in sorted(table.items()):
        total.update(row)
        print(_line(layout, row, speed=args.speed))
    print(_line("all", total, speed=args.speed))
    print("wrong:", dict(wrong) or "nothing")
    return int(bool(wrong))


def _took(work: Any) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def _line(name: str, row: Counter[str], *, speed: bool) -> str:
    line = f"{name:20s} {row['logs']:6d} {row['wrong']:6d} {row['undated']:8d}"
    if speed and row["bare"]:
        each = 1e3 * row["logs"]
        line += f"  {row['bare'] / each:11.2f} {row['ours'] / each:11.2f} {row['ours'] / row['bare']:6.2f}"
    return line


if __name__ == "__main__":
    sys.exit(main())

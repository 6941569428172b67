"""Accuracy of the whole analysis on a fleet with known truth: every figure of the bars, side by side with others.

    python tests/benchmarks/accuracy.py FLEET [--json OUT] [--jobs N] [--kilns k001,k002] [--less none|output|all]
        [--oracle]

FLEET holds ``given/``, ``logs/`` and ``truth/``; the truth is used for scoring only. ``--less output`` takes the
output, volts and amps columns away before judging, ``--less all`` leaves temperature alone; the default prints what
is lost with each. ``--oracle`` adds a column for a filter that is told each firing's true power (`accuracy_oracle`):
what physics leaves to reach. Needs nothing but the program; the change-point column also needs the ``ruptures``
package.
"""

import argparse
import dataclasses
import importlib.util
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

from accuracy_fleet import Fleet, load
from accuracy_general import METHODS, facts_of
from accuracy_oracle import oracle_filter
from accuracy_scores import Records, score

from analysis.assessment import assess, begin, to_record
from analysis.reading import FiringLog, UnreadableLog, read_log

LESS = {
    "none": {},
    "output": {"output": None, "output_kind": None, "volts": None, "amps": None},
    "all": {"output": None, "output_kind": None, "volts": None, "amps": None, "set_point_c": None, "segment": None},
}


def judge_kiln(folder: Path, kiln_id: str, less: str) -> tuple[str, list[dict | None], list[dict | None], float]:
    """Judge all firings of one kiln in order; return records, facts for the general methods and seconds used."""
    fleet = _fleet(folder)
    kiln, entries = fleet.kilns[kiln_id], fleet.entries.get(kiln_id, [])
    state, told, spent = begin(kiln), 0, 0.0
    records: list[dict | None] = []
    facts: list[dict | None] = []
    for path, truth in zip(fleet.logs[kiln_id], fleet.truth[kiln_id], strict=True):
        log = _read(path, kiln)
        if log is None:
            records.append(None)
            facts.append(None)
            continue
        log = dataclasses.replace(log, **LESS[less])
        new = [e for e in entries[told:] if log.started is None or e.at <= log.started]
        told += len(new)
        begun = time.perf_counter()
        state, assessment = assess(kiln, state, log, new)
        spent += time.perf_counter() - begun
        records.append(to_record(assessment, (truth["log"],), truth["log"]))
        facts.append(facts_of(log))
    return kiln_id, records, facts, spent


_FLEETS: dict[Path, Fleet] = {}


def _fleet(folder: Path) -> Fleet:
    if folder not in _FLEETS:
        _FLEETS[folder] = load(folder)
    return _FLEETS[folder]


def _read(path: Path, kiln) -> FiringLog | None:
    try:
        modified = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        firings = read_log(path.read_bytes(), name=path.name, kiln=kiln, modified=modified).firings
    except UnreadableLog as problem:
        print(f"{path.name}: {problem}", file=sys.stderr)
        return None
    return max(firings, key=lambda f: f.elapsed_s.size) if firings else None


def judge(folder: Path, kilns: list[str], less: str, jobs: int) -> tuple[Records, dict[str, Records], float]:
    """Judge a fleet; return the program's records, those of the general methods, and seconds of judging."""
    ours: Records = {}
    others: dict[str, Records] = {name: {} for name in METHODS}
    seconds = 0.0
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        for kiln, records, facts, spent in pool.map(judge_kiln, [folder] * len(kilns), kilns, [less] * len(kilns)):
            ours[kiln] = records
            seconds += spent
            for name, method in METHODS.items():
                if name != "change point" or importlib.util.find_spec("ruptures"):
                    others[name][kiln] = method(facts)
    return ours, {n: r for n, r in others.items() if r}, seconds


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def bars(s: dict) -> list[tuple[str, str, object]]:
    """Return the rows of the bars table: what, bar, value."""
    power, found, alarms = s["power"], s["detection"], s["false alarms"]
    low, healthy = power["truth below 0.90"], power["no material fault"]
    cover = [c["cover"] for c in power.values() if c["cover"] is not None]
    rows: list[tuple[str, str, object]] = [
        ("power below 0.90: median error", "<= 0.02", low["median"]),
        ("power below 0.90: p95", "<= 0.08", low["p95"]),
        ("power, no fault: median error", "<= 0.009", healthy["median"]),
        ("power, no fault: p95", "<= 0.03", healthy["p95"]),
        ("complete firings given or bounded", ">= 0.95", power["complete firings"]["given or bounded"]),
        ("90 % interval holds", "0.87-0.95", power["all"]["cover"]),
        ("... in the worst cut", ">= 0.80", min(cover) if cover else None),
        ("lower bounds hold", ">= 0.95", power["all"]["bounds hold"]),
    ]
    ageing = found.get("AGEING", {})
    rows += [
        ("ageing found", ">= 0.95", ageing.get("exact")),
        (
            "ageing delay median / p90",
            "<= 2 / 6",
            f"{ageing.get('delay median')} / {_short(ageing.get('delay p90'))}",
        ),
    ]
    for code in ("CIRCUIT_OPEN", "RELAY_OPEN", "PHASE_LOST"):
        d = found.get(code)
        if d:
            rows += [
                (f"{code}: in first complete firing", ">= 0.95", d["family in first complete firing"]),
                (f"{code}: family / exact / zone", ".95/.85/.95", f"{d['family']} / {d['exact']} / {d['zone right']}"),
            ]
    d = found.get("ELEMENT_OPEN")
    if d:
        rows.append(("ELEMENT_OPEN: family within 3 / exact", ".95/.80", f"{d['family within 3']} / {d['exact']}"))
    for code in (
        "RELAY_WELDED",
        "TC_INTERMITTENT",
        "LOOSE_TERMINAL",
        "LOW_SUPPLY",
        "HEAT_LEAK",
        "TC_DRIFT",
        "OVERLOAD",
    ):
        d = found.get(code)
        if d:
            rows.append((f"{code}: exact / within 3", ">= 0.80", f"{d['exact']} / {d['exact within 3']}"))
    rows += [
        ("top cause right, all faulty firings", ">= 0.85", s["top cause"]["right"]),
        ("... family", ">= 0.92", s["top cause"]["family"]),
        ("... family, where anything is said", ">= 0.92", s["top cause"]["family of told"]),
        ("new false alarms per 1000 clean", "<= 1.5", alarms["new per 1000"]),
        ("... urgent", "0", alarms["urgent per 1000"]),
        ("healthy kilns never alarmed", ">= 0.95", alarms["healthy kilns never alarmed"]),
        ("outlook: 80 % interval holds", "0.70-0.90", f"{s['outlook']['interval holds']} (n {s['outlook']['told']})"),
    ]
    return rows


def show(columns: dict[str, dict]) -> None:
    """Print the bars table with one column for each set of records."""
    names = list(columns)
    tables = [bars(s) for s in columns.values()]
    print(f"{'':40s}{'bar':>13s}" + "".join(f"{n:>20s}" for n in names))
    labels: list[str] = [r[0] for r in tables[0]]
    for i, label in enumerate(labels):
        cells = "".join(f"{t[i][2]!s:>20s}" for t in tables)
        print(f"{label:40s}{tables[0][i][1]:>13s}{cells}")


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fleet", type=Path)
    parser.add_argument("--json", type=Path, help="write every figure here")
    parser.add_argument("--records", type=Path, help="write the program's records here, one a line")
    parser.add_argument("--oracle", action="store_true", help="also what a filter told every true power would reach")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--kilns", help="only these, with commas")
    parser.add_argument("--less", choices=[*LESS, "each"], default="each", help="columns to take away first")
    args = parser.parse_args()
    fleet = load(args.fleet)
    kilns = args.kilns.split(",") if args.kilns else sorted(fleet.truth)
    fleet = dataclasses.replace(fleet, truth={k: fleet.truth[k] for k in kilns})
    full = "none" if args.less == "each" else args.less
    ours, others, seconds = judge(args.fleet, kilns, full, args.jobs)
    columns = {"Coilwatch": score(fleet, ours)}
    columns |= {name: score(fleet, records) for name, records in others.items()}
    if args.oracle:
        columns["told the power"] = score(fleet, oracle_filter(fleet))
    if args.records:
        lines = [json.dumps(r) for k in kilns for r in ours[k] if r is not None]
        args.records.write_text("\n".join(lines) + "\n", encoding="utf-8")
    show(columns)
    print(f"\njudging took {seconds:.1f} s for {sum(map(len, ours.values()))} firings")
    for part in ("power", "detection", "top cause", "false alarms", "outlook"):
        print(f"\n{part}")
        for name, value in columns["Coilwatch"][part].items():
            print(f"  {name}: {value}")
    if args.less == "each":
        lost = {"all columns": columns["Coilwatch"]}
        for less, title in (("output", "no output"), ("all", "temperature alone")):
            columns[title] = lost[title] = score(fleet, judge(args.fleet, kilns, less, args.jobs)[0])
        print("\nwhat is lost without output, volts and amps, and with temperature alone")
        show(lost)
    if args.json:
        args.json.write_text(json.dumps(columns, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

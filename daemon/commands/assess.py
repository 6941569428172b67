"""``coilwatch assess``: judge a folder of logs without service, store or alerts."""

import argparse
import importlib
import json
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.pool import Pool

    from config.kiln import Kiln
    from config.logbook import LogbookEntry
    from daemon.kiln_work import KilnWork

_LOADED = ("daemon.assessing", "analysis.assessment", "pandas")
"""What a process that judges needs."""

EXAMPLE = """examples:
  coilwatch assess logs --register coilwatch.toml --logbook logbook.jsonl --jsonl results.jsonl --jobs 2
  coilwatch assess logs/juniper"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "assess",
        help="judge logs in folders, without service, store or alerts",
        description="Judges every firing in the given folders and files, kiln by kiln in order of time, each only from "
        "itself and earlier ones. A log belongs to the kiln of its sub-folder; a kiln that is not in the register is "
        "judged without nameplate. Exit code 1: some logs could not be read; each has its record.",
        epilog=EXAMPLE,
    )
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="a folder of logs, or single logs")
    parser.add_argument("--register", type=Path, metavar="FILE", help="a coilwatch.toml whose kilns are used")
    parser.add_argument("--logbook", type=Path, metavar="FILE", help="repairs and readings, one JSON object a line")
    parser.add_argument("--jsonl", type=Path, metavar="OUT", help="write one JSON object for each firing")
    parser.add_argument("--json", action="store_true", help="print one JSON object for each firing")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="processes to use, one kiln each at a time")


def run(args: argparse.Namespace) -> int:
    """Judge the logs and write one record for each firing and each unreadable file."""
    from daemon.commands.errors import CommandError
    from daemon.kiln_work import works_of

    if args.jobs < 1:
        raise CommandError("--jobs must be 1 or more")
    if args.jobs > 1:
        _load_ahead()
    kilns, entries, wording = _register(args)
    works = works_of(args.paths, kilns, entries, wording)
    if not works:
        raise CommandError(f"there are no logs in {', '.join(str(path) for path in args.paths)}")
    zones = {kiln.id: kiln.time_zone or "UTC" for kiln in kilns}
    with _processes(args.jobs) as pool:
        # what is printed is made ready while other kilns are still being judged
        done = [(kiln, lines, [] if args.json else _rows(lines, zones)) for kiln, lines in _judged(works, pool)]
    done.sort(key=lambda of_kiln: of_kiln[0])
    records = [line for _, lines, _ in done for line in lines]
    out = "".join(f"{line}\n" for line in records)
    unreadable = sum('"end": "unreadable"' in line for line in records)
    if args.jsonl is not None:
        args.jsonl.write_text(out, encoding="utf-8")
    sys.stdout.write(out if args.json else "".join(f"{row}\n" for _, _, rows in done for row in rows))
    if unreadable:
        print(f"{unreadable} of {len(records)} records are of logs that could not be read", file=sys.stderr)
    return 1 if unreadable else 0


def _register(args: argparse.Namespace) -> "tuple[tuple[Kiln, ...], tuple[LogbookEntry, ...], Path | None]":
    from config import settings as config
    from daemon.logbook import LogbookError, read_logbook

    kilns: tuple[Kiln, ...] = ()
    wording: Path | None = None
    if args.register is not None or args.settings is not None or config.find().exists():
        settings = config.load(args.register or args.settings)
        kilns, wording = settings.kilns, settings.folders.wording
    if args.logbook is None:
        return kilns, (), wording
    try:
        return kilns, tuple(read_logbook(args.logbook, kilns)), wording
    except (LogbookError, OSError) as error:
        from daemon.commands.errors import CommandError

        raise CommandError(str(error)) from None


def _load_ahead() -> None:
    """Begin to load what judging needs in the process the others will be copies of, while this one reads on."""
    if sys.platform == "linux":
        from multiprocessing import forkserver

        forkserver.set_forkserver_preload(list(_LOADED))
        forkserver.ensure_running()


def _processes(jobs: int) -> "AbstractContextManager[Pool | None]":
    """Return processes to judge in, None for one job."""
    if jobs == 1:
        return nullcontext()
    import multiprocessing

    if sys.platform != "linux":
        return multiprocessing.get_context("spawn").Pool(jobs, _load)
    return multiprocessing.get_context("forkserver").Pool(jobs)


def _load() -> None:
    """Load what the first log would otherwise wait for."""
    for module in _LOADED:
        importlib.import_module(module)


def _judged(works: "list[KilnWork]", pool: "Pool | None") -> "Iterator[tuple[str, list[str]]]":
    """Yield each kiln's records as they are done, with progress on a terminal."""
    from daemon.commands.progress import Progress

    with Progress("judging", sum(len(work.logs) for work in works)) as progress:
        if pool is None or len(works) == 1:
            from daemon.assessing import judge_kiln

            for work in works:
                yield work.kiln.id, judge_kiln(work, progress.step)
            return
        # the largest first, so that no process is left alone with one at the end
        ordered = sorted(works, key=lambda work: -len(work.logs))
        for kiln, lines, count in pool.imap_unordered(_one, ordered):
            progress.step(count)
            yield kiln, lines


def _one(work: "KilnWork") -> tuple[str, list[str], int]:
    from daemon.assessing import judge_kiln

    return work.kiln.id, judge_kiln(work), len(work.logs)


def _rows(records: list[str], zones: dict[str, str]) -> list[str]:
    """Return a plain line for each firing, its start by the clock of its kiln (UTC for a kiln not in the register)."""
    from daemon.folder import shown

    rows = []
    for line in records:
        record = json.loads(line)
        power = record.get("power_ratio")
        findings = record.get("findings", [])
        said = ", ".join(f"{each['cause'].replace('_', ' ')} ({each['severity']})" for each in findings)
        if record["end"] == "unreadable":
            said = "; ".join(record.get("problems", []))
        started = _started(record.get("started"), zones.get(record["kiln"]))
        numbers = "-" if power is None else f"{power:.2f}"
        row = f"{record['kiln']:<12} {started:<17} {record['end']:<10} power {numbers:<5} {record['log']}  {said}"
        rows.append(shown(row.rstrip()))
    return rows


def _started(stamp: str | None, zone: str | None) -> str:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    if stamp is None:
        return ""
    at = datetime.fromisoformat(stamp)
    return f"{at:%Y-%m-%d %H:%M}Z" if zone is None else f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"

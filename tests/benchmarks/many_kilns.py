"""Many kilns at once: the pure analysis mapped over object storage by Dask; nothing in ``analysis/`` changes.

A kiln's firings depend on one another, kilns do not. So the unit of work is one kiln: read its logs in order, carry
its small state from firing to firing, give back one line about it. Any engine that maps a function over a list will
do; Dask is one that exists, spreads over cores or machines, and reads the same addresses (a folder, or a bucket).

    pip install dask fsspec
    python tests/benchmarks/many_kilns.py sample_logs/logs --register sample_logs/coilwatch.toml \
        --logbook sample_logs/logbook.jsonl --copies 20 --workers 2

``--copies N`` pretends that every kiln stands in N studios, to see how time grows with the number of kilns.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from config.kiln import Kiln
from config.logbook import LogbookEntry
from config.settings import load
from daemon.logbook import entries_between, read_logbook


@dataclass(frozen=True)
class Work:
    """One kiln, the addresses of its logs and its logbook: what a worker is sent. The logs are read there."""

    kiln: Kiln
    logs: tuple[str, ...]
    entries: tuple[LogbookEntry, ...]


@dataclass(frozen=True)
class Line:
    """What comes back of a kiln: enough for a fleet's overview; the assessments would be written where the logs are."""

    kiln: str
    firings: int
    unreadable: int
    power: float | None
    finding: str | None


def works(address: str, kilns: tuple[Kiln, ...], entries: list[LogbookEntry], copies: int) -> Iterator[Work]:
    """Yield each kiln's work. A kiln's logs lie in the sub-folder (or prefix) of its id."""
    import fsspec

    store, root = fsspec.core.url_to_fs(address)
    for kiln in kilns:
        found = sorted(store.find(f"{root}/{kiln.id}"))
        logs = tuple(store.unstrip_protocol(path) for path in found)
        own = tuple(entry for entry in entries if entry.kiln == kiln.id)
        for copy in range(copies):
            yield Work(replace(kiln, id=f"{kiln.id}-{copy}"), logs, own)


def judge(work: Work) -> Line:
    """Judge all firings of one kiln in order of time. Runs on a worker; touches nothing but the logs it is told of."""
    import fsspec

    from analysis.assessment import assess, begin
    from analysis.reading import UnreadableLog, read_log

    firings, unreadable = [], 0
    for address in work.logs:
        with fsspec.open(address, "rb") as file:
            data = file.read()
        try:
            firings += read_log(data, name=address.rsplit("/", 1)[-1], kiln=work.kiln).firings
        except UnreadableLog:
            unreadable += 1
    firings.sort(key=lambda log: log.started or datetime.max.replace(tzinfo=UTC))
    state, said, before = begin(work.kiln), None, None
    for log in firings:
        since = entries_between(work.entries, before, log.started) if log.started else ()
        state, said = assess(work.kiln, state, log, since)
        before = log.started or before
    worst = None if said is None or not said.findings else said.findings[0].cause
    return Line(work.kiln.id, len(firings), unreadable, None if said is None else said.power.value, worst)


def main() -> int:
    """Command line."""
    import dask
    import dask.bag

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("address", help="folder or bucket with one sub-folder of logs for each kiln")
    parser.add_argument("--register", type=Path, required=True)
    parser.add_argument("--logbook", type=Path)
    parser.add_argument("--copies", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    arguments = parser.parse_args()
    kilns = load(arguments.register).kilns
    entries = read_logbook(arguments.logbook, kilns) if arguments.logbook else []
    todo = list(works(arguments.address, kilns, entries, arguments.copies))
    began = time.perf_counter()
    with dask.config.set(scheduler="processes", num_workers=arguments.workers):
        lines = dask.bag.from_sequence(todo, npartitions=min(len(todo), arguments.workers * 4)).map(judge).compute()
    took_s = time.perf_counter() - began
    for line in lines[:6]:
        print(line)
    count = sum(line.firings for line in lines)
    print(f"{len(lines)} kilns, {count} firings, {took_s:.1f} s, {1000 * took_s / max(count, 1):.1f} ms each")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Judging folders of logs without a store: each kiln in order of time, each firing from itself and earlier ones.

The same rules as in the running service (each firing once, cut firings joined), all in memory.
"""

import json
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from config import units
from config.kiln import Kiln
from daemon import catalogue, clock
from daemon.catalogue import Arranged
from daemon.kiln_work import KilnWork
from daemon.logbook import entries_between
from daemon.store.parts import Part

if TYPE_CHECKING:
    from analysis.reading import FiringLog

MOST_BYTES = 64_000_000
MOST_HELD = 1000


class _Logs:
    """The logs of one kiln: read once, and again only where there are too many to hold."""

    def __init__(self, work: KilnWork) -> None:
        self._kiln = work.kiln
        self._files = dict(work.logs)
        self._held: OrderedDict[tuple[str, int], FiringLog] = OrderedDict()

    def read(self, name: str) -> list[Part]:
        """Read a file and return the parts found in it."""
        found, modified = _read(self._kiln, name, self._files[name])
        for number, log in enumerate(found):
            self._held[name, number] = log
        while len(self._held) > MOST_HELD:
            self._held.popitem(last=False)
        return [catalogue.part_of(log, self._kiln.id, name, number, name, modified) for number, log in enumerate(found)]

    def of(self, part: Part) -> "FiringLog":
        """Return a part's log."""
        if part.key not in self._held:
            self.read(part.name)
        return self._held[part.key]


def judge_kiln(work: KilnWork, step: Callable[[], None] = lambda: None) -> list[str]:
    """Judge one kiln's firings and return its records as JSON lines: unreadable files first, then by time."""
    from analysis.assessment import assess, begin, to_record

    parts: list[Part] = []
    logs = _Logs(work)
    records: list[dict[str, Any]] = []
    for name, _ in work.logs:
        try:
            parts += logs.read(name)
        except Exception as error:  # noqa: BLE001 - one file must not end the run; the reason is its record
            records.append(unreadable(work.kiln.id, name, _reason(error)))
        step()
    state = begin(work.kiln)
    before: datetime | None = None
    for firing in _arranged(parts, logs):
        started = clock.moment(firing.started)
        entries = entries_between(work.entries, before, started)
        try:
            state, assessment = assess(work.kiln, state, _whole(firing, logs), entries)
        except Exception as error:  # noqa: BLE001 - likewise
            records.append(unreadable(work.kiln.id, firing.parts[0].name, _reason(error), firing.logs))
            continue
        before = started
        records.append(to_record(assessment, firing.logs, firing.parts[0].name, units.render, work.words))
    return [json.dumps(record, ensure_ascii=False, allow_nan=False) for record in records]


def _read(kiln: Kiln, name: str, file: Path) -> "tuple[tuple[FiringLog, ...], datetime]":
    from analysis.reading import UnreadableLog, read_log

    about = file.stat()
    if about.st_size > MOST_BYTES:
        raise UnreadableLog(f"it holds {about.st_size / 1e6:.0f} MB, more than a firing log can.")
    modified = datetime.fromtimestamp(about.st_mtime, UTC)
    reading = read_log(file.read_bytes(), name=name, kiln=kiln, modified=modified)
    if not reading.firings:
        raise UnreadableLog("no firing is recorded in it.")
    return reading.firings, modified


def _reason(error: Exception) -> str:
    from analysis.reading import UnreadableLog

    if isinstance(error, UnreadableLog):
        return str(error)
    if isinstance(error, OSError):
        return f"it cannot be opened: {error.strerror or error}"
    return f"Coilwatch failed on it ({type(error).__name__}: {error}); please report this"


def _arranged(parts: Sequence[Part], logs: _Logs) -> list[Arranged]:
    from analysis.reading import join_logs

    while True:
        arranged = catalogue.arrange(parts)
        pairs = catalogue.to_compare(arranged)
        if not pairs:
            return arranged
        notes = {
            part.key: catalogue.went_on(before, answer=join_logs(logs.of(before), logs.of(part)) is not None)
            for before, part in pairs
        }
        parts = [replace(part, continues=notes.get(part.key, part.continues)) for part in parts]


def _whole(firing: Arranged, logs: _Logs) -> "FiringLog":
    from analysis.reading import join_logs

    whole = logs.of(firing.parts[0])
    for part in firing.parts[1:]:
        whole = join_logs(whole, logs.of(part)) or whole
    return catalogue.as_placed(firing, whole)


def unreadable(kiln: str, name: str, reason: str, logs: Sequence[str] = ()) -> dict[str, Any]:
    """Return the record of a file that could not be read: nothing is skipped in silence."""
    return {
        "kiln": kiln, "logs": list(logs) or [name], "log": name, "started": None, "programme": None, "peak_c": None,
        "duration_s": None, "end": "unreadable", "climb": None, "power_ratio": None, "power_low": None,
        "power_high": None, "basis": "none", "reference": None, "zones": [], "energy_kwh": None, "cone": None,
        "outlook": None, "findings": [], "verification": None, "problems": [reason],
    }  # fmt: skip

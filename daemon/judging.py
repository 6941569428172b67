"""Bringing a kiln up to date: every firing judged from its log and the state that the earlier ones left.

One firing is one transaction: its assessment, the kiln's state after it, the alerts that follow and their messages,
and the note from where on the kiln is still out of date. Killed at any instant, the work goes on from that note.
"""

import logging
from collections import OrderedDict
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlite_utils import Database

from config.kiln import Kiln
from config.settings import Settings
from daemon import catalogue, clock, kept
from daemon.analyst import Analyst
from daemon.catalogue import Arranged
from daemon.child import ChildFailed
from daemon.folder import shown
from daemon.logbook import entries_between, standing
from daemon.store import firings, kilns, logbook, parts
from daemon.store.database import write_tx
from daemon.store.firings import FiringRow, StoredFiring
from daemon.store.parts import Part

if TYPE_CHECKING:
    from analysis.reading import FiringLog
    from analysis.state import KilnState

log = logging.getLogger("coilwatch.judging")
_LOGS_HELD = 96


@dataclass(frozen=True, slots=True)
class Judged:
    """One firing judged: what is stored of it, and whether it is the kiln's newest."""

    firing: StoredFiring
    newest: bool

    def said(self) -> str:
        """Return one line for the service's log."""
        assessment = self.firing.assessment
        findings = ", ".join(
            f"{finding.cause.replace('_', ' ')} {finding.probability:.2f}" for finding in assessment.findings
        )
        name = f"{self.firing.kiln} firing {self.firing.index + 1} ({shown(self.firing.logs[0])})"
        return f"{name}: {assessment.end}; {findings or 'no findings'}"


class Logs:
    """The logs of firings: the last few in memory, the others read again from their kept copies."""

    def __init__(self, analyst: Analyst, kept_in: Path, drop: Path) -> None:
        self._analyst = analyst
        self._kept = kept_in
        self._drop = drop
        self._held: OrderedDict[tuple[str, str, int], FiringLog] = OrderedDict()

    def hold(self, kiln: str, content: str, found: Sequence["FiringLog"]) -> None:
        """Hold the firings just read from a content."""
        for number, firing_log in enumerate(found):
            self._held[kiln, content, number] = firing_log
        while len(self._held) > _LOGS_HELD:
            self._held.popitem(last=False)

    def forget(self, kiln: str) -> None:
        """Let go of a kiln's logs, all of them judged."""
        for key in [key for key in self._held if key[0] == kiln]:
            del self._held[key]

    def of(self, kiln: Kiln, part: Part) -> "FiringLog":
        """Return a part's log; raises ``ChildFailed`` if its content is gone or can no longer be read."""
        from analysis.reading.firing_log import UnreadableLog

        key = (kiln.id, *part.key)
        if key not in self._held:
            data = kept.fetch(self._kept, part.hash) or self._original(part)
            if data is None:
                raise ChildFailed("its log is no longer there, nor a copy of it")
            try:
                reading = self._analyst.read(data, part.name, kiln, clock.moment(part.ended))
            except UnreadableLog as unreadable:
                raise ChildFailed(str(unreadable)) from unreadable
            if part.part >= len(reading.firings):
                raise ChildFailed("its log no longer shows this firing")
            self.hold(kiln.id, part.hash, reading.firings)
        return self._held[key]

    def _original(self, part: Part) -> bytes | None:
        try:
            data = (self._drop / part.name).read_bytes()
        except (OSError, ValueError):
            return None
        return data if kept.content_hash(data) == part.hash else None


class Judge:
    """Brings kilns up to date, firing by firing."""

    def __init__(
        self,
        db: Database,
        settings: Settings,
        analyst: Analyst,
        set_aside: Callable[[str, str], None],
        *,
        tell: bool = True,
        now: Callable[[], datetime] = clock.now,
    ) -> None:
        """``set_aside`` is told which file cannot be judged and why; without ``tell`` no alert speaks at once."""
        self._db = db
        self._set_aside = set_aside
        self._tell = tell
        self._settings = settings
        self._analyst = analyst
        self._now = now
        self.logs = Logs(analyst, settings.folders.kept, settings.folders.drop)

    def bring_up_to_date(self, kiln: Kiln) -> Iterator[Judged]:
        """Judge what is out of date of a kiln, oldest first; yields after each firing so that one can stop there."""
        row = kilns.get(self._db, kiln.id)
        if row is None or (row.stale_from is None and row.told):
            return
        while not (yield from self._judge_all(kiln)):
            pass  # a firing could not be judged: once more from there, without it
        self.logs.forget(kiln.id)

    def _judge_all(self, kiln: Kiln) -> Generator[Judged, None, bool]:
        """Judge from the first firing that is out of date to the newest; False if one of them could not be judged."""
        arranged = self._arranged(kiln)
        stored = self._put_in_place(kiln, arranged)
        begin, state = self._where_to_begin(kiln, arranged, stored)
        book = standing(logbook.of_kiln(self._db, kiln.id))
        for number in range(begin, len(arranged)):
            firing, place = arranged[number], stored[number]
            before = clock.moment(arranged[number - 1].started) if number else None
            try:
                firing_log = self._joined(kiln, firing)
                entries = entries_between(book, before, clock.moment(firing.started))
                state, assessment = self._analyst.assess(kiln, state, firing_log, entries)
            except ChildFailed as failed:
                self._set_failed(firing, str(failed))
                return False
            newest = number == len(arranged) - 1
            judged = StoredFiring(place.id, kiln.id, number, firing.logs, assessment)
            with write_tx(self._db):
                firings.put_assessment(self._db, place.id, assessment, state)
                self._record(kiln, judged, backlog=not (newest and self._tell))
                following = None if newest else arranged[number + 1].started
                kilns.set_stale(self._db, kiln.id, following, told=newest)
            yield Judged(judged, newest)
        if begin == len(arranged):
            self._tell_newest(kiln)
        return True

    def _where_to_begin(
        self, kiln: Kiln, arranged: Sequence[Arranged], stored: Sequence[FiringRow]
    ) -> tuple[int, "KilnState | None"]:
        """Return the first firing to be judged (out of date, or just before one that is) and the state before it."""
        row = kilns.get(self._db, kiln.id)
        stale_from = row.stale_from if row is not None else ""
        begin = next(
            (
                number
                for number, firing in enumerate(arranged)
                if not stored[number].judged or (stale_from is not None and firing.started >= stale_from)
            ),
            len(arranged),
        )
        if begin in (0, len(arranged)):
            return begin, None
        return firings.state_before(self._db, kiln.id, begin)

    def _record(self, kiln: Kiln, judged: StoredFiring, *, backlog: bool) -> None:
        from daemon import alerts, live

        now = self._now()
        alerts.record(self._db, kiln, judged, self._settings, now, backlog=backlog)
        for name in judged.logs:  # after it: a finding that explains a live alert absorbs its closing message
            live.live_over(self._db, kiln, name, self._settings, now)

    def _tell_newest(self, kiln: Kiln) -> None:
        """Nothing is left to judge, but the newest firing has not reached the alerts as the newest."""
        newest = firings.latest(self._db, kiln.id)
        with write_tx(self._db):
            if newest is not None:
                self._record(kiln, newest, backlog=not self._tell)
            kilns.set_stale(self._db, kiln.id, None, told=True)

    def _set_failed(self, firing: Arranged, reason: str) -> None:
        log.warning("a firing of %s cannot be judged: %s", firing.parts[0].kiln, reason)
        with write_tx(self._db):
            for part in firing.parts:
                parts.mark_failed(self._db, part, reason)
                self._set_aside(part.name, reason)
            kilns.mark_stale(self._db, firing.parts[0].kiln, firing.started)

    def _joined(self, kiln: Kiln, firing: Arranged) -> "FiringLog":
        whole = self.logs.of(kiln, firing.parts[0])
        for part in firing.parts[1:]:
            joined = self._analyst.join(whole, self.logs.of(kiln, part))
            if joined is None:  # it continued the part before it, but not what that had become by then
                note = f"the rows of {part.name} do not fit on and were left out"
                whole = replace(whole, problems=(*whole.problems, note))
            else:
                whole = joined
        return catalogue.as_placed(firing, whole)

    def _arranged(self, kiln: Kiln) -> list[Arranged]:
        """Return the kiln's firings, every pair of neighbours that may belong together compared."""
        while True:
            arranged = catalogue.arrange(parts.of_kiln(self._db, kiln.id))
            pairs = catalogue.to_compare(arranged)
            if not pairs:
                return arranged
            notes = []
            for before, part in pairs:
                try:
                    joined = self._analyst.join(self.logs.of(kiln, before), self.logs.of(kiln, part)) is not None
                except ChildFailed:
                    joined = False
                notes.append((part, catalogue.went_on(before, answer=joined)))
            with write_tx(self._db):
                for part, note in notes:
                    parts.note_continues(self._db, part, note)

    def _put_in_place(self, kiln: Kiln, arranged: Sequence[Arranged]) -> list[FiringRow]:
        """Write the order and sources of the firings; a firing keeps its row as long as it keeps a part."""
        old = firings.rows(self._db, kiln.id)
        wanted = [(firing.keys, firing.logs, firing.started) for firing in arranged]
        if [(row.parts, row.logs, row.started) for row in old] == wanted:
            return old
        by_part = {key: row for row in old for key in row.parts}
        by_name = {(row.logs[0], row.parts[0][1]): row for row in old}  # the same file with more rows
        used: set[int] = set()
        with write_tx(self._db):
            for position, firing in enumerate(arranged):
                sources = (*firing.parts, *firing.also)
                candidates = [by_part.get(part.key) or by_name.get((part.name, part.part)) for part in sources]
                row = next((row for row in candidates if row is not None and row.id not in used), None)
                place = (position, firing.started, firing.keys, firing.logs)
                if row is not None and (row.position, row.started, row.parts, row.logs) == place:
                    used.add(row.id)
                    continue
                used.add(firings.arrange(self._db, kiln.id, row.id if row else None, *place))
                if row is None or (row.position, row.started, row.parts) != (position, firing.started, firing.keys):
                    kilns.mark_stale(self._db, kiln.id, firing.started)
            for row in old:
                if row.id not in used:
                    firings.remove(self._db, row.id)
                    kilns.mark_stale(self._db, kiln.id, row.started)
        return firings.rows(self._db, kiln.id)

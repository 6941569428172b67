"""From one settled file to the catalogue: its content read, its firings noted, what it replaces taken out.

Whatever happens to one file concerns that file alone. Originals are only ever read.
"""

import logging
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from sqlite_utils import Database

from analysis.reading.firing_log import UnreadableLog
from config.kiln import Kiln
from config.settings import Settings
from daemon import catalogue, clock, fingerprint, kept
from daemon.analyst import Analyst
from daemon.child import ChildFailed
from daemon.folder import Found, shown
from daemon.judging import Judge
from daemon.store import files, firings, kilns, parts
from daemon.store.database import write_tx
from daemon.store.files import FileState, SeenFile

if TYPE_CHECKING:
    from analysis.reading import FiringLog, Reading

log = logging.getLogger("coilwatch.intake")
COOLING_C = 50.0
GOING_ON = "its firing is still going on"
_FUTURE = timedelta(hours=26)  # a clock in another time zone, no more


class ChangedMeanwhile(Exception):  # noqa: N818 - named for what happened
    """The file changed while it was read: it has not settled after all."""


class NotNow(Exception):  # noqa: N818 - named for what happened
    """The file cannot be opened at present (in use, not allowed, gone): to be tried again later."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A settled file to be taken in. ``unchanged_s`` is how long it has not changed, ``grew`` that it was growing."""

    found: Found
    row: SeenFile
    kiln: Kiln
    unchanged_s: float
    grew: bool


def read_bytes(found: Found) -> bytes:
    """Return a file's bytes; raises ``ChangedMeanwhile`` or ``NotNow``."""
    try:
        with found.path.open("rb") as handle:
            data = handle.read(found.size + 1)
            about = os.fstat(handle.fileno())
    except (OSError, ValueError) as error:
        raise NotNow(f"it cannot be opened: {getattr(error, 'strerror', None) or error}") from error
    if len(data) != found.size or about.st_size != found.size or about.st_mtime_ns != found.modified_ns:
        raise ChangedMeanwhile
    return data


class TakingIn:
    """Takes single files in."""

    def __init__(
        self,
        db: Database,
        settings: Settings,
        analyst: Analyst,
        judge: Judge,
        now: Callable[[], datetime] = clock.now,
    ) -> None:
        self._db = db
        self._settings = settings
        self._analyst = analyst
        self._judge = judge
        self._now = now

    def take(self, candidate: Candidate) -> SeenFile:
        """Take a file in and return its row as written: taken in, growing, same as another, or set aside."""
        found, kiln = candidate.found, candidate.kiln
        data = read_bytes(found)
        content = kept.content_hash(data)
        row = replace(
            candidate.row,
            hash=content,
            kiln=kiln.id,
            tried_at=clock.stamp(self._now()),
            tried_with=fingerprint.of_try(kiln, self._settings),
            attempts=0,
            next_try_at=None,
            question="",
        )
        if (known := self._known(candidate, row)) is not None:
            return self._put(known)
        modified = datetime.fromtimestamp(found.modified_ns / 1e9, UTC)
        try:
            reading = self._analyst.read(data, found.key, kiln, modified)
        except (UnreadableLog, ChildFailed) as reason:
            return self.set_aside(row, str(reason))
        if not reading.firings:
            return self.set_aside(row, "no firing is recorded in it")
        whole = list(reading.firings)
        if self._unfinished(candidate, whole[-1], modified):
            self._watch(kiln, found.key, whole.pop())
            row = files.moved_to(row, "growing", GOING_ON)
        else:
            row = files.moved_to(row, "taken in")
        if whole:
            kept.keep(self._settings.folders.kept, content, data)
            self._judge.logs.hold(kiln.id, content, whole)
        return self._catalogue(candidate, replace(row, question=_question(reading)), whole, modified)

    def peek(self, candidate: Candidate) -> bool:
        """Look into a file that keeps changing: True if it shows a firing going on, which live watch now knows of."""
        modified = datetime.fromtimestamp(candidate.found.modified_ns / 1e9, UTC)
        try:
            data = candidate.found.path.read_bytes()
            reading = self._analyst.read(data, candidate.found.key, candidate.kiln, modified)
        except (OSError, ValueError, UnreadableLog, ChildFailed):
            return False  # no verdict on a file that is being written
        if not reading.firings or not self._of_today(reading.firings[-1]):
            return False
        self._watch(candidate.kiln, candidate.found.key, reading.firings[-1])
        return True

    def set_aside(self, row: SeenFile, reason: str, state: FileState = "set aside") -> SeenFile:
        """Note why a file is not taken in; live watch lets go of it."""
        aside = files.moved_to(row, state, reason)
        log.warning("%s: %s: %s", state, shown(row.path), shown(reason))
        with write_tx(self._db):
            files.put(self._db, aside)
            self._live_over(row)
        return aside

    def _live_over(self, row: SeenFile) -> None:
        from daemon import live

        kiln = next((kiln for kiln in self._settings.kilns if kiln.id == row.kiln), None)
        if kiln is not None:
            live.live_over(self._db, kiln, row.path, self._settings, self._now())

    def _put(self, row: SeenFile) -> SeenFile:
        with write_tx(self._db):
            files.put(self._db, row)
        return row

    def _known(self, candidate: Candidate, row: SeenFile) -> SeenFile | None:
        """Return the row of a file whose content needs no reading: seen before under this name or another."""
        kiln = candidate.kiln
        have = parts.of_content(self._db, kiln.id, str(row.hash))
        if candidate.grew or not have:
            return None
        holder = have[0].name
        same = {file.path: file for file in files.with_hash(self._db, str(row.hash)) if file.kiln == kiln.id}
        if holder == row.path:
            return files.moved_to(row, "taken in") if self._as_now(candidate.row) else None
        if holder not in same or not self._as_now(same[holder]):
            return None
        with write_tx(self._db):
            self._take_out(candidate, row)
            if same[holder].state == "gone":  # the file was renamed
                for part in have:
                    parts.put(self._db, replace(part, name=row.path))
                kilns.mark_stale(self._db, kiln.id, max(part.ended for part in have))
                return files.moved_to(row, "taken in")
        return files.moved_to(row, "same as another", f"the same content as {holder}")

    def _as_now(self, file: SeenFile) -> bool:
        """Tell whether a file was last read with the register and version of now."""
        kiln = next((kiln for kiln in self._settings.kilns if kiln.id == file.kiln), None)
        return file.tried_with == fingerprint.of_try(kiln, self._settings)

    def _catalogue(self, candidate: Candidate, row: SeenFile, whole: list["FiringLog"], modified: datetime) -> SeenFile:
        kiln = candidate.kiln
        new = [
            catalogue.part_of(firing, kiln.id, str(row.hash), number, row.path, modified)
            for number, firing in enumerate(whole)
        ]
        with write_tx(self._db):
            since = self._take_out(candidate, row)
            old = parts.remove(self._db, kiln.id, str(row.hash))
            for part in new:
                parts.put(self._db, part)
            changed = [part.started for part in (*new, *old)] + since
            if changed:
                kilns.mark_stale(self._db, kiln.id, min(changed))
            files.put(self._db, row)
        log.info("%s: %s: %d firing(s) of %s", row.state, shown(row.path), len(new), kiln.id)
        return row

    def _take_out(self, candidate: Candidate, row: SeenFile) -> list[str]:
        """Take out what this path held before, and what other kilns had of this content by mistake."""
        since: list[str] = []
        for kiln_id, content in {(part.kiln, part.hash) for part in parts.of_file(self._db, row.path)}:
            if (kiln_id, content) != (candidate.kiln.id, row.hash):
                gone = self._release(kiln_id, content, row.path)
                if kiln_id == candidate.kiln.id:
                    since += gone
                elif gone:
                    kilns.mark_stale(self._db, kiln_id, min(gone))
        elsewhere: dict[str, list[SeenFile]] = {}
        for file in files.with_hash(self._db, str(row.hash)):
            if file.path != row.path and file.kiln not in (None, candidate.kiln.id):
                elsewhere.setdefault(str(file.kiln), []).append(file)
        for kiln_id, others in elsewhere.items():  # moved from another kiln's folder to this one's
            if all(file.state == "gone" for file in others) and (
                gone := self._release(kiln_id, str(row.hash), row.path)
            ):
                kilns.mark_stale(self._db, kiln_id, min(gone))
        return since

    def _release(self, kiln: str, content: str, path: str) -> list[str]:
        """Remove a content's parts, or hand them to another present file of the same content; return their starts."""
        heirs = [
            file
            for file in files.with_hash(self._db, content)
            if file.path != path and file.kiln == kiln and file.state in ("taken in", "same as another")
        ]
        removed = parts.remove(self._db, kiln, content)
        if heirs:
            files.put(self._db, files.moved_to(heirs[0], "taken in"))
            for part in removed:
                parts.put(self._db, replace(part, name=heirs[0].path))
        return [part.started for part in removed]

    def _unfinished(self, candidate: Candidate, firing: "FiringLog", modified: datetime) -> bool:
        """Tell whether more rows are to be expected: the kiln is not cooling yet, and the last row is recent or new."""
        wait_s = self._settings.service.finished_after_min * 60
        age_s = (self._now() - modified).total_seconds()
        if max(candidate.unchanged_s, 0.0 if candidate.grew else age_s) >= wait_s:
            return False
        dated = self._last_row(firing) is not None
        expected = self._recent(firing) or (candidate.grew and self._of_today(firing)) if dated else candidate.grew
        return expected and not _is_over(firing)

    def _last_row(self, firing: "FiringLog") -> datetime | None:
        if firing.started is None or firing.started_from not in ("rows", "text"):
            return None
        return firing.started + timedelta(seconds=float(firing.elapsed_s[-1]))

    def _recent(self, firing: "FiringLog") -> bool:
        last = self._last_row(firing)
        limit = timedelta(minutes=self._settings.service.finished_after_min)
        return last is not None and timedelta(0) <= self._now() - last < limit

    def _of_today(self, firing: "FiringLog") -> bool:
        last = self._last_row(firing)
        return last is None or abs(self._now() - last) < _FUTURE

    def _watch(self, kiln: Kiln, name: str, firing: "FiringLog") -> None:
        from daemon import live

        if self._settings.alerts.live:
            past = firings.of_kiln(self._db, kiln.id, newest=live.PAST_FIRINGS)
            with write_tx(self._db):
                live.watch_live(self._db, kiln, firing, name, self._settings, self._now(), past)


def _is_over(firing: "FiringLog") -> bool:
    """Tell whether a firing's log shows the kiln cooling from its peak: more rows then change little."""
    import numpy as np

    hottest = np.nanmax(firing.zone_c, axis=1, initial=-np.inf, where=~np.isnan(firing.zone_c))
    known = hottest[np.isfinite(hottest)]
    return known.size > 0 and float(known[-1]) < float(known.max()) - COOLING_C


def _question(reading: "Reading") -> str:
    """Return what the reader could not tell from the log and only the owner can, in one text."""
    return "; ".join(
        f"{unknown.what} (taken as {unknown.taken}; set {unknown.setting})" for unknown in reading.account.unknown
    )

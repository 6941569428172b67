"""Intake: what lies in the drop folder becomes judged firings, each file on its own, oldest first.

The folder itself is the queue: what is not in the database yet is taken in, also after a crash. One call of
``step`` does one small piece of work (one file read, or one firing judged), so the service can stop between any two.
"""

import logging
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from sqlite_utils import Database

from config.kiln import Kiln
from config.settings import Settings
from daemon import clock, fingerprint, folder
from daemon.analyst import Analyst
from daemon.backlog import Backlog
from daemon.child import Stopped
from daemon.folder import Found, shown
from daemon.judging import Judge, Judged
from daemon.settle import Settling
from daemon.store import files, kilns
from daemon.store.database import write_tx
from daemon.store.files import FileState, SeenFile
from daemon.taking_in import GOING_ON, Candidate, ChangedMeanwhile, NotNow, TakingIn

log = logging.getLogger("coilwatch.intake")
BACKFILLED = "backfill:"
PEEK_S = 15.0
_OLD_S = 60.0
_GROWS_WITHIN_S = 3600.0
_WAIT_S = 10.0
_LONGEST_WAIT_S = 900.0
_EVER = clock.stamp(datetime(1900, 1, 1, tzinfo=UTC))


class Intake:
    """The files of the drop folder on their way in. All calls belong to the thread that owns ``db``."""

    def __init__(
        self,
        db: Database,
        settings: Settings,
        analyst: Analyst,
        *,
        source: str = "",
        only: Kiln | None = None,
        now: Callable[[], datetime] = clock.now,
        tick: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin with what the database knows.

        ``source`` is the prefix of names from another folder than the drop folder (``BACKFILLED``: nothing is told of
        its firings one by one); ``only`` the kiln that all its logs are of.
        """
        self._db = db
        self._settings = settings
        self._source = source
        self._only = only
        self._now = now
        self._tick = tick
        self._judge = Judge(db, settings, analyst, self._note_failed, tell=source != BACKFILLED, now=now)
        self._taking_in = TakingIn(db, settings, analyst, self._judge, now)
        self._files = files.all_files(db)
        self._found: dict[str, Found] = {}
        self._place = (0, 0)
        self._settling = Settling(settings.service.settle_s, PEEK_S)
        self._backlog = Backlog()
        self._again: dict[str, float] = {}  # key -> tick at which to try once more
        self._unchanged_since: dict[str, float] = {}  # key -> tick since when it has not changed
        self._growing = {key for key, row in self._files.items() if row.state == "growing"}
        self._last_read: dict[str, tuple[float, int]] = {}
        self._behind: set[str] = set()
        self._postponed: dict[str, float] = {}  # kiln id -> tick before which its firings are not judged again
        self._interrupted: set[str] = set()  # kilns whose judging made way for another's new log
        self._judging: tuple[Kiln, Iterator[Judged]] | None = None
        self.finished: set[str] = set()  # kilns brought up to date since the reports were last written
        self.news = False  # something was judged or watched since the outbox was last looked at
        self._check_register()

    # -- what there is -------------------------------------------------------------------------------------------

    def look(self) -> int:
        """Look through the drop folder and return how many files are new, changed or gone since the last look.

        Raises ``FolderTrouble``.
        """
        seen = folder.look(self._settings.folders.drop, [self._settings.folders.data])
        if seen.bare and self._found and seen.place != self._place:
            # what shows when a disk is unmounted: the bare folder it was mounted on; its files are not gone
            raise folder.FolderTrouble(f"{self._settings.folders.drop} is empty and not the folder it was")
        self._place = seen.place
        tick, now = self._tick(), clock.stamp(self._now())
        rows: list[SeenFile] = []
        self._found, closed = seen.files, seen.closed
        if self._source:
            self._found = {
                self._source + key: replace(found, key=self._source + key) for key, found in seen.files.items()
            }
            closed = {self._source + key: reason for key, reason in seen.closed.items()}
        for key, found in self._found.items():
            rows += self._saw(key, found, tick, now)
        for key, row in self._files.items():
            if key not in self._found and row.state != "gone" and self._is_own(key) and not _is_closed(key, closed):
                self._let_go(key)
                rows.append(replace(row, state="gone", reason="no longer in the drop folder", changed_at=now))
        rows += self._closed_rows(closed, now)
        self._write(rows)
        self.refresh()
        return len(rows)

    def _is_own(self, key: str) -> bool:
        return key.startswith(self._source) if self._source else not key.startswith(BACKFILLED)

    def _kiln_of(self, key: str) -> Kiln | None:
        return self._only or folder.kiln_of(key.removeprefix(self._source), self._settings.kilns)

    def rows(self) -> list[SeenFile]:
        """Return the rows of this folder's files."""
        return [row for key, row in self._files.items() if self._is_own(key)]

    def refresh(self) -> None:
        """Note which kilns are behind: another process may have added to the logbook."""
        known = {kiln.id for kiln in self._settings.kilns}
        tick = self._tick()
        late = {kiln for kiln, due in self._postponed.items() if due > tick}
        self._behind |= known.intersection(kilns.behind(self._db)) - late

    def glance(self) -> None:
        """Look again only at the files that are settling."""
        tick, now = self._tick(), clock.stamp(self._now())
        rows: list[SeenFile] = []
        for key in {*self._settling.watched(), *(key for key, due in self._again.items() if due <= tick)}:
            found = self._found.get(key)
            if found is None:
                self._again.pop(key, None)
                continue
            try:
                about = found.path.stat()
            except OSError:
                continue  # the next look tells what became of it
            fresh = replace(found, size=about.st_size, modified_ns=about.st_mtime_ns, changed_ns=about.st_ctime_ns)
            self._found[key] = fresh
            rows += self._saw(key, fresh, tick, now)
        self._write(rows)
        self._admit(tick)

    def _saw(self, key: str, found: Found, tick: float, now: str) -> list[SeenFile]:
        row = self._files.get(key)
        changed = row is None or row.mark != found.mark
        if changed:
            self._let_go(key, keep_settling=True)
            self._unchanged_since[key] = tick
        elif key in self._backlog or not self._in_question(row, key, tick):
            return []
        settle_s = self._settings.service.settle_s
        long_ago = time.time() - found.modified_ns / 1e9 > settle_s + _OLD_S
        self._settling.saw(key, found.mark, tick, unchanged_s=settle_s if long_ago else 0.0)
        if not changed and row is not None and row.state == "settling":
            return []
        old = row or SeenFile(key, 0, 0, 0, 0, seen_at=now, changed_at=now)
        return [
            replace(
                old,
                size=found.size,
                modified_ns=found.modified_ns,
                changed_ns=found.changed_ns,
                inode=found.inode,
                changed_at=now,
                state="growing" if key in self._growing else "settling",
                reason=GOING_ON if key in self._growing else "",
            )
        ]

    def _closed_rows(self, closed: dict[str, str], now: str) -> list[SeenFile]:
        rows = []
        for key, reason in closed.items():
            row = self._files.get(key)
            why = f"it cannot be looked at: {reason}"
            if row is None or row.reason != why:
                old = row or SeenFile(key, 0, 0, 0, 0, seen_at=now, changed_at=now)
                rows.append(replace(old, state="set aside", reason=why, changed_at=now))
        return rows

    def _in_question(self, row: SeenFile | None, key: str, tick: float) -> bool:
        return row is None or row.state in ("settling", "waiting", "gone") or self._due_again(key, tick)

    def _due_again(self, key: str, tick: float) -> bool:
        if self._again.get(key, tick + 1) <= tick:
            del self._again[key]
            return True
        return False

    def _let_go(self, key: str, *, keep_settling: bool = False) -> None:
        self._again.pop(key, None)
        self._backlog.drop(key)
        if not keep_settling:
            self._settling.forget(key)
            self._unchanged_since.pop(key, None)
            self._growing.discard(key)

    def _write(self, rows: list[SeenFile]) -> None:
        if not rows:
            return
        with write_tx(self._db):
            for row in rows:
                files.put(self._db, row)
        self._files.update((row.path, row) for row in rows)

    # -- what has settled ----------------------------------------------------------------------------------------

    def _admit(self, tick: float) -> None:
        rows = []
        for key in self._settling.settled(tick):
            found, row = self._found.get(key), self._files.get(key)
            self._settling.forget(key)
            if found is None or row is None:
                continue
            rows.append(self._routed(row, found))
        self._write(rows)

    def _routed(self, row: SeenFile, found: Found) -> SeenFile:
        kiln = self._kiln_of(row.path)
        row = replace(
            row, kiln=kiln.id if kiln else None, tried_with=row.tried_with or fingerprint.of_try(kiln, self._settings)
        )
        limit_mb = self._settings.service.file_limit_mb
        state: FileState = "set aside"
        if kiln is None:
            state = "no kiln"
            reason = "it lies in no kiln's sub-folder and fits no kiln's pattern; move it, or add to the register"
        elif found.size == 0:
            reason = "it is empty"
        elif found.size > limit_mb * 1e6:
            reason = f"it holds {found.size / 1e6:.0f} MB, more than service.file_limit_mb = {limit_mb:g} allows"
        else:
            self._backlog.add(kiln.id, found)
            return files.moved_to(row, "waiting")
        aside = replace(files.moved_to(row, state, reason), tried_with=fingerprint.of_try(kiln, self._settings))
        log.warning("%s: %s: %s", state, shown(row.path), reason)
        return aside

    # -- the work ------------------------------------------------------------------------------------------------

    def step(self) -> bool:
        """Do one piece of work; False if there is none. What it raises concerns the whole service, not one file."""
        if self._judging is None:
            kiln_id = self._backlog.next_kiln(self._behind, self._interrupted)
            if kiln_id is None:
                return False
            kiln = self._settings.kiln(kiln_id)
            if (found := self._backlog.oldest(kiln_id)) is not None:
                self._take(kiln, found)
                return True
            self._judging = (kiln, self._judge.bring_up_to_date(kiln))
        kiln, going_on = self._judging
        try:
            judged = next(going_on, None)
        except (sqlite3.Error, OSError, Stopped):
            self._judging = None
            raise
        except Exception:
            log.exception("judging the firings of %s failed; it is tried again later", kiln.id)
            self._judging = None
            self._behind.discard(kiln.id)
            self._postponed[kiln.id] = self._tick() + _LONGEST_WAIT_S
            return True
        if judged is None:
            self._judging = None
            self._behind.discard(kiln.id)
            self._interrupted.discard(kiln.id)
            self.finished.add(kiln.id)
        else:
            self.news = True
            log.info("judged: %s", judged.said())
            if not judged.newest and self._backlog.has_short_queue(but=kiln.id):
                # a new log of another kiln goes first; this kiln is taken up again where it was left
                self._judging = None
                self._interrupted.add(kiln.id)
        return True

    def _take(self, kiln: Kiln, found: Found) -> None:
        key, tick = found.key, self._tick()
        row = self._files[key]
        unchanged_s = tick - self._unchanged_since.get(key, tick)
        read_at, read_size = self._last_read.get(key, (tick, found.size))
        grew = key in self._growing or (found.size > read_size and tick - read_at < _GROWS_WITHIN_S)
        candidate = Candidate(found, row, kiln, unchanged_s, grew)
        try:
            written = self._taking_in.take(candidate)
        except ChangedMeanwhile:
            self._files[key] = files.moved_to(row, "settling")
            self._settling.saw(key, (-1, -1, -1, -1), tick)
            return
        except NotNow as reason:
            self._try_later(row, str(reason), tick)
            return
        except (sqlite3.Error, OSError, Stopped):
            raise  # the disk, the database or the end of the service: no fault of this file
        except Exception as error:
            log.exception("taking in %s failed", shown(key))
            self._try_later(row, f"Coilwatch failed on it ({type(error).__name__}); please report this", tick)
            return
        self._files[key] = written
        self._last_read[key] = (tick, found.size)
        self._growing.discard(key)
        if written.state == "growing":
            self._growing.add(key)
            self.news = True
            self._again[key] = tick + max(1.0, self._settings.service.finished_after_min * 60 - unchanged_s)
        for other in files.with_hash(self._db, str(written.hash)):
            self._files[other.path] = other
        self._behind.add(kiln.id)
        self.refresh()

    def _try_later(self, row: SeenFile, reason: str, tick: float) -> None:
        wait_s = min(_WAIT_S * 2.0 ** min(row.attempts, 10), _LONGEST_WAIT_S)
        next_try = clock.stamp(self._now() + timedelta(seconds=wait_s))
        self._again[row.path] = tick + wait_s
        aside = replace(row, attempts=row.attempts + 1, next_try_at=next_try)
        self._files[row.path] = self._taking_in.set_aside(aside, reason)

    def peek(self) -> None:
        """Look into files that keep changing, for live watch."""
        for key in self._settling.to_peek(self._tick()):
            found = self._found.get(key)
            kiln = self._kiln_of(key)
            if found is None or kiln is None or not 0 < found.size <= self._settings.service.file_limit_mb * 1e6:
                continue
            candidate = Candidate(found, self._files[key], kiln, 0.0, grew=True)
            if self._taking_in.peek(candidate):
                self._growing.add(key)
                self.news = True
                self._write([files.moved_to(self._files[key], "growing", GOING_ON)])

    def _note_failed(self, path: str, reason: str) -> None:
        """A firing could not be judged (called inside the judge's transaction)."""
        if (row := self._files.get(path)) is not None:
            aside = files.moved_to(row, "set aside", f"it could not be judged: {reason}")
            files.put(self._db, aside)
            self._files[path] = aside

    def needing_attention(self) -> int:
        """Return how many files were set aside or belong to no kiln."""
        return sum(row.state in files.ATTENTION for row in self.rows())

    # -- what is due ---------------------------------------------------------------------------------------------

    def busy(self) -> int:
        """Return how many files wait to be read."""
        return len(self._backlog)

    def settling(self) -> int:
        """Return how many files are still settling."""
        return len(self._settling)

    def next_due(self) -> float | None:
        """Return the tick at which something is due by itself: a file settles, or is to be tried again."""
        times = [*self._again.values()]
        if (settles := self._settling.next_due()) is not None:
            times.append(settles)
        return min(times, default=None)

    def _check_register(self) -> None:
        """Queue again whatever the register, the limits or the version have changed for since it was tried."""
        with write_tx(self._db):
            for kiln in self._settings.kilns:
                known, fresh = kilns.get(self._db, kiln.id), fingerprint.of_kiln(kiln)
                if known is None or known.fingerprint != fresh:
                    kilns.put_fingerprint(self._db, kiln.id, fresh)
                    self._db.execute("update parts set failed = null where kiln = ?", [kiln.id])
                    if known is not None and known.fingerprint:
                        kilns.mark_stale(self._db, kiln.id, _EVER)
            fresh_of = {kiln.id: fingerprint.of_try(kiln, self._settings) for kiln in self._settings.kilns}
            of_none = fingerprint.of_try(None, self._settings)
            for key, row in list(self._files.items()):
                if not self._is_own(key):
                    continue
                kiln_now = self._kiln_of(key)
                fresh = of_none if kiln_now is None else fresh_of[kiln_now.id]
                unsure = row.state == "growing" or row.next_try_at is not None or row.tried_with != fresh
                if unsure and row.state not in ("gone", "settling", "waiting"):
                    again = replace(row, state="waiting", reason="")
                    files.put(self._db, again)
                    self._files[key] = again


def _is_closed(key: str, closed: dict[str, str]) -> bool:
    return any(key == place or key.startswith(f"{place}/") for place in closed)

"""The running service: one thread takes logs in, the schedule does the rest, and everything can stop at any time."""

import logging
import os
import signal
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from filelock import FileLock, Timeout
from sqlite_utils import Database

from config.settings import Settings
from daemon import alerts, clock, systemd
from daemon.analyst import Analyst
from daemon.child import Stopped
from daemon.folder import FolderTrouble
from daemon.intake import Intake
from daemon.reporter import Reporter
from daemon.schedule import Schedule
from daemon.store import notes
from daemon.store.database import open_store, write_tx
from daemon.watch import Watch

log = logging.getLogger("coilwatch.service")
SLICE_S = 1.0
CHECK_S = 20.0
LEAST_PAUSE_S = 0.05
NOTE_S = 5.0
TROUBLE_PAUSE_S = 15.0
TOLD_AFTER_S = 60.0
END_WITHIN_S = 3.0


class AlreadyRunning(Exception):  # noqa: N818 - named for what is the case
    """Another Coilwatch works on the same data folder."""


def lock_data(settings: Settings) -> FileLock:
    """Take the data folder for this process alone; raises ``AlreadyRunning``. A killed holder's lock is free."""
    settings.folders.data.mkdir(parents=True, exist_ok=True)
    lock = FileLock(settings.folders.data / "service.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise AlreadyRunning(
            f"another Coilwatch is already working on {settings.folders.data}. "
            "Stop it first, or use another data folder (folders.data)."
        ) from None
    return lock


def run_once(settings: Settings, stop: threading.Event | None = None) -> int:
    """Take in what is there, send what is due, write the reports. Returns the number of files needing attention."""
    stop = stop or threading.Event()
    with lock_data(settings):
        db = open_store(settings.folders.database)
        analyst = Analyst(settings.service.file_limit_s, stop)
        try:
            intake = Intake(db, settings, analyst)
            intake.look()
            work_off(intake, stop)
            with write_tx(db):
                alerts.tick(db, settings, clock.now())
            notes.put(db, "looked", str(intake.busy()))
            _write_reports(db, settings)
            from daemon import outbox

            outbox.deliver_due(db, settings, clock.now(), stop=stop)
            return intake.needing_attention()
        finally:
            analyst.close()
            db.close()


def work_off(intake: Intake, stop: threading.Event, after_each: Callable[[], None] = lambda: None) -> None:
    """Work until nothing waits or settles any more, or until stopped."""
    while not stop.is_set():
        intake.glance()
        while intake.step():
            after_each()
            if stop.is_set():
                return
        if not intake.settling():
            return
        time.sleep(min(0.2, max(LEAST_PAUSE_S, (intake.next_due() or 0.0) - time.monotonic())))


def _write_reports(db: Database, settings: Settings) -> None:
    from daemon.report.write import write_reports

    try:
        write_reports(db, settings, None, clock.now())
    except OSError as error:
        log.error("the reports could not be written: %s", error)
    except Exception:
        log.exception("the reports could not be written")


class Service:
    """The service on one settings file. ``run`` returns when ``stop`` is called, or a signal came."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._look = True
        self._folder_bad_since: float | None = None
        self._folder_told = False
        self._disk_bad = False
        self._note_again = 0.0
        self._code = 0

    def stop(self, _signal: int = 0, _frame: FrameType | None = None) -> None:
        """Ask the service to end at the next safe point."""
        self._stop.set()
        self._wake.set()

    def _wake_to_look(self) -> None:
        self._look = True
        self._wake.set()

    def run(self) -> int:
        """Run until stopped. Raises ``AlreadyRunning`` and ``StoreError`` before anything is begun."""
        with lock_data(self._settings):
            for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
                if hasattr(signal, name) and threading.current_thread() is threading.main_thread():
                    signal.signal(getattr(signal, name), self.stop)
            db = open_store(self._settings.folders.database)
            analyst = Analyst(self._settings.service.file_limit_s, self._stop)
            reporter = Reporter(self._settings, self._stop)
            schedule = Schedule(self._settings, self._wake_to_look, reporter, self._stop)
            watch = Watch(self._settings.folders.drop, self._wake, listen=self._settings.service.watch == "auto")
            try:
                self._loop(db, analyst, schedule, watch)
            except Stopped:
                pass
            finally:
                systemd.notify("STOPPING=1")
                watch.stop()
                analyst.close()
                reporter.close()
                ended = schedule.end(END_WITHIN_S)
                db.close()
                log.info("ended%s", "" if ended else "; a message was still being sent and will be sent again")
            return self._code

    def _begun(self, db: Database, analyst: Analyst) -> Intake:
        """Return the intake, once the database can be written: a disk that is full now may not be so later."""
        from daemon import outbox

        while True:
            try:
                with write_tx(db):
                    outbox.try_at_once(db)  # new settings may have mended a target
                notes.put(db, "started", str(os.getpid()))
                return Intake(db, self._settings, analyst)
            except (sqlite3.Error, OSError) as error:
                self._disk_is_bad(error)
                if self._stop.wait(TROUBLE_PAUSE_S):
                    raise Stopped from None

    def _loop(self, db: Database, analyst: Analyst, schedule: Schedule, watch: Watch) -> None:
        intake = self._begun(db, analyst)
        file_of_db = _inode(self._settings.folders.database)
        watch.start()
        schedule.start()
        log.info("watching %s for %d kiln(s)", self._settings.folders.drop, len(self._settings.kilns))
        sense = clock.JumpSense()
        checked = looked = time.monotonic()
        self._look = True
        ready = False
        while not self._stop.is_set():
            began = time.monotonic()
            if self._wake.is_set() or self._look:
                self._wake.clear()
                self._look = False
                if self._look_through(db, intake, watch, looked):
                    looked = time.monotonic()
                    if not ready:
                        systemd.notify("READY=1", "STATUS=watching")
                        ready = True
            if _inode(self._settings.folders.database) != file_of_db:
                log.critical("the database file was removed or replaced under the running service; ending")
                self._code = 3
                self._stop.set()
                break
            worked = self._work(intake, schedule)
            tick = time.monotonic()
            if tick - checked > CHECK_S or worked is None:
                checked = tick
                if watch.check():
                    log.warning("listening to the drop folder was begun anew")
                if jump := sense.jumped_s():
                    log.warning("the clock was set by %+.0f s", jump)
                    schedule.clock_was_set()
                analyst.rest()
                systemd.notify("WATCHDOG=1")
            if worked is None:
                self._stop.wait(TROUBLE_PAUSE_S)
            elif not worked:
                self._rest(intake, looked, began)

    def _rest(self, intake: Intake, looked: float, began: float) -> None:
        """Wait for an event, for a file to settle, for the next look, or for the next check, whichever is first."""
        tick = time.monotonic()
        due = [looked + self._settings.service.scan_s, tick + CHECK_S / 4]
        if (own := intake.next_due()) is not None:
            due.append(own)
        # a folder in which much happens is looked through a few times a second, and for at most half of the time
        least = max(LEAST_PAUSE_S, min(2.0, tick - began))
        if self._stop.wait(least):
            return
        self._wake.wait(max(0.0, min(due) - time.monotonic()))
        if time.monotonic() >= looked + self._settings.service.scan_s:
            self._look = True

    def _look_through(self, db: Database, intake: Intake, watch: Watch, before: float) -> bool:
        try:
            return self._looked_through(db, intake, watch, before)
        except Stopped:
            return False
        except (sqlite3.Error, OSError) as error:
            self._disk_is_bad(error)
            return False

    def _looked_through(self, db: Database, intake: Intake, watch: Watch, before: float) -> bool:
        try:
            if intake.look():
                watch.missed(before)
        except FolderTrouble as trouble:
            self._folder_is_bad(db, str(trouble))
            return False
        intake.peek()
        if time.monotonic() >= self._note_again:
            notes.put(db, "looked", str(intake.busy()))
            self._note_again = time.monotonic() + NOTE_S
        if self._folder_bad_since is not None:
            self._folder_bad_since, self._folder_told = None, False
            log.info("the drop folder is there again")
            watch.check()
            with write_tx(db):
                alerts.trouble_over(db, "folder", self._settings, clock.now())
                notes.put(db, "folder", "")
        return True

    def _folder_is_bad(self, db: Database, text: str) -> None:
        tick = time.monotonic()
        if self._folder_bad_since is None:
            self._folder_bad_since = tick
            log.warning("%s", text)
            notes.put(db, "folder", text)
        if not self._folder_told and tick - self._folder_bad_since >= TOLD_AFTER_S:
            self._folder_told = True
            remedy = "Put it back, or plug in or mount the disk it is on; nothing is lost meanwhile."
            with write_tx(db):
                said = f"The drop folder cannot be read: {text}."
                alerts.trouble(db, "folder", said, "warning", self._settings, clock.now(), remedy=remedy)

    def _disk_is_bad(self, error: Exception) -> None:
        if not self._disk_bad:
            log.error("the database cannot be written: %s; waiting, nothing is lost", error)
        self._disk_bad = True

    def _work(self, intake: Intake, schedule: Schedule) -> bool | None:
        """Work for a moment; True if there is more to do, None if the disk or the database refused."""
        until = time.monotonic() + SLICE_S
        more = True
        try:
            intake.glance()
            while more and not self._stop.is_set() and time.monotonic() < until:
                more = intake.step()
                if intake.news:
                    intake.news = False
                    schedule.deliver_now()
            if intake.finished and not self._stop.is_set():
                schedule.write_reports(intake.finished)
                intake.finished = set()
        except (sqlite3.Error, OSError) as error:
            self._disk_is_bad(error)
            return None
        if self._disk_bad and not more:
            self._disk_bad = False
            log.info("the database can be written again")
        return more


def _inode(file: Path) -> tuple[int, int] | None:
    try:
        about = file.stat()
    except OSError:
        return None
    return about.st_dev, about.st_ino

"""What is done by the clock: looking, delivering, digest, back-up, heartbeat, and keeping an eye on the disk.

Jobs hold nothing of importance: what is due stands in the database, so a job that was missed is simply late.
"""

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger
from sqlite_utils import Database

from config.settings import Settings
from daemon import clock
from daemon.at_once import AtOnce
from daemon.reporter import Reporter
from daemon.store.database import StoreError, open_store

log = logging.getLogger("coilwatch.schedule")
OUTBOX_S = 15.0
CHORES_S = 60.0


class Every(IntervalTrigger):  # type: ignore[misc]
    """At regular intervals; times missed while the computer slept or its clock was set are not counted up one by one.

    After a clock that began in 1970 was put right the library would count tens of millions of them.
    """

    def get_next_fire_time(self, previous: datetime | None, now: datetime) -> datetime | None:
        """Return the next time after ``previous``, or an interval from now if that has passed already."""
        due: datetime | None = super().get_next_fire_time(previous, now)
        return now + self.interval if previous is not None and due is not None and due <= now else due


class Schedule:
    """The service's jobs. Each thread has a database connection of its own, opened when first needed."""

    def __init__(self, settings: Settings, wake: Callable[[], None], reporter: Reporter, stop: threading.Event) -> None:
        self._settings = settings
        self._reporter = reporter
        self._wake = wake
        self._stop = stop
        self._own = threading.local()
        self._outbox = AtOnce(self._deliver)
        self._reports = AtOnce(self._write_reports)
        self._zone = ZoneInfo(settings.studio.time_zone)
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            daemon=True,
            executors={name: ThreadPoolExecutor(1) for name in ("default", "sending", "reports")},
            # without these a job that is more than a second late is dropped, a single one for good
            job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1},
        )

    def start(self) -> None:
        """Begin; the jobs that matter run at once."""
        service = self._settings.service
        self._every("look", self._wake, service.scan_s)
        self._every("outbox", self.deliver_now, OUTBOX_S)
        self._every("alerts", self._tick_alerts, CHORES_S)
        self._every("reports", lambda: self.write_reports(()), CHORES_S)
        self._every("digest", self._digest, 30 * 60)
        self._every("machine", self._check_machine, 5 * 60)
        self._every("files", self._check_files, 60 * 60)
        if service.heartbeat_url is not None:
            self._every("heartbeat", self._heartbeat, service.heartbeat_min * 60)
        at = service.backup_at
        daily = CronTrigger(hour=at.hour, minute=at.minute, timezone=self._zone)
        # also once at the start: a computer that is off at night would otherwise never make one
        self._scheduler.add_job(
            self._back_up, daily, id="back-up", next_run_time=datetime.now(UTC) + timedelta(seconds=60)
        )
        self._scheduler.start()

    def _every(self, name: str, work: Callable[[], None], seconds: float) -> None:
        trigger = Every(seconds=max(1, round(seconds)), timezone=UTC)
        self._scheduler.add_job(work, trigger, id=name, next_run_time=datetime.now(UTC))

    def _soon(self, job: AtOnce, executor: str) -> None:
        """Have a job done by its own thread: neither a slow target nor a long report holds up anything else."""
        if self._scheduler.running and job.ask():
            self._scheduler.add_job(job.run, executor=executor)

    def deliver_now(self) -> None:
        """Deliver what has just been written to the outbox, or has become due."""
        self._soon(self._outbox, "sending")

    def write_reports(self, kilns: Iterable[str]) -> None:
        """Write the reports of kilns that were just brought up to date."""
        self._reporter.add(kilns)
        self._soon(self._reports, "reports")

    def _write_reports(self) -> None:
        def work() -> None:
            from daemon import outbox

            if outbox.pictures_drawn(self._db(), self._reporter.write()):
                self.deliver_now()

        self._guarded(work)

    def clock_was_set(self) -> None:
        """Let every job run at once: after the clock was put back they would all wait for the old time to come."""
        now = datetime.now(UTC)
        for job in self._scheduler.get_jobs():
            job.modify(next_run_time=now)

    def end(self, within_s: float) -> bool:
        """Stop; True if no job is left running after ``within_s`` seconds."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
        return self._outbox.wait_idle(within_s)

    def _db(self) -> Database:
        if not hasattr(self._own, "db"):
            self._own.db = open_store(self._settings.folders.database)
        db: Database = self._own.db
        return db

    def _deliver(self) -> None:
        """Send what is due (the outbox keeps what could not be sent, with the time of the next try)."""
        from daemon import outbox

        if not self._stop.is_set():
            self._guarded(lambda: outbox.deliver_due(self._db(), self._settings, clock.now(), stop=self._stop))

    def _tick_alerts(self) -> None:
        from daemon import chores

        if self._guarded(lambda: chores.tick_alerts(self._db(), self._settings)):
            self.deliver_now()

    def _digest(self) -> None:
        from daemon import chores

        if self._guarded(lambda: chores.write_digest(self._db(), self._settings)):
            self.deliver_now()

    def _check_machine(self) -> None:
        from daemon import chores

        self._guarded(lambda: chores.check_disk(self._db(), self._settings))

    def _check_files(self) -> None:
        from daemon import chores

        if self._guarded(lambda: chores.check_files(self._db(), self._settings)):
            self.deliver_now()

    def _back_up(self) -> None:
        from daemon import chores

        self._guarded(lambda: chores.back_up(self._db(), self._settings))

    def _heartbeat(self) -> None:
        from daemon import chores

        self._guarded(lambda: chores.beat(self._db(), self._settings))

    def _guarded(self, work: Callable[[], object]) -> object:
        """Do a job; what goes wrong is logged and tried again at its next time."""
        try:
            return work()
        except (sqlite3.Error, StoreError, OSError) as error:
            log.error("a job could not be done: %s", error)
        except Exception:
            log.exception("a job failed")
        return None

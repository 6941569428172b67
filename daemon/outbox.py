"""The outbox at work: send what is due, each target on its own, and record a send only after it succeeded.

The database is touched by the calling thread alone; sends run in threads of their own without any transaction
open, so that a target that hangs holds up neither the others nor the end of the program.
"""

import logging
import queue
import threading
import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from config.settings import Settings
from daemon import delivery
from daemon.alerts import desk, letters
from daemon.alerts.letters import Letter
from daemon.alerts.message import when
from daemon.clock import moment, stamp
from daemon.delivery import Outcome, Send, Sending
from daemon.report.files import slug
from daemon.store.database import write_tx

log = logging.getLogger("coilwatch.outbox")

LATE = timedelta(hours=1)
PICTURE_WAIT = timedelta(minutes=10)
_LOOK_S = 0.1

_abandoned: dict[str, Sending] = {}
"""Sends that did not come back in time and still run: their targets are left alone until they do."""


def deliver_due(
    db: Database,
    settings: Settings,
    now: datetime,
    *,
    stop: threading.Event | None = None,
    send: Send | None = None,
    picture_of: Callable[[Settings, str], Path | None] | None = None,
) -> int:
    """Send every message that is due and may leave now; returns how many were taken by their targets.

    Never call it from two threads at once. ``stop`` ends it within a tenth of a second: a send under way is left to
    itself and made again at the next start.
    """
    return _Round(db, settings, now, stop, send or delivery.send, picture_of or _picture_of).run()


class _Round:
    """One pass over the outbox."""

    def __init__(
        self,
        db: Database,
        settings: Settings,
        now: datetime,
        stop: threading.Event | None,
        send: Send,
        picture_of: Callable[[Settings, str], Path | None],
    ) -> None:
        self.db, self.settings, self.alerts = db, settings, settings.alerts
        self.zone = settings.studio.time_zone
        self.began, self.started = now, time.monotonic()
        self.stop, self.send, self.picture_of = stop or threading.Event(), send, picture_of
        self.answers: queue.SimpleQueue[tuple[str, Outcome]] = queue.SimpleQueue()
        self.under_way: dict[str, tuple[Letter, Sending, float]] = {}
        self.taken = 0

    def now(self) -> datetime:
        return self.began + timedelta(seconds=time.monotonic() - self.started)

    def run(self) -> int:
        for target in [target for target, sending in _abandoned.items() if not sending.is_alive()]:
            del _abandoned[target]
        with write_tx(self.db):
            letters.pick_up_pieces(self.db, tuple(_abandoned))
            self._let_go_of_removed_targets()
        idle = [target for target in self.alerts.targets if target not in _abandoned]
        while not self.stop.is_set():
            for target in idle:
                self._begin(target)
            if not self.under_way:
                break
            idle = self._wait()
        return self.taken

    def _let_go_of_removed_targets(self) -> None:
        """A target that is no longer in the settings is no trouble, and what it is owed is given up in time."""
        letters.give_up_strangers(self.db, tuple(self.alerts.targets), self.alerts, self.now())
        for alert in desk.open_alerts(self.db, desk.MACHINE_ROOM):
            label = alert.cause.removeprefix("target:")
            if label != alert.cause and label not in self.alerts.targets:
                desk.trouble_over(self.db, alert.cause, self.settings, self.now())

    def _begin(self, target: str) -> None:
        """Start the target's next send, if there is one that is due."""
        now = self.now()
        with write_tx(self.db):
            letters.tidy(self.db, target, self.alerts, self.zone, now)
            if not letters.target_may_be_tried(self.db, target, self.alerts, now):
                return
            letter = letters.next_letter(self.db, target, self.alerts, self.zone, now)
            if letter is None:
                return
            picture = None
            if letter.part == "picture":
                picture = self.picture_of(self.settings, letter.kiln)
                if picture is None or self._of_before(picture, letter, now):
                    self._picture_missing(letter, now)
                    return
            letters.begin_try(self.db, letter)
        secret = self.alerts.targets[target].get_secret_value()
        title, body = self._text(letter, now)

        def work() -> Outcome:
            return self.send(secret, title, body, letter.severity, letter.kind, picture)

        self.under_way[target] = (letter, Sending(work, self.answers, target), time.monotonic())

    def _of_before(self, picture: Path, letter: Letter, now: datetime) -> bool:
        """Whether the picture was drawn before what the message tells, and a newer one may still come."""
        return picture.stat().st_mtime < letter.created_at.timestamp() - 1.0 and now - letter.created_at <= PICTURE_WAIT

    def _picture_missing(self, letter: Letter, now: datetime) -> None:
        """No report was drawn yet: wait a little for it, then do without."""
        if now - letter.created_at > PICTURE_WAIT:
            letters.end(self.db, letter.id, "given up", now)
        else:
            again = stamp(now + timedelta(seconds=min(self.alerts.first_wait_s, 30.0)))
            self.db.execute("update outbox set next_try_at = ? where id = ?", [again, letter.id])

    def _text(self, letter: Letter, now: datetime) -> tuple[str, str]:
        if letter.part == "picture":
            return letter.title, f"Picture to incident {letter.incident}."
        if now - letter.created_at >= LATE:
            return letter.title, f"{letter.body}\nWritten {when(letter.created_at, self.zone)}."
        return letter.title, letter.body

    def _wait(self) -> list[str]:
        """Wait for the next answer; returns the targets that may be given another message."""
        free = []
        try:
            target, outcome = self.answers.get(timeout=_LOOK_S)
        except queue.Empty:
            pass
        else:
            letter, _, _ = self.under_way.pop(target)
            if self._note(letter, outcome):
                free.append(target)
        for target, (letter, sending, began) in list(self.under_way.items()):
            if time.monotonic() - began > self.alerts.send_limit_s:
                del self.under_way[target]
                _abandoned[target] = sending
                limit = self.alerts.send_limit_s
                self._note(letter, Outcome(ok=False, reason=f"no answer within {limit:.0f} s", perhaps=True))
        return free

    def _note(self, letter: Letter, outcome: Outcome) -> bool:
        """Record what became of a send; returns whether the target may be tried on."""
        now = self.now()
        with write_tx(self.db):
            if outcome.ok:
                self.taken += 1
                if letters.sent(self.db, letter, now):
                    desk.trouble_over(self.db, f"target:{letter.target}", self.settings, now)
            else:
                letters.failed(
                    self.db,
                    letter,
                    outcome.reason,
                    self.alerts,
                    now,
                    permanent=outcome.permanent,
                    perhaps=outcome.perhaps,
                )
                self._tell_of_failing(letter.target, outcome, now)
        if outcome.ok:
            log.info("%s: sent %s of incident %s (%s)", letter.target, letter.part, letter.incident, letter.kind)
        else:
            log.warning("%s: could not send incident %s: %s", letter.target, letter.incident, outcome.reason)
        return outcome.ok or letter.part == "picture"

    def _tell_of_failing(self, target: str, outcome: Outcome, now: datetime) -> None:
        since = next(
            (
                r["failing_since"]
                for r in self.db.query("select failing_since from alert_targets where label = ?", [target])
            ),
            None,
        )
        if since is None:
            return
        long = now - moment(since) >= timedelta(hours=self.alerts.target_failing_h)
        if long or outcome.permanent:
            text = (
                f"Messages to {target} have not got through since {when(moment(since), self.zone)}: {outcome.reason}."
            )
            remedy = "Look at the target's setting, then try: coilwatch check --send."
            desk.trouble(self.db, f"target:{target}", text, "warning", self.settings, now, remedy=remedy)


def _picture_of(settings: Settings, kiln: str) -> Path | None:
    """Return the kiln's newest trend picture, if the report has been drawn."""
    path = settings.folders.reports / f"{slug(kiln)}.png"
    return path if path.is_file() else None


def next_due(db: Database, now: datetime) -> datetime | None:
    """Return when the next message may be tried (never before ``now``), or None if nothing is owed."""
    rows = db.query(
        """select min(max(coalesce(o.next_try_at, ''), coalesce(t.next_try_at, ''))) as at from outbox o
           left join alert_targets t on t.label = o.target where o.ended is null"""
    )
    at = next(rows)["at"]
    if at is None:
        return None
    return now if at == "" else max(now, moment(at))


def try_at_once(db: Database) -> None:
    """Forget all waits: after new settings, or when a person asks to try again."""
    db.execute("update alert_targets set next_try_at = null")
    db.execute("update outbox set next_try_at = null where ended is null")


def pictures_drawn(db: Database, kilns: Iterable[str]) -> bool:
    """Let pictures that waited for being drawn leave at once; True if there are any."""
    waited = 0
    for kiln in kilns:
        with write_tx(db):
            waited += db.execute(
                "update outbox set next_try_at = null where ended is null and part = 'picture' and attempts = 0 "
                "and kiln = ?",
                [kiln],
            ).rowcount
    return waited > 0


def summary(db: Database) -> dict[str, Any]:
    """Return what is owed, what was given up, and how each target fares, for ``status``: no secret among it."""
    counts = {
        row["ended"] or "owed": row["n"] for row in db.query("select ended, count(*) n from outbox group by ended")
    }
    undelivered = db.query(
        """select incident, kiln, kind, severity, target, part, title, created_at, attempts, ended, last_error
           from outbox where (ended is null or ended = 'given up') and part = 'text' order by id desc limit 20"""
    )
    return {
        "owed": counts.get("owed", 0),
        "sent": counts.get("sent", 0),
        "given_up": counts.get("given up", 0),
        "targets": list(db.query("select * from alert_targets order by label")),
        "undelivered": list(undelivered),
    }

"""The outbox's rows: what is owed to whom, in which order, and what became of it.

A message is owed until it is recorded as sent, given up, or overtaken. It is recorded as sent only after a target
took it. ``trying`` is set before a send and cleared after: a row found so at start was perhaps sent, and is sent
again.
"""

import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlite_utils import Database

from analysis.findings import Severity
from config.alerts import AlertSettings
from daemon.alerts.message import Message
from daemon.alerts.quiet import may_send
from daemon.clock import moment, stamp

OVERTAKEN_AFTER = timedelta(hours=1)
"""An unsent message older than this is replaced by a newer one of the same incident."""
LEAST_TRIES = 8
"""A message is given up for its age only after so many tries: the computer may have been off, or its clock wrong."""
PICTURE_TRIES = 3
_JITTER = 0.2


@dataclass(frozen=True, slots=True)
class Letter:
    """One message to one target, as it stands in the outbox."""

    id: int
    key: str
    incident: str
    kiln: str
    kind: str
    severity: Severity
    target: str
    part: str
    title: str
    body: str
    created_at: datetime
    next_try_at: datetime | None
    attempts: int
    perhaps_sent: bool


def put(
    db: Database,
    *,
    incident: str,
    kiln: str,
    kind: str,
    number: int | str,
    severity: Severity,
    message: Message,
    targets: Iterable[str],
    now: datetime,
    picture: bool = False,
) -> int:
    """Owe a message to each target; the same (incident, number, target) is never owed twice. Returns how many."""
    owed = 0
    for target in targets:
        for part in ("text", "picture") if picture else ("text",):
            rows = db.execute(
                """insert or ignore into outbox
                   (key, incident, kiln, kind, severity, target, part, title, body, created_at)
                   values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)""",
                [
                    f"{incident}/{number}/{target}/{part}",
                    incident,
                    kiln,
                    kind,
                    severity,
                    target,
                    part,
                    message.title,
                    message.body,
                    stamp(now),
                ],
            )
            owed += rows.rowcount
    return owed


def told_targets(db: Database, incident: str) -> list[str]:
    """Return the targets that got, or may yet get, an opening message of this incident."""
    rows = db.query(
        """select distinct target from outbox where incident = ? and part = 'text' and kind != 'cleared'
           and (ended is null or ended in ('sent', 'superseded') or perhaps_sent = 1) order by target""",
        [incident],
    )
    return [str(row["target"]) for row in rows]


def owed_to(db: Database, target: str) -> list[Letter]:
    """Return what a target is owed, oldest first."""
    rows = db.query("select * from outbox where target = ? and ended is null order by id", [target])
    return [
        Letter(
            id=row["id"],
            key=row["key"],
            incident=row["incident"],
            kiln=row["kiln"],
            kind=row["kind"],
            severity=row["severity"],
            target=row["target"],
            part=row["part"],
            title=row["title"],
            body=row["body"],
            created_at=moment(row["created_at"]),
            next_try_at=moment(row["next_try_at"]) if row["next_try_at"] else None,
            attempts=row["attempts"],
            perhaps_sent=bool(row["perhaps_sent"]),
        )
        for row in rows
    ]


def tidy(db: Database, target: str, alerts: AlertSettings, time_zone: str, now: datetime) -> None:
    """Give up what is too old, and drop what has been overtaken by a newer message of the same incident."""
    oldest = now - timedelta(days=alerts.give_up_days)
    failures = _failures(db, target)
    by_incident: dict[str, list[Letter]] = {}
    for letter in owed_to(db, target):
        if letter.created_at < oldest and letter.attempts + failures >= LEAST_TRIES:
            end(db, letter.id, "given up", now)
        elif letter.part == "text":
            by_incident.setdefault(letter.incident, []).append(letter)
    for incident, owed in by_incident.items():
        last_sent = _last_sent(db, incident, target)
        letters = [letter for letter in owed if letter.id > last_sent]
        for letter in owed[: len(owed) - len(letters)]:  # a later one went out before it, through the quiet hours
            end(db, letter.id, "superseded", now)
        if not letters:
            continue
        newest, first = letters[-1], letters[0]
        told = target in _taken_by(db, incident) or any(letter.perhaps_sent for letter in letters)
        held = not may_send(first.severity, first.kind, first.created_at, alerts, time_zone)
        if newest.kind == "cleared" and not told and (len(letters) == 1 or held or _old(first, now)):
            for letter in letters:  # never told: nothing to close
                end(db, letter.id, "withdrawn", now)
        elif len(letters) > 1 and (held or _old(first, now)):
            for letter in letters[:-1]:
                end(db, letter.id, "superseded", now)


def _failures(db: Database, target: str) -> int:
    """Return how often running a target has failed."""
    rows = db.query("select failures from alert_targets where label = ?", [target])
    return next((int(row["failures"]) for row in rows), 0)


def _last_sent(db: Database, incident: str, target: str) -> int:
    rows = db.query(
        """select coalesce(max(id), 0) as id from outbox
           where incident = ? and target = ? and part = 'text' and ended = 'sent'""",
        [incident, target],
    )
    return int(next(rows)["id"])


def _old(letter: Letter, now: datetime) -> bool:
    return now - letter.created_at >= OVERTAKEN_AFTER


def _taken_by(db: Database, incident: str) -> set[str]:
    rows = db.query(
        """select distinct target from outbox where incident = ? and part = 'text' and kind != 'cleared'
           and (ended = 'sent' or perhaps_sent = 1)""",
        [incident],
    )
    return {str(row["target"]) for row in rows}


def next_letter(db: Database, target: str, alerts: AlertSettings, time_zone: str, now: datetime) -> Letter | None:
    """Return the message to try now: each incident's in their order, text before picture, urgent ones first.

    Among incidents the least tried goes first, so that one message a target refuses does not hold up the others.
    """
    ready: dict[tuple[str, str], Letter | None] = {}
    texts = {(letter.incident, letter.key.rsplit("/", 1)[0]) for letter in owed_to(db, target) if letter.part == "text"}
    for letter in owed_to(db, target):
        place = (letter.incident, letter.part)
        if place in ready:
            continue
        waits = letter.part == "picture" and (letter.incident, letter.key.rsplit("/", 1)[0]) in texts
        due = _is_due(letter.next_try_at, now, alerts)
        if may_send(letter.severity, letter.kind, now, alerts, time_zone):  # one held back does not hold back a worse
            ready[place] = letter if due and not waits else None
    able = [letter for letter in ready.values() if letter is not None]
    return min(able, key=lambda a: (a.part != "text", a.attempts, a.severity != "urgent", a.id), default=None)


def _is_due(at: datetime | None, now: datetime, alerts: AlertSettings) -> bool:
    """Whether a wait is over; one longer than any we set means that the clock was set back since."""
    return at is None or at <= now or at > now + timedelta(seconds=2 * alerts.longest_wait_s)


def target_may_be_tried(db: Database, target: str, alerts: AlertSettings, now: datetime) -> bool:
    """Whether a failing target's wait is over."""
    rows = list(db.query("select next_try_at from alert_targets where label = ?", [target]))
    return not rows or not rows[0]["next_try_at"] or _is_due(moment(rows[0]["next_try_at"]), now, alerts)


def begin_try(db: Database, letter: Letter) -> None:
    """Note that a send begins."""
    db.execute("update outbox set trying = 1, attempts = attempts + 1 where id = ?", [letter.id])


def sent(db: Database, letter: Letter, now: datetime) -> bool:
    """Note that a target took the message. Returns whether the target had been failing."""
    end(db, letter.id, "sent", now)
    failing = bool(list(db.query("select 1 from alert_targets where label = ? and failures > 0", [letter.target])))
    db.execute(
        """insert into alert_targets (label, last_sent_at) values (?, ?) on conflict (label) do update set
           failures = 0, failing_since = null, next_try_at = null, permanent = 0, last_error = null,
           last_sent_at = excluded.last_sent_at""",
        [letter.target, stamp(now)],
    )
    return failing


def failed(
    db: Database, letter: Letter, reason: str, alerts: AlertSettings, now: datetime, *, permanent: bool, perhaps: bool
) -> None:
    """Note a failed try: both the message and its target wait, longer each time; a fault to be mended waits longest."""
    if letter.part == "picture":  # a picture is a second, optional thing: it never marks a target as failing
        over = permanent or letter.attempts + 1 >= PICTURE_TRIES
        next_try = None if over else stamp(now + wait_after(letter.attempts + 1, letter.key, alerts))
        db.execute(
            "update outbox set trying = 0, next_try_at = ?, last_error = ? where id = ?", [next_try, reason, letter.id]
        )
        if over:
            end(db, letter.id, "given up", now)
        return
    row_wait = wait_after(letter.attempts + 1, letter.key, alerts)
    db.execute(
        """update outbox set trying = 0, next_try_at = ?, last_error = ?,
           perhaps_sent = max(perhaps_sent, ?) where id = ?""",
        [stamp(now + row_wait), reason, int(perhaps), letter.id],
    )
    failures = 1 + _failures(db, letter.target)
    wait = timedelta(seconds=alerts.longest_wait_s) if permanent else wait_after(failures, letter.target, alerts)
    db.execute(
        """insert into alert_targets (label, failures, failing_since, next_try_at, last_error, permanent)
           values (?, ?, ?, ?, ?, ?) on conflict (label) do update set failures = excluded.failures,
           failing_since = coalesce(failing_since, excluded.failing_since), next_try_at = excluded.next_try_at,
           last_error = excluded.last_error, permanent = excluded.permanent""",
        [letter.target, failures, stamp(now), stamp(now + wait), reason, int(permanent)],
    )


def wait_after(tries: int, key: str, alerts: AlertSettings) -> timedelta:
    """Return the wait after so many failed tries: doubling up to the longest, give or take a fifth.

    The jitter comes from the key, so that messages spread out while the same run gives the same waits.
    """
    base = min(alerts.first_wait_s * 2 ** min(tries - 1, 30), alerts.longest_wait_s)
    share = zlib.crc32(f"{key}#{tries}".encode()) / 0xFFFFFFFF
    return timedelta(seconds=base * (1 - _JITTER + 2 * _JITTER * share))


def end(db: Database, letter: int, how: str, now: datetime) -> None:
    """Note how a message ended: sent, given up, withdrawn, or superseded by a newer one."""
    db.execute(
        "update outbox set ended = ?, ended_at = ?, trying = 0, next_try_at = null where id = ?",
        [how, stamp(now), letter],
    )
    if how != "sent":  # a picture without its text would say nothing
        db.execute(
            """update outbox set ended = ?, ended_at = ? where ended is null and part = 'picture' and key =
               (select substr(key, 1, length(key) - 4) || 'picture' from outbox where id = ? and part = 'text')""",
            [how, stamp(now), letter],
        )


def give_up_strangers(db: Database, known: Iterable[str], alerts: AlertSettings, now: datetime) -> None:
    """Give up what is owed to targets that are no longer set, once it is too old."""
    oldest = stamp(now - timedelta(days=alerts.give_up_days))
    known = set(known)
    for row in list(db.query("select id, target from outbox where ended is null and created_at < ?", [oldest])):
        if row["target"] not in known:
            end(db, row["id"], "given up", now)


def pick_up_pieces(db: Database, busy: Iterable[str]) -> int:
    """Free messages a killed process left in mid-send (targets still ``busy`` apart). Returns how many."""
    busy = list(busy)
    marks = ", ".join("?" * len(busy))
    cursor = db.execute(
        f"update outbox set trying = 0, perhaps_sent = 1 where trying = 1 and target not in ({marks})",  # noqa: S608 - only marks
        busy,
    )
    return cursor.rowcount

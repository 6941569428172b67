"""Alerts in the database: read those that matter now, write what changed. No rule of the life cycle is here."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cache

from pydantic import TypeAdapter
from sqlite_utils import Database

from daemon.alerts.incident import Alert, Change
from daemon.clock import moment, stamp


@cache
def _form() -> TypeAdapter[Alert]:
    return TypeAdapter(Alert)


def load(db: Database, kiln: str, cleared_after: datetime) -> tuple[Alert, ...]:
    """Return the kiln's alerts that are not cleared, or cleared after a moment, or still owe a closing."""
    rows = db.query(
        """select record from alerts where kiln = ? and (state != 'cleared' or cleared_at >= ?
           or json_extract(record, '$.told_rank') > 0) order by rowid""",
        [kiln, cleared_after.isoformat()],
    )
    return tuple(_form().validate_json(row["record"]) for row in rows)


def of_incident(db: Database, incident: str) -> Alert | None:
    """Return the alert with this incident id, whatever its state; letters' case does not matter."""
    rows = list(db.query("select record from alerts where incident = ? collate nocase", [incident]))
    return _form().validate_json(rows[0]["record"]) if rows else None


def standing(db: Database, kiln: str | None = None) -> list[Alert]:
    """Return the alerts raised and not cleared, of one kiln or of all (the machine room's have an empty kiln)."""
    rows = db.query(
        """select record from alerts where state in ('open', 'acknowledged') and (? is null or kiln = ?)
           order by rowid""",
        [kiln, kiln],
    )
    return [_form().validate_json(row["record"]) for row in rows]


def kilns(db: Database) -> list[str]:
    """Return the kilns (and the empty machine room) that have alerts for which time alone may bring a message."""
    rows = db.query(
        """select distinct kiln from alerts where state in ('open', 'acknowledged')
           or json_extract(record, '$.told_rank') > 0 order by kiln"""
    )
    return [str(row["kiln"]) for row in rows]


def save(
    db: Database, before: Sequence[Alert], after: Sequence[Alert], changes: Iterable[Change], now: datetime
) -> None:
    """Write what changed; alerts that are gone from ``after`` were dropped and are deleted."""
    known = {alert.incident: alert for alert in before}
    for alert in after:
        if known.pop(alert.incident, None) != alert:
            db.execute(
                """insert into alerts (incident, record) values (?, ?)
                   on conflict (incident) do update set record = excluded.record""",
                [alert.incident, _form().dump_json(alert).decode("utf-8")],
            )
    for incident in known:
        db.execute("delete from alerts where incident = ?", [incident])
    severities = {alert.incident: alert.severity for alert in (*before, *after)}
    for change in changes:
        db.execute(
            "insert into alert_transitions (incident, kind, reason, severity, at) values (?, ?, ?, ?, ?)",
            [change.incident, change.kind, change.reason, severities.get(change.incident, "info"), stamp(now)],
        )


def mute_kiln(db: Database, kiln: str, until: datetime | None) -> None:
    """Keep back the kiln's warnings until a moment; None ends that."""
    db.execute("delete from alert_mutes where kiln = ?", [kiln])
    if until is not None:
        db.execute("insert into alert_mutes (kiln, until) values (?, ?)", [kiln, stamp(until)])


def kiln_muted_until(db: Database, kiln: str) -> datetime | None:
    """Return until when the kiln's warnings are kept back."""
    rows = list(db.query("select until from alert_mutes where kiln = ?", [kiln]))
    return moment(rows[0]["until"]) if rows else None

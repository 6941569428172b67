"""The tables of alerts and their outbox, as a list of steps that are only ever added to."""

from typing import Any

from sqlite_utils import Database, Migrations

migrations = Migrations("alerts")


def _run(db: Database, *statements: str) -> None:
    for statement in statements:
        db.execute(statement)


@migrations()
def m001_alerts_and_outbox(db: Any) -> None:  # noqa: ANN401 - sqlite-utils passes the database untyped
    """Alerts with what happened to them, messages with what became of them, targets, mutes, digests, growing logs."""
    _run(
        db,
        # ``record`` is the whole Alert as JSON; the other columns only let SQL look into it
        """create table alerts (
            incident text primary key,
            record text not null check (json_valid(record)),
            source text not null generated always as (json_extract(record, '$.source')) virtual,
            kiln text not null generated always as (json_extract(record, '$.kiln')) virtual,
            cause text not null generated always as (json_extract(record, '$.facts.cause')) virtual,
            severity text not null generated always as (json_extract(record, '$.facts.severity')) virtual
                check (severity in ('info', 'warning', 'urgent')),
            state text not null generated always as (json_extract(record, '$.state')) virtual
                check (state in ('watching', 'open', 'acknowledged', 'cleared')),
            cleared_at text generated always as (json_extract(record, '$.cleared_at')) virtual) strict""",
        "create index alerts_kiln on alerts (kiln, state)",
        """create table alert_transitions (
            id integer primary key, incident text not null, kind text not null, reason text not null,
            severity text not null, at text not null) strict""",
        "create index alert_transitions_incident on alert_transitions (incident)",
        "create table alert_mutes (kiln text primary key, until text not null) strict",
        # one row for each message to each target; ``ended`` says how it ended, null while it is still owed
        """create table outbox (
            id integer primary key, key text not null unique, incident text not null, kiln text not null,
            kind text not null, severity text not null check (severity in ('info', 'warning', 'urgent')),
            target text not null, part text not null check (part in ('text', 'picture')),
            title text not null, body text not null, created_at text not null, next_try_at text,
            attempts integer not null default 0, trying integer not null default 0 check (trying in (0, 1)),
            perhaps_sent integer not null default 0 check (perhaps_sent in (0, 1)),
            ended text check (ended in ('sent', 'given up', 'withdrawn', 'superseded')), ended_at text,
            last_error text) strict""",
        "create index outbox_owed on outbox (target, id) where ended is null",
        "create index outbox_incident on outbox (incident)",
        """create table alert_targets (
            label text primary key, failures integer not null default 0, failing_since text, next_try_at text,
            last_sent_at text, last_error text, permanent integer not null default 0) strict""",
        "create table digests (week text primary key, written_at text not null) strict",
        # logs that are growing now: when their last row came and what was last seen of them
        """create table live_watch (
            kiln text not null, log text not null, grown_at text not null, record text not null,
            primary key (kiln, log)) strict""",
    )

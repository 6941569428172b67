"""The store's tables, as a list of steps that are only ever added to."""

import zlib
from typing import Any

from sqlite_utils import Database, Migrations

migrations = Migrations("store")


def _run(db: Database, *statements: str) -> None:
    for statement in statements:
        db.execute(statement)


@migrations()
def m001_files_parts_firings(db: Any) -> None:  # noqa: ANN401 - sqlite-utils passes the database untyped
    """Files seen, the firings found in them, the firings judged, the kilns, the logbook, and small notes."""
    _run(
        db,
        # one row for each path ever seen in the drop folder
        """create table files (
            id integer primary key, path text not null unique, size integer not null, modified_ns integer not null,
            changed_ns integer not null, inode integer not null, hash text, kiln text,
            state text not null check (state in ('settling', 'waiting', 'growing', 'taken in', 'same as another',
                                                 'set aside', 'no kiln', 'gone')),
            reason text not null default '', question text not null default '', seen_at text not null,
            changed_at text not null, tried_at text, tried_with text, attempts integer not null default 0,
            next_try_at text) strict""",
        "create index files_hash on files (hash)",
        "create index files_state on files (state)",
        # one row for each firing found in one content; the same content under two names has one set of parts
        """create table parts (
            id integer primary key, kiln text not null, hash text not null, part integer not null, name text not null,
            started text not null, ended text not null, dated integer not null, head text not null,
            course text not null, rows integer not null, continues text, failed text,
            unique (kiln, hash, part)) strict""",
        "create index parts_name on parts (name)",
        # one row for each firing; ``parts`` is a JSON list of [hash, part], the first of them its identity
        """create table firings (
            id integer primary key, kiln text not null, position integer not null, started text not null,
            parts text not null, logs text not null, assessment text, state_after text, assessed_at text) strict""",
        "create index firings_kiln on firings (kiln, position)",
        # ``stale_from``: firings that started then or later are to be judged again; null if all is up to date
        """create table kilns (
            id text primary key, fingerprint text not null, stale_from text, told integer not null default 1) strict""",
        """create table logbook (
            id text primary key, kiln text not null, at text not null, entry text not null, added_at text not null
           ) strict""",
        "create index logbook_kiln on logbook (kiln, at)",
        "create table notes (key text primary key, value text not null, at text not null) strict",
    )


@migrations()
def m002_packed_assessments(db: Any) -> None:  # noqa: ANN401
    """What is said of a firing, and the kiln's state after it, packed: a quarter of the size."""
    db.conn.create_function("packed", 1, lambda text: None if text is None else zlib.compress(text.encode("utf-8")))
    _run(
        db,
        """create table firings_packed (
            id integer primary key, kiln text not null, position integer not null, started text not null,
            parts text not null, logs text not null, assessment blob, state_after blob, assessed_at text) strict""",
        """insert into firings_packed select id, kiln, position, started, parts, logs, packed(assessment),
           packed(state_after), assessed_at from firings""",
        "drop table firings",
        "alter table firings_packed rename to firings",
        "create index firings_kiln on firings (kiln, position)",
    )

"""The logbook's rows: what people did to a kiln and what they measured."""

import hashlib
from functools import cache

from pydantic import TypeAdapter
from sqlite_utils import Database

from config.logbook import LogbookEntry
from daemon import clock
from daemon.store import kilns


@cache
def _entries() -> TypeAdapter[LogbookEntry]:
    return TypeAdapter(LogbookEntry)


def add(db: Database, entry: LogbookEntry) -> str:
    """Add an entry and return its id; firings from its time on will be judged again. Inside ``write_tx``.

    An entry without an id gets one made of its content, so that the same entry read twice is one entry.
    """
    text = _entries().dump_json(entry).decode()
    entry_id = entry.id or hashlib.sha256(text.encode()).hexdigest()[:12]
    sql = "insert into logbook (id, kiln, at, entry, added_at) values (?, ?, ?, ?, ?) on conflict (id) do nothing"
    row = [entry_id, entry.kiln, clock.stamp(entry.at), text, clock.stamp(clock.now())]
    if db.execute(sql, row).rowcount > 0:
        since = clock.stamp(entry.at)
        if entry.withdraws is not None:
            taken_back = next(db.query("select at from logbook where id = ?", [entry.withdraws]), None)
            since = min(since, taken_back["at"]) if taken_back else since
        kilns.mark_stale(db, entry.kiln, since)
    return entry_id


def of_kiln(db: Database, kiln: str) -> list[LogbookEntry]:
    """Return a kiln's entries by their time, those taken back included."""
    from dataclasses import replace

    rows = db.query("select id, entry from logbook where kiln = ? order by at, added_at, id", [kiln])
    return [replace(_entries().validate_json(row["entry"]), id=row["id"]) for row in rows]

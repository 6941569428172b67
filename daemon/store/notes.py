"""Small facts about the service itself that ``status`` shows: when it last looked, what it is busy with."""

from sqlite_utils import Database

from daemon import clock


def put(db: Database, key: str, value: str) -> None:
    """Write a note; a write of its own unless inside ``write_tx``."""
    db.execute(
        "insert into notes (key, value, at) values (?, ?, ?) "
        "on conflict (key) do update set value = excluded.value, at = excluded.at",
        [key, value, clock.stamp(clock.now())],
    )


def get(db: Database, key: str) -> str | None:
    """Return a note's value."""
    row = next(db.query("select value from notes where key = ?", [key]), None)
    return None if row is None else str(row["value"])


def every(db: Database) -> dict[str, dict[str, str]]:
    """Return all notes with the time they were written."""
    return {
        row["key"]: {"value": row["value"], "at": row["at"]} for row in db.query("select key, value, at from notes")
    }

"""Dated back-ups of the database, made by SQLite itself while the service goes on, and how one is put back."""

import contextlib
import re
import sqlite3
from datetime import datetime
from pathlib import Path

from daemon.store import restoring
from daemon.store.database import StoreError

_NAME = re.compile(r"coilwatch-(\d{4}-\d{2}-\d{2})(?:-\d{6})?\.db")


def backups(folder: Path) -> list[Path]:
    """Return the back-ups, newest first."""
    with contextlib.suppress(OSError):
        return sorted((file for file in folder.iterdir() if _NAME.fullmatch(file.name)), reverse=True)
    return []


def is_due(folder: Path, now: datetime) -> bool:
    """Tell whether no back-up was made on the day of ``now`` (in its own time zone)."""
    return not (folder / _name(now)).exists()


def _name(now: datetime) -> str:
    return f"coilwatch-{now:%Y-%m-%d}.db"


def back_up(database: Path, folder: Path, now: datetime, keep: int) -> Path:
    """Copy the database into ``folder`` under the day of ``now`` and remove the oldest beyond ``keep``.

    Those of days to come, made while the clock was wrong, go first: they must not take the places of today's.

    The copy is checked before it counts. Raises ``StoreError`` if it is damaged, OSError if it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / _name(now)
    half = target.with_suffix(".half")
    half.unlink(missing_ok=True)
    try:
        copy(database, half)
    except sqlite3.OperationalError as error:
        half.unlink(missing_ok=True)
        raise OSError(f"the back-up could not be written: {error}") from error
    except BaseException:
        half.unlink(missing_ok=True)
        raise
    half.replace(target)
    for old in sorted(backups(folder), key=lambda file: (file.name <= target.name, file.name), reverse=True)[keep:]:
        old.unlink(missing_ok=True)
    return target


def copy(database: Path, target: Path) -> None:
    """Copy a database that may be in use into a new file of its own and check the copy."""
    only_read = f"{database.absolute().as_uri()}?mode=ro"
    with (
        contextlib.closing(sqlite3.connect(only_read, uri=True, timeout=30)) as source,
        contextlib.closing(sqlite3.connect(target)) as copied,
    ):
        source.backup(copied, pages=500, sleep=0.01)
        copied.execute("pragma journal_mode=delete")  # one file, nothing beside it
        found = copied.execute("pragma quick_check(1)").fetchone()
        if found != ("ok",):
            raise StoreError(f"{database}: it is damaged ({found[0]}); `coilwatch restore` puts back a back-up")


def restore(database: Path, backup: Path, now: datetime) -> Path | None:
    """Put a back-up in the place of the database; the present one is kept beside it and its place returned.

    The service must not be running (its lock must be held by the caller). A restore broken off by a kill is finished
    when the database is next opened (``daemon.store.restoring``). Raises ``StoreError`` for a damaged back-up.
    """
    half = database.with_suffix(".restoring-half")
    half.unlink(missing_ok=True)
    try:
        copy(backup, half)
    except sqlite3.DatabaseError as error:
        half.unlink(missing_ok=True)
        raise StoreError(f"{backup}: this back-up cannot be read ({error}). Choose another.") from error
    waiting = restoring.waiting_place(database, now)
    half.replace(waiting)  # from here on it is decided: a kill leaves what the next opening finishes
    try:
        done = restoring.finish(database)
    except OSError as error:
        if database.exists():
            waiting.unlink(missing_ok=True)
        raise StoreError(
            f"{database}: it cannot be put aside ({error.strerror}). Close what has it open, then restore again."
        ) from error
    return None if done is None else done.kept

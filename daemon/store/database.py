"""Opening the database: write-ahead log, strict tables, migrations under a lock, one writing transaction at a time.

``write_tx`` takes the write lock at once (BEGIN IMMEDIATE): a transaction that reads first and asks for the lock
later fails at once when another connection wrote in between, however long it is willing to wait.
"""

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout
from sqlite_utils import Database, Migrations

from daemon.store import restoring

log = logging.getLogger(__name__)
BUSY_S = 30.0


class StoreError(Exception):
    """The database cannot be used; the message says why and what to do."""


class NewerDatabase(StoreError):  # noqa: N818 - named for what it says of the database
    """The database was written by a newer Coilwatch."""


@contextmanager
def write_tx(db: Database) -> Iterator[Database]:
    """Run a block as one transaction that holds the write lock from its start; all of it is kept, or none."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield db
    except BaseException:
        db.rollback()
        raise
    else:
        db.commit()


def migration_sets() -> tuple[Migrations, ...]:
    """Return every part's migrations in the order in which they are applied."""
    from daemon.store.schema import migrations as store

    try:
        from daemon.alerts.schema import migrations as alerts
    except ModuleNotFoundError:
        return (store,)
    return store, alerts


def open_store(path: Path) -> Database:
    """Open (and make or bring up to date) the database; the connection belongs to the calling thread.

    Raises ``NewerDatabase`` for a database of a newer version and ``StoreError`` where it cannot be opened.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _finish_restore(path)
        return _connect(path)
    except sqlite3.DatabaseError as error:
        raise StoreError(
            f"{path}: the database cannot be used ({error}). If it is damaged, `coilwatch restore` puts back a back-up."
        ) from error
    except OSError as error:
        raise StoreError(f"{path.parent}: {error.strerror}. Check folders.data in the settings.") from error


def _finish_restore(path: Path) -> None:
    try:
        done = restoring.finish(path)
    except Timeout:
        raise StoreError(f"{path}: another Coilwatch is putting a back-up back. Try again.") from None
    if done is not None:
        before = f"; the database before it is kept as {done.kept.name}" if done.kept else ""
        log.warning("a restore that had been broken off was finished: %s is the back-up now%s", path, before)


def _connect(path: Path) -> Database:
    """Open the database and bring it up to date; nothing stays open if that fails."""
    with ExitStack() as held:
        db = held.enter_context(closing(Database(sqlite3.connect(path, timeout=BUSY_S))))
        db.execute("pragma journal_mode=wal")
        db.execute("pragma synchronous=full")
        _bring_up_to_date(db, path)
        db.execute("pragma foreign_keys=on")
        held.pop_all()
    return db


def _bring_up_to_date(db: Database, path: Path) -> None:
    sets = migration_sets()
    known = {(migrations.name, name) for migrations in sets for name in _steps(migrations)}
    if _applied(db) == known:
        return
    try:
        with FileLock(f"{path}.migrate.lock").acquire(timeout=BUSY_S):
            newer = sorted(_applied(db) - known)
            if newer:
                raise NewerDatabase(
                    f"{path}: this database was written by a newer Coilwatch (it knows {newer[0][1]!r}). "
                    "Install that version again, or put back an older back-up with `coilwatch restore`."
                )
            for migrations in sets:
                migrations.apply(db)
    except Timeout:
        raise StoreError(f"{path}: another Coilwatch is bringing the database up to date. Try again.") from None


def _applied(db: Database) -> set[tuple[str, str]]:
    if "_sqlite_migrations" not in db.table_names():
        return set()
    rows = db.query("select migration_set, name from _sqlite_migrations")
    return {(str(row["migration_set"]), str(row["name"])) for row in rows}


def _steps(migrations: Migrations) -> list[str]:
    """Return the names of all steps this version knows: those an empty database still needs."""
    blank = Database(memory=True)
    try:
        return [step.name for step in migrations.pending(blank)]
    finally:
        blank.close()


def damage(db: Database) -> str | None:
    """Return what SQLite's own check finds wrong with the database, or None if it is whole."""
    try:
        found = [str(row[0]) for row in db.execute("pragma quick_check(5)").fetchall()]
    except sqlite3.DatabaseError as error:
        return str(error)
    return None if found == ["ok"] else "; ".join(found)

"""Putting another database in the place of the present one, so that a kill at any moment is made good later.

The new database first stands whole beside the old one, under a name that says when the restore was asked for. From
then on the restore is decided: whoever opens the database next finishes what was begun (`finish`).
"""

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from filelock import FileLock

WAIT_S = 30.0
_BESIDE = ("-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Restored:
    """A restore that came to its end; ``kept`` is where the database before it is now, None if there was none."""

    database: Path
    kept: Path | None


def waiting_place(database: Path, now: datetime) -> Path:
    """Return where the new database stands until it takes the place of the old one."""
    return database.with_name(f"{database.stem}-restoring-{now:%Y-%m-%d-%H%M%S}.db")


def finish(database: Path) -> Restored | None:
    """Do what is left of a restore: the database there is kept aside, the waiting one takes its place.

    Returns None where none was begun. Every step may be repeated, so a kill between two of them does no harm.
    """
    if not _waiting(database):
        return None
    with FileLock(f"{database}.restore.lock").acquire(timeout=WAIT_S):
        done = None
        for fresh in _waiting(database):  # once more: another may have finished it meanwhile
            done = _take_place(database, fresh)
        return done


def _waiting(database: Path) -> list[Path]:
    name = re.compile(re.escape(database.stem) + r"-restoring-\d{4}-\d{2}-\d{2}-\d{6}\.db")
    return sorted(file for file in database.parent.glob(f"{database.stem}-restoring-*.db") if name.fullmatch(file.name))


def _take_place(database: Path, fresh: Path) -> Restored:
    kept = fresh.with_name(fresh.name.replace("-restoring-", "-before-restore-"))
    if database.exists():
        database.replace(kept)
    for ending in _BESIDE:  # what was written last still stands in these: they go with the database they belong to
        beside = Path(f"{database}{ending}")
        if beside.exists():
            beside.replace(f"{kept}{ending}")
    fresh.replace(database)
    return Restored(database, kept if kept.exists() else None)

"""Logs of the past from another folder: the same way in as the drop folder's, without a message for each."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from config.settings import Settings
from daemon import folder
from daemon.analyst import Analyst
from daemon.folder import shown
from daemon.intake import BACKFILLED, Intake
from daemon.service import lock_data, work_off
from daemon.store import files, firings
from daemon.store.database import open_store


@dataclass(frozen=True, slots=True)
class Done:
    """What became of a backfilled folder."""

    taken_in: int
    repeats: int
    firings: int
    not_taken_in: tuple[tuple[str, str], ...]


def count(source: Path) -> int:
    """Return how many files there are; raises ``FolderTrouble``."""
    return len(folder.look(source).files)


def take_in(settings: Settings, source: Path, kiln: str | None, step: Callable[[int], None]) -> Done:
    """Take in every log of ``source``; ``step`` is told how many more were read.

    Raises ``AlreadyRunning`` while the service runs, and ``FolderTrouble``.
    """
    elsewhere = replace(settings, folders=replace(settings.folders, drop=source.absolute()))
    with lock_data(settings):
        db = open_store(settings.folders.database)
        analyst = Analyst(settings.service.file_limit_s)
        try:
            only = settings.kiln(kiln) if kiln is not None else None
            intake = Intake(db, elsewhere, analyst, source=BACKFILLED, only=only)
            waiting = intake.look()

            def after_each() -> None:
                nonlocal waiting
                left = intake.busy() + intake.settling()
                step(max(0, waiting - left))
                waiting = min(waiting, left)

            before = sum(firings.count(db).values())
            work_off(intake, threading.Event(), after_each)
            judged = sum(firings.count(db).values()) - before
            rows = intake.rows()
        finally:
            analyst.close()
            db.close()
    return Done(
        taken_in=sum(row.state == "taken in" for row in rows),
        repeats=sum(row.state == "same as another" for row in rows),
        firings=judged,
        not_taken_in=tuple(
            (shown(row.path.removeprefix(BACKFILLED)), row.reason) for row in rows if row.state in files.ATTENTION
        ),
    )

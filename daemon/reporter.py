"""Writing the reports in a process of its own: what draws pictures is large, and is not needed most of the time."""

import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime

from config.settings import Settings
from daemon import clock
from daemon.child import Child, ChildFailed, Stopped

log = logging.getLogger("coilwatch.reporter")
LIMIT_S = 300.0


class Reporter:
    """Collects kilns whose reports are out of date and writes them; ``write`` belongs to one thread."""

    def __init__(self, settings: Settings, stop: threading.Event) -> None:
        self._settings = settings
        self._child = Child("reporter", _tasks, LIMIT_S, stop)
        self._due: set[str] = set()
        self._lock = threading.Lock()
        self.rest = self._child.rest
        self.close = self._child.close

    def add(self, kilns: Iterable[str]) -> None:
        """Note kilns whose reports are out of date."""
        with self._lock:
            self._due.update(kilns)

    def write(self) -> list[str]:
        """Write the reports that are out of date; returns the kilns whose pages and pictures are new."""
        with self._lock:
            due, self._due = sorted(self._due), set()
        if not due:
            self.rest()
            return []
        try:
            self._child.ask("write", self._settings, due, clock.now())
        except Stopped:
            self.add(due)
        except ChildFailed as failed:
            log.error("the reports of %s could not be written: %s", ", ".join(due), failed)
        else:
            return due
        return []


def _tasks() -> Mapping[str, Callable[..., object]]:
    from daemon.report.write import write_reports
    from daemon.store.database import open_store

    def write(settings: Settings, kilns: Sequence[str], now: datetime) -> int:
        db = open_store(settings.folders.database)
        try:
            return len(write_reports(db, settings, kilns, now))
        finally:
            db.close()

    return {"write": write}

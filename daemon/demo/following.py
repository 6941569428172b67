"""Following what the service makes of a log: the database is read, never written."""

from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from daemon.demo.service_process import ServiceProcess
from daemon.store import firings
from daemon.store.database import open_store

LOG_LIMIT_S = 60.0
MESSAGE_LIMIT_S = 60.0
_NOT_YET = ("settling", "waiting", "growing")


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a log: the firing it gave, or why there is none."""

    firing: firings.StoredFiring | None
    reason: str = ""


class Follower:
    """Reads the service's database from the demo's own connection."""

    def __init__(self, database_file: Path) -> None:
        self.database: Database = open_store(database_file)

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()

    def already_taken(self, key: str) -> bool:
        """Tell whether a log was dealt with in an earlier run."""
        return self._look(key) is not None

    def wait_for(self, key: str, service: ServiceProcess) -> Taken:
        """Wait until the service has dealt with a log."""
        patience = service.wait_until(LOG_LIMIT_S, f"{key} to be taken in")
        while (taken := self._look(key)) is None:
            patience.wait()
        return taken

    def wait_for_texts(self, service: ServiceProcess) -> None:
        """Wait until no text of a message is owed any more; its picture may still be drawn."""
        self._wait_for_outbox("select 1 from outbox where ended is null and part = 'text' limit 1", service)

    def wait_for_messages(self, service: ServiceProcess) -> None:
        """Wait until no message is owed any more."""
        self._wait_for_outbox("select 1 from outbox where ended is null limit 1", service)

    def _wait_for_outbox(self, owed: str, service: ServiceProcess) -> None:
        patience = service.wait_until(MESSAGE_LIMIT_S, "messages to be delivered")
        while next(self.database.query(owed), None) is not None:
            patience.wait()

    def _look(self, key: str) -> Taken | None:
        row = next(self.database.query("select kiln, state, reason from files where path = ?", [key]), None)
        if row is None or row["state"] in _NOT_YET:
            return None
        if row["state"] != "taken in":
            return Taken(None, f"{row['state']}: {row['reason']}")
        if self._behind(row["kiln"]):
            return None
        for firing in reversed(firings.of_kiln(self.database, row["kiln"])):
            if key in firing.logs:
                return Taken(firing)
        return None

    def _behind(self, kiln: str) -> bool:
        sql = "select 1 from kilns where id = ? and (stale_from is not null or told = 0)"
        return next(self.database.query(sql, [kiln]), None) is not None

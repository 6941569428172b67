"""What is remembered of each kiln besides its firings: the register it was judged with and what is out of date."""

from dataclasses import dataclass

from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class KilnRow:
    """``stale_from`` is the stamp from which firings must be judged again, None if none; ``told`` that alerts are."""

    id: str
    fingerprint: str
    stale_from: str | None
    told: bool


def get(db: Database, kiln: str) -> KilnRow | None:
    """Return a kiln's row."""
    row = next(db.query("select id, fingerprint, stale_from, told from kilns where id = ?", [kiln]), None)
    return None if row is None else KilnRow(row["id"], row["fingerprint"], row["stale_from"], bool(row["told"]))


def put_fingerprint(db: Database, kiln: str, fingerprint: str) -> None:
    """Note what a kiln's firings are judged with; inside ``write_tx``."""
    db.execute(
        "insert into kilns (id, fingerprint) values (?, ?) "
        "on conflict (id) do update set fingerprint = excluded.fingerprint",
        [kiln, fingerprint],
    )


def mark_stale(db: Database, kiln: str, since: str) -> None:
    """Note that firings started at ``since`` or later must be judged again; inside ``write_tx``."""
    db.execute(
        "insert into kilns (id, fingerprint, stale_from, told) values (?, '', ?, 0) on conflict (id) do update set "
        "stale_from = min(coalesce(stale_from, excluded.stale_from), excluded.stale_from), told = 0",
        [kiln, since],
    )


def set_stale(db: Database, kiln: str, since: str | None, *, told: bool) -> None:
    """Move on (or clear) what is out of date after a firing was judged; inside ``write_tx``."""
    db.execute("update kilns set stale_from = ?, told = ? where id = ?", [since, int(told), kiln])


def behind(db: Database) -> list[str]:
    """Return the kilns with firings to be judged again, or whose newest firing has not reached the alerts."""
    return [row["id"] for row in db.query("select id from kilns where stale_from is not null or told = 0 order by id")]

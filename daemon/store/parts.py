"""The firings found in each content: when, how long, and whether one goes on where another was cut off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # judging a folder without a store needs a Part and no database
    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Part:
    """One firing found in one file's content.

    ``started`` and ``ended`` are stamps; ``dated`` says how well they are known (2 from the log's rows or text, 1 from
    its file's name, 0 from the file's date); ``head`` is a hash of its first samples; ``course`` its temperature in
    deg C every ten minutes, as numbers with spaces between; ``continues`` says with which
    part before it was compared and whether it goes on from there; ``failed`` is the reason why it cannot be judged.
    """

    kiln: str
    hash: str
    part: int
    name: str
    started: str
    ended: str
    dated: int
    head: str
    rows: int
    course: str = ""
    continues: str | None = None
    failed: str | None = None

    @property
    def key(self) -> tuple[str, int]:
        """Content and place in it."""
        return self.hash, self.part


_COLUMNS = tuple(Part.__dataclass_fields__)


def of_kiln(db: Database, kiln: str) -> list[Part]:
    """Return a kiln's parts, oldest first."""
    sql = f"select {', '.join(_COLUMNS)} from parts where kiln = ? order by started, name, part"  # noqa: S608
    return [Part(**row) for row in db.query(sql, [kiln])]


def of_content(db: Database, kiln: str, content_hash: str) -> list[Part]:
    """Return the parts a kiln has of one content, in their order in it."""
    sql = f"select {', '.join(_COLUMNS)} from parts where kiln = ? and hash = ? order by part"  # noqa: S608
    return [Part(**row) for row in db.query(sql, [kiln, content_hash])]


def of_file(db: Database, name: str) -> list[Part]:
    """Return the parts that a file holds, of whichever kiln."""
    sql = f"select {', '.join(_COLUMNS)} from parts where name = ? order by kiln, hash, part"  # noqa: S608
    return [Part(**row) for row in db.query(sql, [name])]


def contents(db: Database) -> set[str]:
    """Return the hashes of all contents in which firings were found."""
    return {row["hash"] for row in db.query("select distinct hash from parts")}


def put(db: Database, part: Part) -> None:
    """Write a part; call it inside ``write_tx``."""
    names = ", ".join(_COLUMNS)
    db.execute(
        f"insert into parts ({names}) values ({', '.join(f':{name}' for name in _COLUMNS)}) "  # noqa: S608
        "on conflict (kiln, hash, part) do update set name = excluded.name, started = excluded.started, "
        "ended = excluded.ended, dated = excluded.dated, head = excluded.head, course = excluded.course, "
        "rows = excluded.rows, "
        "continues = excluded.continues, failed = excluded.failed",
        {name: getattr(part, name) for name in _COLUMNS},
    )


def remove(db: Database, kiln: str, content_hash: str) -> list[Part]:
    """Remove a content's parts from a kiln and return them; call it inside ``write_tx``."""
    gone = of_content(db, kiln, content_hash)
    db.execute("delete from parts where kiln = ? and hash = ?", [kiln, content_hash])
    return gone


def note_continues(db: Database, part: Part, note: str) -> None:
    """Note with which part a part was compared, and whether it continues it; inside ``write_tx``."""
    sql = "update parts set continues = ? where kiln = ? and hash = ? and part = ?"
    db.execute(sql, [note, part.kiln, *part.key])


def mark_failed(db: Database, part: Part, reason: str) -> None:
    """Note that a part cannot be judged; it is left out until its file, the register or the version changes."""
    db.execute("update parts set failed = ? where kiln = ? and hash = ? and part = ?", [reason, part.kiln, *part.key])

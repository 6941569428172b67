"""Every file ever seen in the drop folder, with its state and the reason for it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from sqlite_utils import Database

FileState = Literal["settling", "waiting", "growing", "taken in", "same as another", "set aside", "no kiln", "gone"]
ATTENTION: tuple[FileState, ...] = ("set aside", "no kiln")


@dataclass(frozen=True, slots=True)
class SeenFile:
    """One file of the drop folder. ``path`` is relative to it, with ``/``; times are stamps (``daemon.clock``).

    ``size``, ``modified_ns``, ``changed_ns`` and ``inode`` are what was last seen of it; ``hash`` its content as last
    read; ``question`` what only the owner can tell; ``tried_with`` the register and version it was last tried with.
    """

    path: str
    size: int
    modified_ns: int
    changed_ns: int
    inode: int
    seen_at: str
    changed_at: str
    state: FileState = "settling"
    reason: str = ""
    question: str = ""
    hash: str | None = None
    kiln: str | None = None
    tried_at: str | None = None
    tried_with: str | None = None
    attempts: int = 0
    next_try_at: str | None = None

    @property
    def mark(self) -> tuple[int, int, int, int]:
        """What tells without reading that a file is still the one last seen."""
        return self.size, self.modified_ns, self.changed_ns, self.inode


_COLUMNS = tuple(SeenFile.__dataclass_fields__)
_PUT = (
    f"insert into files ({', '.join(_COLUMNS)}) values ({', '.join(f':{name}' for name in _COLUMNS)}) "  # noqa: S608
    f"on conflict (path) do update set {', '.join(f'{name} = excluded.{name}' for name in _COLUMNS if name != 'path')}"
)


def put(db: Database, file: SeenFile) -> None:
    """Write a file's row; call it inside ``write_tx``."""
    db.execute(_PUT, {name: getattr(file, name) for name in _COLUMNS})


def all_files(db: Database) -> dict[str, SeenFile]:
    """Return every file by its path."""
    rows = db.query(f"select {', '.join(_COLUMNS)} from files order by path")  # noqa: S608 - our own column names
    return {row["path"]: SeenFile(**row) for row in rows}


def with_hash(db: Database, content_hash: str) -> Iterator[SeenFile]:
    """Return the files whose content was last read as ``content_hash``."""
    sql = f"select {', '.join(_COLUMNS)} from files where hash = ? order by seen_at, path"  # noqa: S608
    return (SeenFile(**row) for row in db.query(sql, [content_hash]))


def in_states(db: Database, *states: FileState) -> list[SeenFile]:
    """Return the files in some states, in order of their paths."""
    marks = ", ".join("?" * len(states))
    sql = f"select {', '.join(_COLUMNS)} from files where state in ({marks}) order by path"  # noqa: S608 - only marks
    return [SeenFile(**row) for row in db.query(sql, list(states))]


def questions(db: Database) -> list[dict[str, str | int]]:
    """Return what only the owner can tell, once for each kiln and question, with the number of files it concerns."""
    sql = (
        "select coalesce(kiln, '') as kiln, question, count(*) as files from files "
        "where question <> '' and state <> 'gone' group by 1, 2 order by 1, 2"
    )
    return list(db.query(sql))


def counts(db: Database) -> dict[str, int]:
    """Return the number of files in each state."""
    return {row["state"]: row["n"] for row in db.query("select state, count(*) as n from files group by state")}


def moved_to(file: SeenFile, state: FileState, reason: str = "") -> SeenFile:
    """Return the file in another state with the reason for it."""
    return replace(file, state=state, reason=reason)

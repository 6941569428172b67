"""The drop folder: what is in it, whose logs they are, and how its names are written.

The truth about the folder is always a look through it. Nothing in it is ever changed.
"""

import fnmatch
import os
import re
import stat
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from config.kiln import Kiln

_NO_LOGS = (
    ".*", "~$*", "*~", "*.tmp", "*.part", "*.partial", "*.crdownload", "*.swp", "thumbs.db", "desktop.ini",
    "@eadir", "__macosx", "*.sync-conflict-*", "$recycle.bin", "system volume information",
)  # fmt: skip
_NO_LOG = re.compile("|".join(map(fnmatch.translate, _NO_LOGS)))
_MOST_DEEP = 32


class FolderTrouble(Exception):  # noqa: N818 - named for what it says of the folder
    """The drop folder itself cannot be looked through: gone, unmounted, or not allowed."""


@dataclass(frozen=True, slots=True)
class Found:
    """One file found: ``key`` is its path in the drop folder as safe text, ``path`` where to open it."""

    key: str
    path: Path
    size: int
    modified_ns: int
    changed_ns: int
    inode: int

    @property
    def mark(self) -> tuple[int, int, int, int]:
        """What tells without reading whether the file changed."""
        return self.size, self.modified_ns, self.changed_ns, self.inode


@dataclass(frozen=True, slots=True)
class Look:
    """One look through the folder: the files found, and what could not be looked at (key -> reason).

    ``place`` tells this folder from another at the same path; ``bare`` that there is nothing at all in it.
    """

    files: dict[str, Found]
    closed: dict[str, str]
    place: tuple[int, int] = (0, 0)
    bare: bool = False


def look(drop: Path, leave_out: Sequence[Path] = ()) -> Look:
    """Look through the folder and its sub-folders; links to folders are followed, each folder once.

    ``leave_out`` are folders that are never entered (Coilwatch's own data). Raises ``FolderTrouble`` if the folder
    itself cannot be read: that is no empty folder, and its files are not gone.
    """
    files: dict[str, Found] = {}
    closed: dict[str, str] = {}
    try:
        root = Path(os.path.realpath(drop))
        about = root.stat()
        if not stat.S_ISDIR(about.st_mode):
            raise FolderTrouble(f"{drop} is not a folder")
        entered = {(about.st_dev, about.st_ino), *_identities(leave_out)}
        _enter(root, (), entered, files, closed)
        bare = not files and not closed and next(root.iterdir(), None) is None
    except OSError as error:
        raise FolderTrouble(f"{drop}: {error.strerror or error}") from error
    return Look(files, closed, (about.st_dev, about.st_ino), bare)


def identity(drop: Path) -> tuple[int, int] | None:
    """Return what tells one folder from another at the same place (device and inode), None if there is none."""
    try:
        about = Path(os.path.realpath(drop)).stat()
    except OSError:
        return None
    return about.st_dev, about.st_ino


def _identities(folders: Iterable[Path]) -> set[tuple[int, int]]:
    return {here for folder in folders if (here := identity(folder)) is not None}


def _enter(
    folder: Path,
    names: tuple[str, ...],
    entered: set[tuple[int, int]],
    files: dict[str, Found],
    closed: dict[str, str],
) -> None:
    with os.scandir(folder) as entries:
        for entry in entries:
            if no_log(entry.name):
                continue
            below = (*names, entry.name)
            try:
                about = entry.stat()
                if stat.S_ISREG(about.st_mode):
                    found = Found(
                        key=key_of(below),
                        path=Path(entry.path),
                        size=about.st_size,
                        modified_ns=about.st_mtime_ns,
                        changed_ns=about.st_ctime_ns,
                        # on Windows the directory entry holds no inode
                        inode=about.st_ino & 0x7FFF_FFFF_FFFF_FFFF,
                    )
                    files[found.key] = found
                elif stat.S_ISDIR(about.st_mode) and len(below) <= _MOST_DEEP:
                    if os.name == "nt":
                        about = Path(entry.path).stat()
                    if (about.st_dev, about.st_ino) not in entered:
                        entered.add((about.st_dev, about.st_ino))
                        _enter(Path(entry.path), below, entered, files, closed)
            except OSError as error:  # gone since, a dangling or circular link, or not allowed
                if not isinstance(error, FileNotFoundError):
                    closed[key_of(below)] = error.strerror or str(error)


def no_log(name: str) -> bool:
    """Tell whether a name is one of those that systems and programs leave behind, never a log."""
    return _NO_LOG.match(name.casefold()) is not None


def key_of(names: Sequence[str]) -> str:
    """Return a path inside the drop folder as text that the database can hold, whatever bytes its names have."""
    return "/".join(_holdable(name) for name in names)


def _holdable(name: str) -> str:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return name.replace("\\", "\\\\").encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return name


def shown(key: str) -> str:
    """Return a name fit for a terminal, a log line or a message: control and direction characters are spelled out."""
    if key.isprintable():  # as good as every one is
        return key
    return "".join(
        char if unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") else f"\\u{ord(char):04x}"
        for char in key
    )


def kiln_of(key: str, kilns: Sequence[Kiln]) -> Kiln | None:
    """Return the kiln a log belongs to: that of its nearest sub-folder, else that whose pattern its name fits.

    With a single kiln of no pattern in the register, the logs that lie in the drop folder itself are its own.
    """
    *folders, name = key.split("/")
    by_id = {kiln.id.casefold(): kiln for kiln in kilns}
    for folder in reversed(folders):
        if (kiln := by_id.get(folder.casefold())) is not None:
            return kiln
    for kiln in kilns:
        if any(fnmatch.fnmatchcase(name.casefold(), pattern.casefold()) for pattern in kiln.patterns):
            return kiln
    if len(kilns) == 1 and not folders and not kilns[0].patterns:
        return kilns[0]
    return None

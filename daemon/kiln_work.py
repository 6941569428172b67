"""Which logs are which kiln's: what there is to judge where there is no store, kiln by kiln.

Apart from ``daemon.assessing``, as sorting the files needs nothing of what judging them needs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from config.kiln import Kiln
from config.logbook import LogbookEntry
from config.wording import CauseWording
from config.wording import load as load_wording
from daemon import folder
from daemon.logbook import standing


@dataclass(frozen=True, slots=True)
class KilnWork:
    """One kiln's logs: (name in the results, file) pairs, its logbook entries, and what is said of causes."""

    kiln: Kiln
    logs: tuple[tuple[str, Path], ...]
    entries: tuple[LogbookEntry, ...]
    words: Mapping[str, CauseWording]


def works_of(
    paths: Sequence[Path], kilns: Sequence[Kiln], entries: Sequence[LogbookEntry], wording: Path | None = None
) -> list[KilnWork]:
    """Sort the logs found in ``paths`` by kiln; the name of a log's sub-folder is the id of a kiln not registered.

    ``wording`` is the studio's own folder of it. Raises ``daemon.folder.FolderTrouble`` for a path that cannot be
    looked through.
    """
    words = load_wording(wording).causes
    by_id: dict[str, Kiln] = {}
    logs: dict[str, list[tuple[str, Path]]] = {}
    for path in paths:
        for name, file in _found(path):
            own = name if "/" in name else f"{_folder_name(file)}/{name}"
            kiln = folder.kiln_of(own, kilns) or Kiln(id=own.split("/")[-2])
            by_id.setdefault(kiln.id, kiln)
            logs.setdefault(kiln.id, []).append((name, file))
    return [
        KilnWork(
            by_id[kiln], tuple(sorted(logs[kiln])), standing(entry for entry in entries if entry.kiln == kiln), words
        )
        for kiln in sorted(by_id)
    ]


def _found(path: Path) -> list[tuple[str, Path]]:
    """Return (name, file) pairs; the folder looked through, or that of a single file, is spelled out in full."""
    if path.is_dir():
        return [(key, found.path) for key, found in sorted(folder.look(path).files.items())]
    if not path.exists():
        raise folder.FolderTrouble(f"{path}: there is no such file or folder")
    return [(folder.key_of([path.name]), path.parent.resolve() / path.name)]


def _folder_name(file: Path) -> str:
    """Return the name of the folder a file truly lies in (looking a path up costs as much as all else here)."""
    return (file.resolve() if file.is_symlink() else file).parent.name

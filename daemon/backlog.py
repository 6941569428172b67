"""The files that have settled and wait to be read: by kiln, oldest first."""

import heapq
import re
from collections.abc import Collection
from datetime import UTC, datetime

from daemon.folder import Found

FEW = 3
_DATE = re.compile(r"(?<!\d)((?:19|20)\d\d)[-_.]?([01]\d)[-_.]?([0-3]\d)(?!\d)")


class Backlog:
    """Queues of files, one for each kiln."""

    def __init__(self) -> None:
        self._files: dict[str, tuple[str, Found]] = {}  # key -> kiln, file
        self._order: dict[str, list[tuple[str, str]]] = {}  # kiln -> heap of (age, key), some of them gone by now
        self._length: dict[str, int] = {}

    def __contains__(self, key: str) -> bool:
        return key in self._files

    def __len__(self) -> int:
        return len(self._files)

    def add(self, kiln: str, found: Found) -> None:
        """Queue a kiln's file."""
        self.drop(found.key)
        self._files[found.key] = (kiln, found)
        self._length[kiln] = self._length.get(kiln, 0) + 1
        heapq.heappush(self._order.setdefault(kiln, []), (age_order(found), found.key))

    def drop(self, key: str) -> None:
        """Take a file out, if it is queued."""
        if (queued := self._files.pop(key, None)) is not None:
            self._length[queued[0]] -= 1

    def waiting(self, kiln: str) -> int:
        """Return how many of a kiln's files wait."""
        return self._length.get(kiln, 0)

    def has_short_queue(self, but: str) -> bool:
        """Tell whether a kiln other than ``but`` has just a few new files."""
        return any(0 < count <= FEW for kiln, count in self._length.items() if kiln != but)

    def oldest(self, kiln: str) -> Found | None:
        """Take out and return a kiln's oldest file."""
        order = self._order.get(kiln, [])
        while order:
            _, key = heapq.heappop(order)
            queued = self._files.get(key)
            if queued is not None and queued[0] == kiln:
                self.drop(key)
                return queued[1]
        return None

    def next_kiln(self, behind: Collection[str], later: Collection[str] = ()) -> str | None:
        """Return the kiln to work on, among those with files and those with firings yet to be judged (``behind``).

        A short queue comes first, so that a backlog of one kiln holds up no other kiln's new log; the kilns in
        ``later`` have made way once already and do so again.
        """
        kilns = {kiln for kiln, count in self._length.items() if count} | set(behind)
        return min(kilns, key=lambda kiln: (kiln in later, self.waiting(kiln), kiln), default=None)


def age_order(found: Found) -> str:
    """Return what sorts logs by age before they are read: the date in their name, else the file's, then the name."""
    named = _DATE.search(found.path.name)
    if named is not None:
        date = f"{named[1]}-{named[2]}-{named[3]}"
    else:
        date = datetime.fromtimestamp(found.modified_ns / 1e9, UTC).strftime("%Y-%m-%d")
    return f"{date} {found.key}"

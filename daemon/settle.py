"""Which files have stopped changing: unchanged in size, times and inode for the settling time, by a steady clock."""

from dataclasses import dataclass

Mark = tuple[int, int, int, int]


@dataclass(slots=True)
class _Watched:
    mark: Mark
    since: float
    first: float
    peeked: float


class Settling:
    """Keeps, for each file that changed, since when it has not changed again (monotonic seconds)."""

    def __init__(self, settle_s: float, peek_s: float) -> None:
        self._settle_s = settle_s
        self._peek_s = max(peek_s, 2 * settle_s)
        self._watched: dict[str, _Watched] = {}

    def __contains__(self, key: str) -> bool:
        return key in self._watched

    def __len__(self) -> int:
        return len(self._watched)

    def saw(self, key: str, mark: Mark, tick: float, *, unchanged_s: float = 0.0) -> None:
        """Note what was seen of a file; ``unchanged_s`` is how long it surely has not changed at first sight."""
        watched = self._watched.get(key)
        if watched is None:
            self._watched[key] = _Watched(mark, tick - unchanged_s, tick, tick)
        elif watched.mark != mark:
            watched.mark, watched.since = mark, tick

    def forget(self, key: str) -> None:
        """Stop watching a file: it was read, or is gone."""
        self._watched.pop(key, None)

    def watched(self) -> list[str]:
        """Return the files watched."""
        return list(self._watched)

    def settled(self, tick: float) -> list[str]:
        """Return the files that have not changed for the settling time."""
        return [key for key, watched in self._watched.items() if tick - watched.since >= self._settle_s]

    def to_peek(self, tick: float) -> list[str]:
        """Return the files that keep on changing and were not looked into for a while."""
        due = [key for key, watched in self._watched.items() if tick - watched.peeked >= self._peek_s]
        for key in due:
            self._watched[key].peeked = tick
        return due

    def next_due(self) -> float | None:
        """Return the tick at which the next file may have settled or should be looked into, None if none is watched."""
        times = [min(w.since + self._settle_s, w.peeked + self._peek_s) for w in self._watched.values()]
        return min(times, default=None)

"""Which firings there are: the firings found in all the logs of a kiln, put in order, each counted once.

The arrangement depends only on the set of parts, never on the order in which files arrived.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from analysis.reading import FiringLog
from daemon import clock
from daemon.store.parts import Part

HEAD_SAMPLES = 200
HEAD_FROM_C = 200.0
LONGEST_PAUSE = timedelta(hours=6)
LARGEST_OVERLAP = timedelta(minutes=70)  # a clock put back an hour between two files
_FROM_ROWS = 2
_HOW_DATED = {"rows": _FROM_ROWS, "text": _FROM_ROWS, "file name": 1}


@dataclass(frozen=True, slots=True)
class Arranged:
    """One firing: the parts it consists of, in order, and the parts that show the same firing over again."""

    parts: tuple[Part, ...]
    also: tuple[Part, ...] = ()

    @property
    def started(self) -> str:
        """When it began (a stamp)."""
        return self.parts[0].started

    @property
    def keys(self) -> tuple[tuple[str, int], ...]:
        """Contents and places in them, in order."""
        return tuple(part.key for part in self.parts)

    @property
    def logs(self) -> tuple[str, ...]:
        """The names of its files: those it is judged from first, then those that repeat it."""
        return tuple(dict.fromkeys(part.name for part in (*self.parts, *self.also)))


def part_of(log: FiringLog, kiln: str, content: str, number: int, name: str, modified: datetime) -> Part:
    """Return the catalogue's entry for one firing of a file; ``modified`` stands in for a date the log lacks."""
    started = log.started or modified - timedelta(seconds=float(log.elapsed_s[-1]))
    head = _head(log)
    return Part(
        kiln=kiln,
        hash=content,
        part=number,
        name=name,
        started=clock.stamp(started),
        ended=clock.stamp(started + timedelta(seconds=float(log.elapsed_s[-1]))),
        dated=_HOW_DATED.get(log.started_from, 0) if log.started is not None else 0,
        head=head,
        rows=len(log.elapsed_s),
    )


def _head(log: FiringLog) -> str:
    """Return a hash of the first samples that belong to no other firing: those from well above room temperature on.

    A delayed start may log one and the same room temperature for hours.
    """
    hottest = np.nan_to_num(log.zone_c, nan=-999.0).max(axis=1)
    warm = int(np.argmax(hottest > HEAD_FROM_C)) if bool(np.any(hottest > HEAD_FROM_C)) else 0
    span = slice(warm, warm + HEAD_SAMPLES)
    head = hashlib.sha256(np.round(np.nan_to_num(log.zone_c[span], nan=-999.0), 1).tobytes())
    head.update(np.round(log.elapsed_s[span]).tobytes())
    return head.hexdigest()[:20]


def arrange(parts: Iterable[Part]) -> list[Arranged]:
    """Return the firings of one kiln in order; parts that failed are left out, repeats and continuations folded in."""
    usable = sorted(
        (part for part in parts if part.failed is None), key=lambda part: (part.started, part.name, part.part)
    )
    kept, also = _once_each(usable)
    firings: list[Arranged] = []
    for part in kept:
        before = firings[-1].parts[-1] if firings else None
        if before is not None and part.continues == went_on(before, answer=True):
            last = firings.pop()
            firings.append(Arranged((*last.parts, part), (*last.also, *also.get(part.key, ()))))
        else:
            firings.append(Arranged((part,), tuple(also.get(part.key, ()))))
    return firings


def went_on(before: Part, *, answer: bool) -> str:
    """Return the note that a part was compared with the one before it, and whether it continues it."""
    return f"{'+' if answer else '-'}{before.hash}:{before.part}"


def to_compare(firings: Sequence[Arranged]) -> list[tuple[Part, Part]]:
    """Return the neighbours that may be one firing cut in two and have not been compared with each other."""
    kept = [part for firing in firings for part in firing.parts]
    return [(before, part) for before, part in pairwise(kept) if _may_continue(before, part)]


def _may_continue(before: Part, part: Part) -> bool:
    if not (before.dated and part.dated):
        return False
    pause = clock.moment(part.started) - clock.moment(before.ended)
    if not -LARGEST_OVERLAP <= pause <= LONGEST_PAUSE:
        return False
    return part.continues not in (went_on(before, answer=True), went_on(before, answer=False))


def _once_each(parts: Sequence[Part]) -> tuple[list[Part], dict[tuple[str, int], list[Part]]]:
    """Return the parts to be judged and, for each, those that only repeat it.

    Of parts that cover the same time the longest is kept. Parts dated by their rows repeat each other if more than
    half of the shorter lies within the longer; others only if their first samples are equal.
    """
    kept: list[Part] = []
    also: dict[tuple[str, int], list[Part]] = {}
    heads: dict[str, Part] = {}
    for cluster in _clusters(parts):
        chosen: list[Part] = []
        for part in sorted(cluster, key=_longest_first):
            twin = heads.get(part.head)
            if twin is not None and twin.dated == part.dated == _FROM_ROWS:
                twin = None  # two dates from the rows themselves settle it
            same = twin or next((other for other in chosen if _covers(other, part)), None)
            if same is None:
                chosen.append(part)
                heads[part.head] = part
            else:
                also.setdefault(same.key, []).append(part)
        kept += sorted(chosen, key=lambda part: (part.started, part.name, part.part))
    return kept, also


def _longest_first(part: Part) -> tuple[timedelta, int, int, str]:
    return clock.moment(part.started) - clock.moment(part.ended), -part.rows, -part.dated, part.name


def _clusters(parts: Sequence[Part]) -> list[list[Part]]:
    """Group parts (sorted by start) whose times touch."""
    clusters: list[list[Part]] = []
    end = ""
    for part in parts:
        if clusters and part.started <= end:
            clusters[-1].append(part)
        else:
            clusters.append([part])
            end = ""
        end = max(end, part.ended)
    return clusters


def _covers(longer: Part, shorter: Part) -> bool:
    if min(longer.dated, shorter.dated) < _FROM_ROWS:
        return False
    begin = max(clock.moment(longer.started), clock.moment(shorter.started))
    end = min(clock.moment(longer.ended), clock.moment(shorter.ended))
    length = clock.moment(shorter.ended) - clock.moment(shorter.started)
    return end - begin > length / 2 or (length == timedelta(0) and begin <= end)

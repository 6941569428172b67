"""Which firings there are: the firings found in all the logs of a kiln, put in order, each counted once.

The arrangement depends only on the set of parts, never on the order in which files arrived.
"""

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from analysis.reading import FiringLog
from daemon import clock
from daemon.store.parts import Part

HEAD_SAMPLES = 200
HEAD_FROM_C = 200.0
COURSE_S = 600.0
ALIKE_C = 5.0
LONGEST_PAUSE = timedelta(hours=6)
SMALL_OVERLAP = timedelta(minutes=10)
LARGEST_OVERLAP = timedelta(minutes=70)  # a clock put back an hour between two files
_FROM_ROWS = 2
_HOW_DATED = {"rows": _FROM_ROWS, "text": _FROM_ROWS, "file name": 1}
_FROM_FILE = 0


@dataclass(frozen=True, slots=True)
class Arranged:
    """One firing: the parts it consists of, in order, and the parts that show the same firing over again.

    ``clashes`` names the log of an earlier firing whose times overlap with this one's; ``by_name`` says that the
    firing has its place from its file's name, for want of any date.
    """

    parts: tuple[Part, ...]
    also: tuple[Part, ...] = ()
    clashes: str | None = None
    by_name: bool = False

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
        dated=_HOW_DATED.get(log.started_from, _FROM_FILE) if log.started is not None else _FROM_FILE,
        head=head,
        rows=len(log.elapsed_s),
        course=_course(log),
    )


def _head(log: FiringLog) -> str:
    """Return a hash of the first samples that belong to no other firing: those from well above room temperature on.

    A delayed start may log one and the same room temperature for hours.
    """
    is_warm = np.fmax.reduce(log.zone_c, axis=1) > HEAD_FROM_C
    warm = int(is_warm.argmax())  # 0 if it never gets warm
    span = slice(warm, warm + HEAD_SAMPLES)
    zone_c = log.zone_c[span]
    if not np.isfinite(zone_c).all():
        zone_c = np.nan_to_num(zone_c, nan=-999.0)
    head = hashlib.sha256(np.round(zone_c, 1).tobytes())
    head.update(np.round(log.elapsed_s[span]).tobytes())
    return head.hexdigest()[:20]


def _course(log: FiringLog) -> str:
    """Return the mean of the zones every ten minutes, in whole deg C."""
    elapsed, mean = log.elapsed_s, log.zone_c.sum(axis=1) / log.zone_c.shape[1]
    if np.isnan(mean).any():
        known = ~np.isnan(log.zone_c)
        count = known.sum(axis=1)
        some = count > 0
        if not some.any():
            return ""
        elapsed, mean = elapsed[some], np.where(known, log.zone_c, 0.0).sum(axis=1)[some] / count[some]
    at = np.arange(0.0, float(log.elapsed_s[-1]) + 1.0, COURSE_S)
    return " ".join(map(str, np.rint(np.interp(at, elapsed, mean)).astype(np.int64).tolist()))


def arrange(parts: Iterable[Part]) -> list[Arranged]:
    """Return the firings of one kiln in order; parts that failed are left out, repeats and continuations folded in."""
    as_dated = {part.key: part for part in parts if part.failed is None}
    usable = sorted(_one_after_another(list(as_dated.values())), key=lambda part: (part.started, part.name, part.part))
    kept, also = _once_each(usable)
    firings: list[Arranged] = []
    latest: Part | None = None
    for part in kept:
        before = firings[-1].parts[-1] if firings else None
        if before is not None and part.continues == went_on(before, answer=True):
            last = firings.pop()
            firings.append(replace(last, parts=(*last.parts, part), also=(*last.also, *also.get(part.key, ()))))
        else:
            clashes = latest.name if latest is not None and _overlap(latest, part) > SMALL_OVERLAP else None
            moved = part.started != as_dated[part.key].started
            firings.append(Arranged((part,), tuple(also.get(part.key, ())), clashes, moved))
        if latest is None or part.ended > latest.ended:
            latest = part
    return firings


def _one_after_another(parts: Sequence[Part]) -> list[Part]:
    """Return the parts with those that have no date but their file's put so that none begins before another's end.

    One kiln's firings follow one another. Where the files' dates say otherwise they are not when the firings ended
    (the files were copied in one go, or one file holds several firings); then the order of the names decides, and
    each part ends, at the latest, when the next one begins.
    """
    undated = sorted((part for part in parts if part.dated == _FROM_FILE), key=lambda part: part.started)
    moved = [part for part in parts if part.dated != _FROM_FILE]
    following: str | None = None
    for cluster in reversed(_clusters(undated)):
        for part in sorted(cluster, key=_by_name, reverse=True):
            ended = part.ended if following is None else min(part.ended, following)
            length = clock.moment(part.ended) - clock.moment(part.started)
            following = part.started if ended == part.ended else clock.stamp(clock.moment(ended) - length)
            moved.append(replace(part, started=following, ended=ended))
    return moved


def _by_name(part: Part) -> tuple[list[tuple[int, str]], int]:
    """Return what sorts parts as a person would: by name, numbers in it by their value, then by place in the file."""
    pieces = re.split(r"(\d+)", part.name.casefold())
    return [(int(piece), "") if piece.isdecimal() else (-1, piece) for piece in pieces], part.part


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
    half of the shorter lies within the longer and their temperatures agree (at the same time, or since their start if
    a clock was set in between); others only if their first samples are equal.
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


def _overlap(first: Part, second: Part) -> timedelta:
    """Return how long two parts cover the same time; both must know their time from their rows."""
    if min(first.dated, second.dated) < _FROM_ROWS:
        return timedelta(0)
    begin = max(clock.moment(first.started), clock.moment(second.started))
    return min(clock.moment(first.ended), clock.moment(second.ended)) - begin


def _covers(longer: Part, shorter: Part) -> bool:
    length = clock.moment(shorter.ended) - clock.moment(shorter.started)
    if min(longer.dated, shorter.dated) < _FROM_ROWS or _overlap(longer, shorter) * 2 < length:
        return False
    apart_s = (clock.moment(shorter.started) - clock.moment(longer.started)).total_seconds()
    return _alike(longer.course, shorter.course, apart_s) or _alike(longer.course, shorter.course, 0.0)


def _alike(longer: str, shorter: str, apart_s: float) -> bool:
    """Tell whether two courses agree where they overlap, the shorter moved on by so many seconds.

    The same time is not the same firing: a log may run on through its cooling into the next firing's.
    """
    first, second = (np.array(course.split(), dtype=np.float64) for course in (longer, shorter))
    at = np.arange(second.size) * COURSE_S + apart_s
    within = (at >= 0) & (at <= (first.size - 1) * COURSE_S)
    if not within.any():
        return False
    difference = np.abs(np.interp(at[within], np.arange(first.size) * COURSE_S, first) - second[within])
    return float(np.median(difference)) <= ALIKE_C


def as_placed(firing: Arranged, log: FiringLog) -> FiringLog:
    """Return a firing's log with the beginning the catalogue gave it, and a sentence for each doubt about its time."""
    if firing.clashes is None and not firing.by_name:
        return log
    said = list(log.problems)
    if firing.clashes is not None:
        said.append(
            f"its times overlap with {firing.clashes}: that log ran on into this firing, or one of the clocks is wrong"
        )
    if firing.by_name:
        said.append(
            "the log holds no date and its file's date cannot be the firing's: its place among the firings is taken "
            "from the file's name, and its date is a guess"
        )
        log = replace(log, started=clock.moment(firing.started))
    return replace(log, problems=tuple(said))

"""The firings of each kiln as judged, with the kiln's state after some, so that any later one can be judged again.

Assessment and state are JSON, packed: a database of many years stays a few hundred megabytes.
"""

import json
import zlib
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import TypeAdapter
from sqlite_utils import Database

from analysis.assessment import Assessment
from analysis.state import KilnState
from daemon import clock


@dataclass(frozen=True, slots=True)
class StoredFiring:
    """One judged firing of a kiln: ``index`` counts from 0, ``logs`` are the files it was read from."""

    id: int
    kiln: str
    index: int
    logs: tuple[str, ...]
    assessment: Assessment


@dataclass(frozen=True, slots=True)
class FiringRow:
    """A firing's row without what was said of it. ``parts`` are (hash, part), the first its identity."""

    id: int
    kiln: str
    position: int
    started: str
    parts: tuple[tuple[str, int], ...]
    logs: tuple[str, ...]
    judged: bool


STATES_KEPT = 8
"""The state after each of the newest firings is kept, and of the older ones after each so-manieth: a late or corrected
log has at most so many firings before it judged again too."""


@cache
def _assessments() -> TypeAdapter[Assessment]:
    return TypeAdapter(Assessment)


@cache
def _states() -> TypeAdapter[KilnState]:
    return TypeAdapter(KilnState)


def of_kiln(db: Database, kiln: str, *, newest: int = -1) -> list[StoredFiring]:
    """Return a kiln's judged firings, oldest first; only so many of the newest if ``newest`` is given."""
    sql = "select id, kiln, position, logs, assessment from firings where kiln = ? and assessment is not null"
    return [_stored(row) for row in db.query(f"{sql} order by position desc limit ?", [kiln, newest])][::-1]


def latest(db: Database, kiln: str) -> StoredFiring | None:
    """Return a kiln's newest judged firing."""
    return next(iter(of_kiln(db, kiln, newest=1)), None)


def _stored(row: dict[str, Any]) -> StoredFiring:
    return StoredFiring(
        id=row["id"],
        kiln=row["kiln"],
        index=row["position"],
        logs=tuple(json.loads(row["logs"])),
        assessment=_assessments().validate_json(zlib.decompress(row["assessment"])),
    )


def rows(db: Database, kiln: str) -> list[FiringRow]:
    """Return a kiln's firings in order, judged or not."""
    sql = (
        "select id, kiln, position, started, parts, logs, assessment is not null as judged from firings "
        "where kiln = ? order by position"
    )
    return [
        FiringRow(
            id=row["id"],
            kiln=row["kiln"],
            position=row["position"],
            started=row["started"],
            parts=tuple((str(content), int(part)) for content, part in json.loads(row["parts"])),
            logs=tuple(json.loads(row["logs"])),
            judged=bool(row["judged"]),
        )
        for row in db.query(sql, [kiln])
    ]


def arrange(
    db: Database,
    kiln: str,
    firing_id: int | None,
    position: int,
    started: str,
    parts: tuple[tuple[str, int], ...],
    logs: tuple[str, ...],
) -> int:
    """Write a firing's place and sources (not what is said of it) and return its id; inside ``write_tx``."""
    values = [position, started, json.dumps(parts), json.dumps(logs)]
    if firing_id is not None:
        db.execute(
            "update firings set position = ?, started = ?, parts = ?, logs = ? where id = ?", [*values, firing_id]
        )
        return firing_id
    sql = "insert into firings (kiln, position, started, parts, logs) values (?, ?, ?, ?, ?)"
    return int(db.execute(sql, [kiln, *values]).lastrowid or 0)


def remove(db: Database, firing_id: int) -> None:
    """Remove a firing whose sources are gone; inside ``write_tx``."""
    db.execute("delete from firings where id = ?", [firing_id])


def put_assessment(db: Database, firing_id: int, assessment: Assessment, state: KilnState) -> None:
    """Keep what is said of a firing and the kiln's state after it; inside ``write_tx``."""
    values = [
        zlib.compress(_assessments().dump_json(assessment)),
        zlib.compress(_states().dump_json(state)),
        clock.stamp(clock.now()),
        firing_id,
    ]
    db.execute("update firings set assessment = ?, state_after = ?, assessed_at = ? where id = ?", values)
    db.execute(  # the one that is no longer among the newest, unless it is one of those that stay
        "update firings set state_after = null where state_after is not null and (kiln, position) = "
        "(select kiln, position - ? from firings where id = ?) and position % ? <> 0",
        [STATES_KEPT, firing_id, STATES_KEPT],
    )


def state_before(db: Database, kiln: str, position: int) -> tuple[int, KilnState | None]:
    """Return from which firing at or before ``position`` on to judge, and the kiln's state before that one.

    It is the nearest whose state before it is kept (and of this version); else the first, (0, None).
    """
    sql = (
        "select position, state_after from firings where kiln = ? and position < ? and state_after is not null "
        "order by position desc"
    )
    for row in db.query(sql, [kiln, position]):
        try:
            kept = zlib.decompress(row["state_after"])
            state = _states().validate_json(kept)
        except (ValueError, zlib.error):
            continue
        # what a version that kept other things wrote may be read as if those it lacks were empty
        if _states().dump_json(state) == kept:
            return row["position"] + 1, state
    return 0, None


def count(db: Database) -> dict[str, int]:
    """Return the number of judged firings of each kiln."""
    sql = "select kiln, count(*) as n from firings where assessment is not null group by kiln"
    return {row["kiln"]: row["n"] for row in db.query(sql)}

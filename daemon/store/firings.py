"""The firings of each kiln as judged, with the kiln's state after each, so that any later one can be judged again."""

import json
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
        assessment=_assessments().validate_json(row["assessment"]),
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
    db.execute(
        "update firings set assessment = ?, state_after = ?, assessed_at = ? where id = ?",
        [
            _assessments().dump_json(assessment).decode(),
            _states().dump_json(state).decode(),
            clock.stamp(clock.now()),
            firing_id,
        ],
    )


def state_after(db: Database, firing_id: int) -> KilnState | None:
    """Return the kiln's state after a firing, or None if it was not judged or its state is of another version."""
    row = next(db.query("select state_after from firings where id = ?", [firing_id]), None)
    if row is None or row["state_after"] is None:
        return None
    try:
        return _states().validate_json(row["state_after"])
    except ValueError:
        return None


def count(db: Database) -> dict[str, int]:
    """Return the number of judged firings of each kiln."""
    sql = "select kiln, count(*) as n from firings where assessment is not null group by kiln"
    return {row["kiln"]: row["n"] for row in db.query(sql)}

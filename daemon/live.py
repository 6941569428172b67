"""Live watch: a log that is still growing is judged as it grows, and a person told once of each thing that is so.

What is seen is decided in ``analysis.live``; here it is kept from row to row, so that a state ends only after it has
been gone for a while, and turned into alerts. It is no safety device.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache

from pydantic import TypeAdapter
from sqlite_utils import Database

from analysis.course import PastCourse
from analysis.live import LiveState, LiveView, silence, watch
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln
from config.settings import Settings
from daemon.alerts.desk import Judged, sighted
from daemon.alerts.incident import Facts, Sighted
from daemon.alerts.message import when
from daemon.clock import stamp

GONE_FOR_S = 1200.0
"""A state that was not seen for so long (in the log's own time) is over."""
FORGOTTEN_AFTER = timedelta(hours=24)
PAST_FIRINGS = 24
SILENT_WHEN_CLOSED_S = 600.0
"""A log closed in mid-firing after so long without a row went silent; sooner, it was closed for another reason."""
WATCHED_S = 600.0
"""A log without dated rows must have been seen growing for so long before its silence means anything."""
ROWS_ARE_NEW = timedelta(hours=2)

_grown: dict[tuple[str, str], float] = {}
"""When each log last grew, on the steady clock: neither a jump of the clock nor a stop of Coilwatch is silence."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A state now standing and when it was last seen, in seconds of the log."""

    state: LiveState
    seen_s: float
    since: datetime


@dataclass(frozen=True, slots=True)
class Watched:
    """What is remembered of a growing log. ``closed``: taken as a firing, in mid-firing, with its silence told."""

    view: LiveView
    standing: tuple[Standing, ...] = ()
    first_at: datetime | None = None
    row_at: datetime | None = None
    closed: bool = False
    silent: LiveState | None = None
    started: datetime | None = field(default=None)


@cache
def _form() -> TypeAdapter[Watched]:
    return TypeAdapter(Watched)


def watch_live(
    db: Database,
    kiln: Kiln,
    log: FiringLog,
    name: str,
    settings: Settings,
    now: datetime,
    firings: Sequence[Judged] = (),
    *,
    steady_s: float | None = None,
) -> LiveView:
    """Judge a log that has grown and owe what there is to tell. Within the caller's transaction.

    ``firings`` are the kiln's judged firings, oldest first, for the programme's usual course.
    """
    view = watch(kiln, log, past_courses(firings))
    before = _load(db, kiln.id, name)
    grew = before is None or view.elapsed_s > before.view.elapsed_s
    if grew:
        _grown[kiln.id, name] = time.monotonic() if steady_s is None else steady_s
    standing = _carried(before.standing if before else (), view, now)
    row_at = None if log.started is None else log.started + timedelta(seconds=view.elapsed_s)
    first_at = before.first_at if before and before.first_at else now
    silent = None if grew else (before.silent if before else None)
    watched = Watched(view, standing, first_at, row_at, silent=silent, started=log.started)
    _save(db, kiln.id, name, watched, now)
    if settings.alerts.live:
        _tell(db, kiln.id, name, watched, settings, now)
    if before is None:
        _forget_others(db, kiln.id, name, settings, now)
    return view


def live_over(
    db: Database, kiln: Kiln, name: str, settings: Settings, now: datetime, *, steady_s: float | None = None
) -> None:
    """The log was taken as a firing, or set aside: nothing of it is live any more. Call it after ``alerts.record``.

    A log that ended in mid-firing while it was being watched went silent: that is told, and stands until the kiln's
    next log grows.
    """
    watched = _load(db, kiln.id, name)
    if watched is None:
        return
    grown = _grown.pop((kiln.id, name), None)
    silent = watched.silent
    if silent is None and _was_live(watched, now):
        steady = time.monotonic() if steady_s is None else steady_s
        silent_s = (now - (watched.row_at or now)).total_seconds() if grown is None else steady - grown
        silent = silence(watched.view, silent_s, SILENT_WHEN_CLOSED_S)
    if silent is None or not settings.alerts.live:
        _end(db, kiln.id, name, settings, now, "The firing has ended.")
        return
    _save(db, kiln.id, name, replace(watched, standing=(), closed=True, silent=silent), now)
    _tell(db, kiln.id, name, replace(watched, standing=(), silent=silent), settings, now)


def watch_silence(db: Database, settings: Settings, now: datetime, *, steady_s: float | None = None) -> None:
    """Look at every watched log that did not grow; each minute, within the caller's transaction."""
    steady = time.monotonic() if steady_s is None else steady_s
    limit = settings.service.silent_after_min * 60.0
    for row in list(db.query("select kiln, log, grown_at, record from live_watch")):
        kiln, name = str(row["kiln"]), str(row["log"])
        watched = _form().validate_json(row["record"])
        silent_s = steady - _grown.setdefault((kiln, name), steady)
        if watched.closed or silent_s > FORGOTTEN_AFTER.total_seconds():
            if silent_s > FORGOTTEN_AFTER.total_seconds():
                _end(db, kiln, name, settings, now, "Nothing more came of this firing.", in_silence=watched.closed)
            continue
        state = silence(watched.view, silent_s, limit) if _was_live(watched, now) else None
        if state is not None and watched.silent is None and settings.alerts.live:
            watched = replace(watched, silent=state)
            _save(db, kiln, name, watched, None)
            _tell(db, kiln, name, watched, settings, now)


def past_courses(firings: Sequence[Judged]) -> tuple[PastCourse, ...]:
    """Return the newest complete firings as courses."""
    done = [f.assessment for f in firings if f.assessment.end == "complete"][-PAST_FIRINGS:]
    return tuple(
        PastCourse(
            a.measures.trace.elapsed_s, a.measures.trace.temperature_c, a.measures.trace.set_point_c, a.programme
        )
        for a in done
        if a.measures.trace.elapsed_s
    )


def _was_live(watched: Watched, now: datetime) -> bool:
    """Whether this log really was a firing under way: its rows were new, or it was seen growing for a while."""
    first = watched.first_at or now
    if watched.row_at is not None and abs(watched.row_at - first) <= ROWS_ARE_NEW:
        return True
    return (now - first).total_seconds() >= WATCHED_S and watched.row_at is None


def _carried(standing: Sequence[Standing], view: LiveView, now: datetime) -> tuple[Standing, ...]:
    """Return what stands now: seen now, or not gone for long enough."""
    kept = {one.state.kind: one for one in standing if view.elapsed_s - one.seen_s < GONE_FOR_S}
    for state in view.states:
        since = kept[state.kind].since if state.kind in kept else now - timedelta(seconds=state.lasting_s)
        kept[state.kind] = Standing(state, view.elapsed_s, since)
    return tuple(kept.values())


def _tell(db: Database, kiln: str, name: str, watched: Watched, settings: Settings, now: datetime) -> None:
    facts = [_facts(one.state, name, one.since, watched, settings, now) for one in watched.standing]
    if watched.silent is not None:
        since = now - timedelta(seconds=watched.silent.lasting_s)
        facts.append(_facts(watched.silent, name, since, watched, settings, now))
    closing = "The firing has ended." if watched.closed else ""
    sighted(db, Sighted("live", kiln, tuple(facts), scope=name, closing=closing), settings, now)


def _facts(state: LiveState, name: str, since: datetime, watched: Watched, settings: Settings, now: datetime) -> Facts:
    text = state.text
    if state.end_s is not None:
        ahead = timedelta(seconds=state.end_s)
        end = watched.started + ahead if watched.started else now + ahead - timedelta(seconds=watched.view.elapsed_s)
        text = text.replace("{end}", when(end, settings.studio.time_zone))
    if state.zone:
        text = f"Zone {state.zone}: {text}"
    return Facts(
        cause=state.kind,
        severity=state.severity,
        zone=state.zone,
        scope=name,
        since=since,
        text=text,
        inspection=state.first_look,
    )


def _forget_others(db: Database, kiln: str, name: str, settings: Settings, now: datetime) -> None:
    """A new log of the kiln grows: what an earlier one left standing is over."""
    others = db.query("select log from live_watch where kiln = ? and log != ?", [kiln, name])
    for other in [str(row["log"]) for row in others]:
        watched = _load(db, kiln, other)
        if watched is not None and watched.closed:
            _end(db, kiln, other, settings, now, "The kiln's next log grows.", in_silence=True)


def _end(
    db: Database, kiln: str, name: str, settings: Settings, now: datetime, closing: str, *, in_silence: bool = False
) -> None:
    sighted(db, Sighted("live", kiln, (), scope=name, closing=closing, in_silence=in_silence), settings, now)
    db.execute("delete from live_watch where kiln = ? and log = ?", [kiln, name])
    _grown.pop((kiln, name), None)


def _load(db: Database, kiln: str, name: str) -> Watched | None:
    rows = list(db.query("select record from live_watch where kiln = ? and log = ?", [kiln, name]))
    return _form().validate_json(rows[0]["record"]) if rows else None


def _save(db: Database, kiln: str, name: str, watched: Watched, grown_at: datetime | None) -> None:
    record = _form().dump_json(watched).decode("utf-8")
    if grown_at is None:
        db.execute("update live_watch set record = ? where kiln = ? and log = ?", [record, kiln, name])
        return
    db.execute(
        """insert into live_watch (kiln, log, grown_at, record) values (?, ?, ?, ?)
           on conflict (kiln, log) do update set grown_at = excluded.grown_at, record = excluded.record""",
        [kiln, name, stamp(grown_at), record],
    )

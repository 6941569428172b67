"""Where what was seen becomes messages owed: the life cycle applied to the database, within the caller's transaction.

Every function here reads the kiln's alerts, lets ``lifecycle`` decide, and writes alerts, transitions and outbox
rows together, so that a kill leaves either all of it or nothing.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

from sqlite_utils import Database

from analysis.assessment import Assessment
from analysis.findings import Severity
from config.alerts import AlertSettings
from config.kiln import Kiln, TemperatureUnit
from config.settings import Settings
from config.units import render
from config.wording import Wording
from config.wording import load as load_wording
from daemon.alerts import letters, rows
from daemon.alerts.facts import firing_seen
from daemon.alerts.incident import Acknowledged, Alert, Change, Event, Facts, Muted, Sighted, Telling
from daemon.alerts.lifecycle import observe
from daemon.alerts.message import Voice, clean, compose
from daemon.alerts.policy import Policy
from daemon.alerts.telling import tell
from daemon.clock import stamp

MACHINE_ROOM = ""
"""Stands for the kiln where an alert is about the computer, the folder or a target."""
_WITH_PICTURE = frozenset({"raised", "returned", "worsened"})


class Judged(Protocol):
    """A judged firing as the store keeps it: its number within the kiln and what is said of it."""

    @property
    def index(self) -> int: ...  # noqa: D102
    @property
    def assessment(self) -> Assessment: ...  # noqa: D102


def policy_of(alerts: AlertSettings) -> Policy:
    """Return the life cycle's figures as the owner set them."""
    return Policy(
        confirm_firings=alerts.confirm_firings,
        clear_firings=alerts.clear_firings,
        power_fall=alerts.power_fall,
        repeat=timedelta(days=alerts.repeat_days),
        urgent_repeat=timedelta(hours=alerts.urgent_repeat_h),
        escalate_after=timedelta(hours=alerts.escalate_after_h),
        escalates=bool(alerts.told_on_escalation),
    )


def record(
    db: Database, kiln: Kiln, stored: Judged, settings: Settings, now: datetime, *, backlog: bool = False
) -> tuple[str, ...]:
    """Take in one judged firing; in a backlog nothing is told yet. Returns the incidents told of.

    Call it for every firing in their order. Judging firings again from some number on is allowed and tells nothing
    twice.
    """
    return _apply(db, kiln.id, (firing_seen(stored.assessment, kiln.id, stored.index),), settings, now, quietly=backlog)


def sighted(db: Database, event: Sighted, settings: Settings, now: datetime) -> tuple[str, ...]:
    """Take in what is now true of a growing log or of the machine room. Returns the incidents told of."""
    return _apply(db, event.kiln, (event,), settings, now)


def trouble(
    db: Database, key: str, text: str, severity: Severity, settings: Settings, now: datetime, *, remedy: str = ""
) -> tuple[str, ...]:
    """Tell of a trouble of the machine room, known by its key, e.g. ``drop folder`` or ``target:phone``."""
    facts = Facts(cause=key, severity=severity, text=text, since=now, inspection=remedy)
    return sighted(db, Sighted("machine", MACHINE_ROOM, (facts,), causes=(key,)), settings, now)


def trouble_over(
    db: Database, key: str, settings: Settings, now: datetime, *, in_silence: bool = False
) -> tuple[str, ...]:
    """Tell that a trouble is over, if it was told (unless ``in_silence``); does nothing if there was none."""
    return sighted(db, Sighted("machine", MACHINE_ROOM, (), causes=(key,), in_silence=in_silence), settings, now)


def tick(db: Database, settings: Settings, now: datetime) -> tuple[str, ...]:
    """Let time pass: repeats, escalations, ends of mutes, what a backlog left untold, kilns no longer registered."""
    told: tuple[str, ...] = ()
    known = {MACHINE_ROOM, *(kiln.id for kiln in settings.kilns)}
    for kiln in rows.kilns(db):
        told += _apply(db, kiln, () if kiln in known else _all_over(db, kiln), settings, now)
    return told


def _all_over(db: Database, kiln: str) -> tuple[Sighted, ...]:
    """Return the end of all that stands of a kiln that was taken out of the register."""
    closing = "This kiln is no longer in the register: nothing more is told of it."
    return tuple(
        Sighted(alert.source, kiln, (), scope=alert.facts.scope, causes=(alert.cause,), closing=closing)
        for alert in rows.standing(db, kiln)
    )


def acknowledge(db: Database, what: str, settings: Settings, now: datetime) -> list[Alert]:
    """Acknowledge an incident, or all that stands of a kiln. Returns the alerts meant; empty if there are none."""
    meant = _meant(db, what)
    for alert in meant:
        _apply(db, alert.kiln, (Acknowledged(alert.incident),), settings, now)
    return meant


def mute(db: Database, what: str, until: datetime | None, settings: Settings, now: datetime) -> list[Alert]:
    """Mute an incident until a moment, or a kiln's warnings (``what`` a kiln's id); None ends it.

    Returns the alerts now standing that are meant. Raises KeyError if ``what`` is neither.
    """
    if any(kiln.id == what for kiln in settings.kilns):
        rows.mute_kiln(db, what, until)
        _apply(db, what, (), settings, now)
        return rows.standing(db, what)
    alert = rows.of_incident(db, what)
    if alert is None:
        raise KeyError(what)
    _apply(db, alert.kiln, (Muted(alert.incident, until),), settings, now)
    return [alert]


def open_alerts(db: Database, kiln: str | None = None) -> list[Alert]:
    """Return the alerts that stand, of one kiln or of all."""
    return rows.standing(db, kiln)


def summary(db: Database, unit: TemperatureUnit = "C") -> list[dict[str, Any]]:
    """Return what stands, for ``status``: plain values, texts in the studio's unit, no secret among them."""
    return [
        {
            "incident": alert.incident,
            "kiln": alert.kiln,
            "source": alert.source,
            "cause": alert.cause,
            "severity": alert.severity,
            "state": alert.state,
            "zone": alert.zone,
            "circuit": alert.circuit,
            "since": stamp(alert.since) if alert.since else None,
            "raised_at": stamp(alert.raised_at) if alert.raised_at else None,
            "told_at": stamp(alert.told_at) if alert.told_at else None,
            "muted_until": stamp(alert.muted_until) if alert.muted_until else None,
            "hidden_by": alert.hidden_by,
            "text": clean(render(alert.facts.text, unit)),
        }
        for alert in rows.standing(db)
    ]


def _meant(db: Database, what: str) -> list[Alert]:
    alert = rows.of_incident(db, what)
    if alert is not None:
        return [alert] if alert.standing else []
    return rows.standing(db, what) if what != MACHINE_ROOM else []


def _apply(
    db: Database, kiln: str, events: Iterable[Event], settings: Settings, now: datetime, *, quietly: bool = False
) -> tuple[str, ...]:
    policy = policy_of(settings.alerts)
    before = rows.load(db, kiln, now - policy.return_within)
    after = before
    changes: list[Change] = []
    for event in events:
        after, made = observe(after, event, policy, now)
        changes.extend(made)
    tellings: tuple[Telling, ...] = ()
    if not quietly and settings.alerts.targets:  # with nobody to tell, nothing counts as told
        after, tellings = tell(after, policy, now, kiln_muted_until=rows.kiln_muted_until(db, kiln))
    rows.save(db, before, after, changes, now)
    for telling in tellings:
        _owe(db, telling, settings, now)
    return tuple(telling.alert.incident for telling in tellings)


def _owe(db: Database, telling: Telling, settings: Settings, now: datetime) -> None:
    alert = telling.alert
    message = compose(telling, voice_for(settings, alert.kiln), now)
    letters.put(
        db,
        incident=alert.incident,
        kiln=alert.kiln,
        kind=telling.kind,
        number=telling.number,
        severity=alert.severity,
        message=message,
        targets=_targets(db, telling, settings.alerts),
        now=now,
        picture=settings.alerts.pictures and alert.source == "firing" and telling.kind in _WITH_PICTURE,
    )


def _targets(db: Database, telling: Telling, alerts: AlertSettings) -> list[str]:
    """Who is told: the second group from the escalation on, a closing whoever was told before."""
    alert = telling.alert
    if telling.kind == "cleared":
        return [target for target in letters.told_targets(db, alert.incident) if target in alerts.targets]
    if telling.kind == "escalated":
        return list(alerts.told_on_escalation)
    second = alerts.told_on_escalation if alert.escalated_at is not None else ()
    about = alert.cause.removeprefix("target:") if alert.source == "machine" else ""
    return [target for target in dict.fromkeys((*alerts.first_told, *second)) if target != about]


def voice_for(settings: Settings, kiln: str) -> Voice:
    """Return the words and units messages about a kiln are written in."""
    title = next((known.title for known in settings.kilns if known.id == kiln), kiln)
    return Voice(title, settings.studio.temperature_unit, settings.studio.time_zone, _wording(settings.folders.wording))


@lru_cache(maxsize=4)
def _wording(folder: Path | None) -> Wording:
    return load_wording(folder)

"""How things stand, for ``coilwatch status`` and for monitors: every file, kiln, alert and message, and the service."""

from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from sqlite_utils import Database

from config.settings import Settings
from daemon import alerts, backup, clock, outbox
from daemon.store import files, firings, kilns, notes
from daemon.store.files import SeenFile

_STALE = 3.0


def standing(db: Database, settings: Settings, *, running: bool, every_file: bool = False) -> dict[str, Any]:
    """Return everything ``status`` shows, ready for JSON; of the files all, or those a person may want to see to."""
    seen = files.all_files(db).values() if every_file else files.in_states(db, *files.ATTENTION, "growing")
    noted = notes.every(db)
    judged = firings.count(db)
    states = files.counts(db)
    return {
        "at": clock.stamp(clock.now()),
        "service": _service(settings, noted, running=running),
        "progress": {
            "waiting": states.get("waiting", 0) + states.get("settling", 0),
            "taken_in": states.get("taken in", 0) + states.get("same as another", 0),
            "kilns_being_judged": [
                kiln for kiln in kilns.behind(db) if any(each.id == kiln for each in settings.kilns)
            ],
        },
        "kilns": [_kiln(db, settings, kiln.id, kiln.title, judged.get(kiln.id, 0)) for kiln in settings.kilns],
        "alerts": alerts.summary(db, settings.studio.temperature_unit),
        "outbox": outbox.summary(db),
        "questions": files.questions(db),
        "files": {"states": states, "listed": [_file(file) for file in seen]},
    }


def needs_attention(standing: dict[str, Any]) -> list[str]:
    """Return in plain sentences what a person should see to; empty if all is well."""
    said = []
    service = standing["service"]
    if service["folder"]:
        said.append(f"the drop folder cannot be read: {service['folder']}")
    if service["running"] and service["late"]:
        said.append("the service runs but has not looked through the drop folder lately")
    states = standing["files"]["states"]
    said += [f"{states[state]} file(s): {state}" for state in files.ATTENTION if states.get(state)]
    said += [
        f"{alert['kiln']}: {alert['cause'].replace('_', ' ')} ({alert['severity']})" if alert["kiln"] else alert["text"]
        for alert in standing["alerts"]
        if alert["severity"] != "info" and alert["state"] == "open" and not alert["hidden_by"]
    ]
    if standing["outbox"]["given_up"]:
        said.append(f"{standing['outbox']['given_up']} message(s) could not be delivered")
    return said


def _service(settings: Settings, noted: dict[str, dict[str, str]], *, running: bool) -> dict[str, Any]:
    looked = noted.get("looked")
    limit = timedelta(seconds=_STALE * settings.service.scan_s + 60)
    kept = backup.backups(settings.folders.backups)
    return {
        "running": running,
        "looked_at": looked["at"] if looked else None,
        "late": looked is None or clock.now() - datetime.fromisoformat(looked["at"]) > limit,
        "folder": noted.get("folder", {}).get("value", ""),
        "heartbeat": noted.get("heartbeat"),
        "backup": kept[0].name if kept else None,
        "drop": str(settings.folders.drop),
        "reports": str(settings.folders.reports),
    }


def _kiln(db: Database, settings: Settings, kiln_id: str, title: str, judged: int) -> dict[str, Any]:
    newest = firings.latest(db, kiln_id)
    row: dict[str, Any] = {"id": kiln_id, "name": title, "firings": judged, "report": str(settings.folders.reports)}
    if newest is not None:
        assessment = newest.assessment
        row |= {
            "last_firing": clock.stamp(assessment.started) if assessment.started else None,
            "last_log": newest.logs[0],
            "end": assessment.end,
            "power": asdict(assessment.power),
            "reference": assessment.reference,
            "outlook": asdict(assessment.outlook) if assessment.outlook else None,
            "findings": [
                {"cause": found.cause, "severity": found.severity, "probability": found.probability}
                for found in assessment.findings
            ],
            "missing": list(assessment.missing),
        }
    return row


def _file(file: SeenFile) -> dict[str, Any]:
    return {
        "file": file.path,
        "kiln": file.kiln,
        "state": file.state,
        "reason": file.reason,
        "size": file.size,
        "seen_at": file.seen_at,
        "changed_at": file.changed_at,
        "next_try_at": file.next_try_at,
    }

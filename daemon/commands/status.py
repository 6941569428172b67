"""``coilwatch status``: how things stand."""

import argparse
import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

EXAMPLE = "examples:\n  coilwatch status\n  coilwatch status --files\n  coilwatch status --json"
_MOST_FILES = 20


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "status",
        help="kilns, open alerts, files and messages at a glance",
        description="Shows the service, every kiln, open alerts, messages not yet delivered, questions only you can "
        "answer, and the files that were not taken in, each with the reason. Exit code 1: something needs attention.",
        epilog=EXAMPLE,
    )
    parser.add_argument("--files", action="store_true", help="list every file seen, with its state and the reason")
    parser.add_argument("--json", action="store_true", help="all of it as one JSON object, for monitors")


def run(args: argparse.Namespace) -> int:
    """Print how things stand."""
    from config import settings as config
    from daemon.standing import needs_attention, standing
    from daemon.store.database import open_store

    settings = config.load(args.settings)
    db = open_store(settings.folders.database)
    try:
        running = _is_running(settings.folders.data / "service.lock")
        stands = standing(db, settings, running=running, every_file=args.files)
    finally:
        db.close()
    attention = needs_attention(stands)
    if args.json:
        print(json.dumps(stands | {"attention": attention}, ensure_ascii=False, indent=1))
    else:
        from zoneinfo import ZoneInfo

        from daemon.folder import shown

        zone = ZoneInfo(settings.studio.time_zone)
        for line in _lines(stands, attention, zone, every_file=args.files):
            print(shown(line))
    return 1 if attention else 0


def _is_running(lock_file: Any) -> bool:  # noqa: ANN401 - a Path, imported nowhere else here
    from filelock import FileLock, Timeout

    if not lock_file.exists():
        return False
    try:
        with FileLock(lock_file).acquire(timeout=0):
            return False
    except Timeout:
        return True


def _lines(stands: dict[str, Any], attention: list[str], zone: Any, *, every_file: bool) -> Iterable[str]:  # noqa: ANN401
    service = stands["service"]
    looked = _local(service["looked_at"], zone)
    yield f"Service: {'running' if service['running'] else 'not running'}; last looked through the folder {looked}"
    yield f"Drop folder: {service['drop']}" + (f" ({service['folder']})" if service["folder"] else "")
    yield f"Reports: {service['reports']}   Last back-up: {service['backup'] or 'none'}"
    progress = stands["progress"]
    if progress["waiting"] or progress["kilns_being_judged"]:
        total = progress["waiting"] + progress["taken_in"]
        busy = ", ".join(progress["kilns_being_judged"])
        yield f"Working: {progress['taken_in']} of {total} files taken in" + (f"; judging {busy}" if busy else "")
    yield ""
    for kiln in stands["kilns"]:
        yield _kiln_line(kiln, zone)
    yield ""
    yield from _alert_lines(stands["alerts"], zone)
    yield from _outbox_lines(stands["outbox"])
    for asked in stands["questions"]:
        yield f"Question about {asked['kiln']} ({asked['files']} files): {asked['question']}"
    states = ", ".join(f"{count} {state}" for state, count in sorted(stands["files"]["states"].items()))
    yield f"Files: {states or 'none seen yet'}"
    listed = stands["files"]["listed"]
    for file in listed if every_file else listed[:_MOST_FILES]:
        yield f"  {file['state']:<15} {file['file']}" + (f": {file['reason']}" if file["reason"] else "")
    if not every_file and len(listed) > _MOST_FILES:
        yield f"  ... and {len(listed) - _MOST_FILES} more (--files shows all)"
    yield ""
    yield "Needs attention: " + ("; ".join(attention) if attention else "nothing")


def _kiln_line(kiln: dict[str, Any], zone: Any) -> str:  # noqa: ANN401
    head = f"{kiln['name']:<16} {kiln['firings']:>4} {'firing' if kiln['firings'] == 1 else 'firings'}"
    if "power" not in kiln:
        return head
    power = kiln["power"]
    if power["value"] is not None:
        said = f"power {power['value']:.2f} ({power['low']:.2f} to {power['high']:.2f})"
    elif power["low"] is not None:
        said = f"power at least {power['low']:.2f}"
    else:
        said = "power not known yet"
    found = ", ".join(f"{each['cause'].replace('_', ' ')} ({each['severity']})" for each in kiln["findings"])
    return f"{head}, last {_local(kiln['last_firing'], zone)}, {kiln['end']}; {said}; {found or 'no findings'}"


def _alert_lines(alerts: list[dict[str, Any]], zone: Any) -> Iterable[str]:  # noqa: ANN401
    if not alerts:
        yield "Open alerts: none"
    for alert in alerts:
        where = " ".join(str(alert[key]) for key in ("zone", "circuit") if alert[key])
        what = f"{alert['cause'].replace('_', ' ')}{' ' + where if where else ''}"
        since = f", since {_local(alert['since'], zone)}" if alert["since"] else ""
        muted = f", muted until {_local(alert['muted_until'], zone)}" if alert["muted_until"] else ""
        said = f": {alert['text']}" if alert["text"] else ""
        state = f"{alert['severity']}, {alert['state']}{since}{muted}"
        yield f"Alert {alert['incident']} {alert['kiln']}: {what} ({state}){said}"


def _outbox_lines(outbox: dict[str, Any]) -> Iterable[str]:
    yield f"Messages: {outbox['sent']} sent, {outbox['owed']} owed, {outbox['given_up']} given up"
    for letter in outbox["undelivered"]:
        why = f": {letter['last_error']}" if letter["last_error"] else ""
        state = letter["ended"] or f"waiting after {letter['attempts']} tries"
        yield f"  to {letter['target']}, {state}: {letter['title']}{why}"


def _local(stamp: str | None, zone: Any) -> str:  # noqa: ANN401
    return datetime.fromisoformat(stamp).astimezone(zone).strftime("%Y-%m-%d %H:%M") if stamp else "never"

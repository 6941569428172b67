"""``coilwatch mute``: silence about one incident, or about a kiln's warnings, for a limited time."""

import argparse
import json
import re
from contextlib import closing
from datetime import datetime, timedelta

EXAMPLES = """examples:
  coilwatch mute juniper 14d
  coilwatch mute JUN-7K2M 36h
  coilwatch mute juniper --off       ends it"""
_FOR = re.compile(r"(\d+(?:\.\d+)?)\s*(h|d|w)", re.IGNORECASE)
_UNITS = {"h": timedelta(hours=1), "d": timedelta(days=1), "w": timedelta(weeks=1)}
LONGEST = timedelta(days=366)


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "mute",
        help="silence an incident or a kiln's warnings for a time",
        description=(
            "Silences one incident until it gets worse, or all warnings of a kiln. What is urgent is told all the same "
            "when a kiln is muted. Firings are judged and reports written as ever."
        ),
        epilog=EXAMPLES,
    )
    parser.add_argument("what", metavar="INCIDENT|KILN", help="an incident, or a kiln")
    parser.add_argument("duration", metavar="FOR", nargs="?", help="how long: 36h, 14d, 2w (at most a year)")
    parser.add_argument("--off", action="store_true", help="end the mute now")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    parser.set_defaults(run=run)


def mute_until(text: str, now: datetime) -> datetime:
    """Return the end of a mute given as ``36h``, ``14d`` or ``2w``; ValueError with a remedy for anything else."""
    match = _FOR.fullmatch(text.strip())
    if not match:
        raise ValueError(f"{text!r} is no length of time here. Write it as 36h, 14d or 2w.")
    length = float(match[1]) * _UNITS[match[2].lower()]
    if not timedelta(0) < length <= LONGEST:
        raise ValueError(f"{text!r} is too long or nothing. A mute lasts at most a year, so that none is forgotten.")
    return now + length


def run(args: argparse.Namespace) -> int:
    """Do it: 0 done, 2 wrong use or settings."""
    from config.settings import load
    from daemon import alerts, clock
    from daemon.alerts.message import when
    from daemon.commands.errors import CommandError
    from daemon.store.database import open_store, write_tx

    if args.off == (args.duration is not None):
        raise CommandError("say either how long or --off: coilwatch mute juniper 14d")
    now = clock.now()
    try:
        until = None if args.off else mute_until(args.duration, now)
    except ValueError as error:
        raise CommandError(str(error)) from None
    settings = load(args.settings)
    try:
        with closing(open_store(settings.folders.database)) as db, write_tx(db):
            meant = alerts.mute(db, args.what, until, settings, now)
    except KeyError:
        known = ", ".join(kiln.id for kiln in settings.kilns) or "none"
        raise CommandError(f"{args.what!r} is neither an incident nor a kiln (kilns: {known}).") from None
    if args.json:
        ends = until.isoformat() if until else None
        print(json.dumps({"what": args.what, "until": ends, "incidents": [alert.incident for alert in meant]}))
    elif until is None:
        print(f"{args.what}: no longer muted.")
    else:
        print(f"{args.what}: muted until {when(until, settings.studio.time_zone)}.")
    return 0

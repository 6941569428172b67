"""``coilwatch mute``: silence about one incident, or about a kiln's warnings, for a limited time."""

import argparse
import json
import re
import sys
from datetime import datetime, timedelta
from pathlib import Path

EXAMPLE = "coilwatch mute juniper 14d"
_FOR = re.compile(r"(\d+(?:\.\d+)?)\s*(h|d|w)", re.IGNORECASE)
_UNITS = {"h": timedelta(hours=1), "d": timedelta(days=1), "w": timedelta(weeks=1)}
LONGEST = timedelta(days=366)


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "mute",
        help="silence an incident or a kiln's warnings for a time",
        description=(
            "Silence one incident until it gets worse, or all warnings of a kiln. What is urgent is told all the same "
            "when a kiln is muted. Firings are judged and reports written as ever."
        ),
        epilog=f"example: {EXAMPLE}   (or 36h, 2w; --off ends it)",
    )
    parser.add_argument("what", metavar="INCIDENT|KILN", help="an incident, or a kiln")
    parser.add_argument("duration", metavar="FOR", nargs="?", help="how long: 36h, 14d, 2w (at most a year)")
    parser.add_argument("--off", action="store_true", help="end the mute now")
    parser.add_argument("--settings", type=Path, help="the settings file (default: ./coilwatch.toml)")
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
    from config.settings import SettingsError, load
    from daemon import alerts, clock
    from daemon.alerts.message import when
    from daemon.store.database import StoreError, open_store, write_tx

    if args.off == (args.duration is not None):
        print(f"Say either how long or --off. Example: {EXAMPLE}", file=sys.stderr)
        return 2
    now = clock.now()
    try:
        until = None if args.off else mute_until(args.duration, now)
        settings = load(args.settings)
        db = open_store(settings.folders.database)
        with write_tx(db):
            meant = alerts.mute(db, args.what, until, settings, now)
    except (SettingsError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    except KeyError:
        known = ", ".join(kiln.id for kiln in settings.kilns) or "none"
        print(f"{args.what!r} is neither an incident nor a kiln (kilns: {known}).", file=sys.stderr)
        return 2
    except StoreError as error:
        print(error, file=sys.stderr)
        return 3
    if args.json:
        ends = until.isoformat() if until else None
        print(json.dumps({"what": args.what, "until": ends, "incidents": [alert.incident for alert in meant]}))
    elif until is None:
        print(f"{args.what}: no longer muted.")
    else:
        print(f"{args.what}: muted until {when(until, settings.studio.time_zone)}.")
    return 0

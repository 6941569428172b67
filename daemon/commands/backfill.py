"""``coilwatch backfill``: take in logs of the past from another folder."""

import argparse
import sys
from pathlib import Path

EXAMPLE = "examples:\n  coilwatch backfill old-logs\n  coilwatch backfill usb-stick/exports --kiln juniper"


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "backfill",
        help="take in logs of the past from another folder",
        description="Takes in the logs of a folder that is not the drop folder, in order of time. Nothing in it is "
        "changed. No messages are sent about the past; what still stands is told once when the service next runs.",
        epilog=EXAMPLE,
    )
    parser.add_argument("folder", type=Path, metavar="DIR", help="the folder; its sub-folders are named after kilns")
    parser.add_argument("--kiln", metavar="KILN", help="all its logs are this kiln's")


def run(args: argparse.Namespace) -> int:
    """Take in the logs of the folder."""
    from config import settings as config
    from daemon import backfill, service_log
    from daemon.commands.errors import CommandError
    from daemon.commands.progress import Progress

    settings = config.load(args.settings)
    if args.kiln is not None and all(kiln.id != args.kiln for kiln in settings.kilns):
        known = ", ".join(kiln.id for kiln in settings.kilns) or "none"
        raise CommandError(f"there is no kiln {args.kiln!r} in the register (known: {known})")
    service_log.begin(settings, quiet=True)
    with Progress("taking in", backfill.count(args.folder)) as progress:
        done = backfill.take_in(settings, args.folder, args.kiln, progress.step)
    print(f"{done.taken_in} log(s) taken in, {done.repeats} already known, {done.firings} firing(s) judged")
    for name, reason in done.not_taken_in:
        print(f"not taken in: {name}: {reason}", file=sys.stderr)
    return 1 if done.not_taken_in else 0

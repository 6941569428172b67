"""``coilwatch check``: whether settings, folders, delivery, clock, disk and installation are in order."""

import argparse
import json

EXAMPLE = "examples:\n  coilwatch check\n  coilwatch check --send"
_MARKS = {"ok": "ok     ", "note": "note   ", "wrong": "WRONG  "}


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "check",
        help="are settings, folders, delivery, clock and disk in order?",
        description="Checks the settings, the folders, the database, the clock, the disk and the installation. With "
        "--send every target gets a test message.",
        epilog=EXAMPLE,
    )
    parser.add_argument("--send", action="store_true", help="send a test message to every target")
    parser.add_argument("--json", action="store_true", help="print the results as JSON")


def run(args: argparse.Namespace) -> int:
    """Check everything and print what was found."""
    from config import settings as config
    from daemon import checks, redaction

    settings = config.load(args.settings)
    redaction.install(settings)
    found = checks.every(settings, send=args.send)
    if args.json:
        print(json.dumps([{"what": each.what, "state": each.state, "said": each.said} for each in found], indent=1))
    else:
        for each in found:
            print(f"{_MARKS[each.state]}{each.what}: {each.said}")
    return 1 if any(each.state == "wrong" for each in found) else 0

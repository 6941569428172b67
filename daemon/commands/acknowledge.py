"""``coilwatch acknowledge``: a person has seen an alert; it is not repeated or escalated unless it gets worse."""

import argparse
import json
import sys
from pathlib import Path

EXAMPLE = "coilwatch acknowledge JUN-7K2M"


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "acknowledge",
        help="say that an alert has been seen: no repeats until it gets worse",
        description="Say that an alert has been seen: it is not repeated or escalated unless it gets worse.",
        epilog=f"example: {EXAMPLE}   (the incident stands at the end of the message)",
    )
    parser.add_argument("what", metavar="INCIDENT|KILN", help="an incident, or a kiln for all that stands of it")
    parser.add_argument("--settings", type=Path, help="the settings file (default: ./coilwatch.toml)")
    parser.add_argument("--json", action="store_true", help="print the alerts as JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do it: 0 done, 2 no such incident or wrong settings."""
    from config.settings import SettingsError, load
    from daemon import alerts, clock
    from daemon.store.database import StoreError, open_store, write_tx

    try:
        settings = load(args.settings)
        db = open_store(settings.folders.database)
        with write_tx(db):
            meant = alerts.acknowledge(db, args.what, settings, clock.now())
    except SettingsError as error:
        print(error, file=sys.stderr)
        return 2
    except StoreError as error:
        print(error, file=sys.stderr)
        return 3
    if not meant:
        print(f"Nothing stands under {args.what!r}. `coilwatch status` lists the incidents.", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps([{"incident": a.incident, "kiln": a.kiln, "cause": a.cause} for a in meant]))
    else:
        for alert in meant:
            print(f"{alert.incident}  {alert.kiln or 'machine room'}  {alert.cause}: acknowledged")
    return 0

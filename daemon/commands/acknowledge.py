"""``coilwatch acknowledge``: a person has seen an alert; it is not repeated or escalated unless it gets worse."""

import argparse
import json
from contextlib import closing

EXAMPLES = """examples:
  coilwatch acknowledge JUN-7K2M     the incident stands at the end of the message
  coilwatch acknowledge juniper      all that stands of a kiln"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "acknowledge",
        help="say that an alert has been seen: no repeats until it gets worse",
        description="Says that an alert has been seen: it is not repeated or escalated unless it gets worse.",
        epilog=EXAMPLES,
    )
    parser.add_argument("what", metavar="INCIDENT|KILN", help="an incident, or a kiln for all that stands of it")
    parser.add_argument("--json", action="store_true", help="print the alerts as JSON")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do it: 0 done, 2 no such incident or wrong settings."""
    from config.settings import load
    from daemon import alerts, clock
    from daemon.commands.errors import CommandError
    from daemon.store.database import open_store, write_tx

    settings = load(args.settings)
    with closing(open_store(settings.folders.database)) as db, write_tx(db):
        meant = alerts.acknowledge(db, args.what, settings, clock.now())
    if not meant:
        raise CommandError(f"nothing stands under {args.what!r}. `coilwatch status` lists the incidents.")
    if args.json:
        print(json.dumps([{"incident": a.incident, "kiln": a.kiln, "cause": a.cause} for a in meant]))
    else:
        for alert in meant:
            print(f"{alert.incident}  {alert.kiln or 'machine room'}  {alert.cause}: acknowledged")
    return 0

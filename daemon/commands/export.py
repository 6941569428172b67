"""``coilwatch export``: the measures and findings as plain tables, or one kiln's case as a bundle to send."""

import argparse
import json
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

    from config.settings import Settings
    from daemon.report.history import KilnHistory

EXAMPLES = """examples:
  coilwatch export                         every kiln's tables into ./coilwatch-export
  coilwatch export juniper --to tables
  coilwatch export juniper --case          a ZIP for a technician elsewhere: pages, tables, newest logs"""
NEWEST_LOGS = 12


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "export",
        help="write measures and findings as tables, or a case to send",
        description="Writes firings, zones and findings as CSV with a data dictionary, and the logbook as JSON lines; "
        "or, with --case, everything a technician elsewhere needs of one kiln. No secret is ever part of it.",
        epilog=EXAMPLES,
    )
    parser.add_argument("kiln", metavar="KILN", nargs="?", help="the kiln's id (default: all)")
    parser.add_argument("--to", type=Path, metavar="FOLDER", default=Path("coilwatch-export"), help="where to write")
    parser.add_argument("--case", action="store_true", help="one kiln's case as a ZIP")
    parser.add_argument("--logs", type=int, default=NEWEST_LOGS, help=f"logs in the case (default {NEWEST_LOGS})")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Write it."""
    from config.settings import load
    from config.wording import load as load_wording
    from daemon.commands.errors import CommandError
    from daemon.export import tables
    from daemon.report.gather import history_of
    from daemon.report.write import replace_file
    from daemon.store.database import open_store

    if args.case and args.kiln is None:
        raise CommandError("A case is one kiln's: coilwatch export KILN --case")
    settings = load(args.settings)
    try:
        kilns = settings.kilns if args.kiln is None else (settings.kiln(args.kiln),)
    except KeyError as fault:
        raise CommandError(str(fault.args[0])) from None
    made: dict[str, bytes] = {}
    with closing(open_store(settings.folders.database)) as db:
        histories = [history_of(db, settings, kiln) for kiln in kilns]
        if args.case:
            made[f"{_stem(histories[0])}.zip"] = _case(args, settings, db, histories[0])
    if not args.case:
        made = {
            name: text.encode("utf-8", "replace")
            for name, text in tables(histories, load_wording(settings.folders.wording)).items()
        }
    try:
        args.to.mkdir(parents=True, exist_ok=True)
        for name, content in made.items():
            replace_file(args.to / name, content)
    except OSError as fault:
        raise CommandError(f"{fault.filename or args.to}: {fault.strerror}. Choose another --to.", code=3) from None
    places = [str(args.to / name) for name in made]
    print(json.dumps({"files": places}, ensure_ascii=False) if args.json else "\n".join(places))
    return 0


def _stem(history: "KilnHistory") -> str:
    from daemon.report.files import slug

    return f"{slug(history.kiln.id)}-case"


def _case(args: argparse.Namespace, settings: "Settings", db: "Database", history: "KilnHistory") -> bytes:
    from config.wording import load as load_wording
    from daemon import clock, kept
    from daemon.export import case_bundle
    from daemon.report.kiln_page import kiln_page
    from daemon.report.picture import power_picture
    from daemon.report.visit_sheet import visit_sheet
    from daemon.store import firings

    words = load_wording(settings.folders.wording)
    now = clock.now()
    logs: list[tuple[str, bytes]] = []
    seen: set[str] = set()
    for row in reversed(firings.rows(db, history.kiln.id)):
        for (content, _), name in zip(row.parts, row.logs, strict=False):
            data = None if content in seen or len(logs) >= args.logs else kept.fetch(settings.folders.kept, content)
            if data is not None:
                logs.append((name, data))
                seen.add(content)
    pages = {
        "report.html": kiln_page(history, now, words),
        "visit.html": visit_sheet(history, now, words),
    }
    return case_bundle(history, pages, power_picture(history), logs, words)

"""``coilwatch visit``: write a kiln's visit sheet, and say in a few lines what to bring and measure first."""

import argparse
import json
from contextlib import closing
from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.findings import Finding
    from analysis.measurement import Inspection
    from config.settings import Settings

EXAMPLES = """examples:
  coilwatch visit heron
  coilwatch visit heron --pdf      also as PDF (needs the extra: coilwatch[pdf])"""
FIRST = 3


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "visit",
        help="write the one-page sheet for a visit to a kiln",
        description="Writes the visit sheet (nameplate, cautions, parts, measurements with what they should read) "
        "and prints its place with the parts and the first measurements.",
        epilog=EXAMPLES,
    )
    parser.add_argument("kiln", metavar="KILN", help="the kiln's id")
    parser.add_argument("--pdf", action="store_true", help="also write it as PDF")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Write it and say what to bring and measure."""
    from daemon.commands.report import written

    quiet = argparse.Namespace(**{**vars(args), "json": False, "quiet": args.json})
    code = written(quiet, which=1)
    if code == 0:
        _in_short(args)
    return code


def _in_short(args: argparse.Namespace) -> None:
    """Print parts and measurements for who has no page at hand."""
    from config.settings import load
    from daemon.report.gather import history_of
    from daemon.report.readings_table import inspection_of
    from daemon.report.visit_sheet import needed
    from daemon.report.write import pages_of
    from daemon.store.database import open_store

    settings = load(args.settings)
    kiln = settings.kiln(args.kiln)
    with closing(open_store(settings.folders.database)) as db:
        history = history_of(db, settings, kiln)
    causes = [finding for finding in history.findings if finding.severity != "info"]
    found = needed(inspection_of(history), causes)
    if args.json:
        told = asdict(found)
        print(json.dumps({"page": str(pages_of(settings, kiln)[1]), **told}, ensure_ascii=False))
        return
    _print(found, causes, settings)


def _print(found: "Inspection", causes: "Sequence[Finding]", settings: "Settings") -> None:
    from config.units import render
    from config.wording import load as load_wording
    from daemon.report.readings_table import blocks_of
    from daemon.report.shown import plain
    from daemon.report.visit_sheet import also_bring

    unit = settings.studio.temperature_unit
    words = load_wording(settings.folders.wording)
    print(f"\n{words.cautions.short}")
    print("\nBring:" if found.parts else "\nBring nothing beforehand: measure first.")
    for part in found.parts:
        print(f"  {part.count} x {plain(part.what)}{'' if part.certain else ' (in case)'}")
    also = also_bring(causes, words)
    if also:
        print(f"  also: {plain('; '.join(also))}")
    print("\nMeasure first:")
    rows = [(block, row) for block in blocks_of(found, causes)[0] for row in block.rows]
    for block, row in rows[:FIRST]:
        place = row.label if block.quantity == "look" else f"{block.head} at {row.label}, {block.where}"
        live = " (live work: licensed person only)" if block.live else ""
        print(f"  {row.number}. {plain(render(place, unit))}{live}")
        for cell in (cell for cell in row.cells if cell.text not in ("", "as new")):
            print(f"       {plain(cell.case)}: {render(cell.text, unit)}{' (suspected)' if cell.suspected else ''}")

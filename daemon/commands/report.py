"""``coilwatch report``: write the trend reports, and say where they are."""

import argparse
import json
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from config.settings import Settings

EXAMPLES = """examples:
  coilwatch report                 all kilns and the studio page
  coilwatch report juniper
  coilwatch report juniper --pdf   also as PDF (needs the extra: coilwatch[pdf])"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "report",
        help="write the trend report of a kiln, or of all",
        description="Writes the reports from what the store holds now and prints their places.",
        epilog=EXAMPLES,
    )
    parser.add_argument("kiln", metavar="KILN", nargs="?", help="the kiln's id (default: all)")
    parser.add_argument("--pdf", action="store_true", help="also write a PDF beside each page")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Write them."""
    return written(args, which=0)


def written(args: argparse.Namespace, *, which: int) -> int:
    """Write the pages of the kiln asked for and print the place of its report (0) or visit sheet (1)."""
    from config.settings import load
    from daemon import clock
    from daemon.commands.errors import CommandError
    from daemon.report.pdf import NoPdf
    from daemon.report.write import pages_of, write_reports
    from daemon.store.database import open_store

    settings = load(args.settings)
    try:
        kilns = settings.kilns if args.kiln is None else (settings.kiln(args.kiln),)
        with closing(open_store(settings.folders.database)) as db:
            changed = write_reports(db, settings, [kiln.id for kiln in kilns], clock.now())
        places = [pages_of(settings, kiln)[which] for kiln in kilns]
        if which == 0 and args.kiln is None:
            places.append(settings.folders.reports / "index.html")
        if args.pdf:
            places += _as_pdf(places)
    except KeyError as fault:
        raise CommandError(str(fault.args[0])) from None
    except NoPdf as fault:
        raise CommandError(str(fault), code=3) from None
    except OSError as fault:
        place = fault.filename or settings.folders.reports
        raise CommandError(f"{place}: {fault.strerror}. Check folders.data and the disk.", code=3) from None
    if not getattr(args, "quiet", False):
        _tell(args, settings, places, changed)
    return 0


def _as_pdf(places: list[Path]) -> list[Path]:
    from daemon.report.pdf import pdf_of
    from daemon.report.write import replace_file

    made = []
    for place in places:
        replace_file(place.with_suffix(".pdf"), pdf_of(place.read_text(encoding="utf-8")))
        made.append(place.with_suffix(".pdf"))
    return made


def _tell(args: argparse.Namespace, settings: "Settings", places: list[Path], changed: list[Path]) -> None:
    if args.json:
        listed = [str(place) for place in places]
        print(json.dumps({"pages": listed, "changed": [str(p) for p in changed]}, ensure_ascii=False))
        return
    for place in places:
        print(place)
    if not settings.kilns:
        print("The register holds no kiln yet: see `coilwatch setup`.")

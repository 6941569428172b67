"""``coilwatch setup``: write a commented settings file."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from config.settings import Settings

EXAMPLE = """examples:
  coilwatch setup
  coilwatch setup --yes --studio "Tidewrack Clay Studio" --time-zone Europe/Dublin --kiln juniper --volts 240"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "setup",
        help="write a commented coilwatch.toml",
        description="Asks a few questions (or takes flags) and writes a commented coilwatch.toml with its folders. "
        "Everything but the kiln's id can be left out and added later.",
        epilog=EXAMPLE,
    )
    parser.add_argument("--studio", help="the studio's name")
    parser.add_argument("--time-zone", help="for example Europe/Dublin (default: this computer's)")
    parser.add_argument("--unit", choices=("C", "F"), help="the unit people here read")
    parser.add_argument("--energy-price", type=float, help="price of one kWh")
    parser.add_argument("--drop", help="the watched folder")
    parser.add_argument("--data", help="where Coilwatch keeps its own files")
    parser.add_argument("--kiln", action="append", metavar="ID", help="a kiln's id; may be given several times")
    parser.add_argument("--volts", type=float, help="nameplate volts of the (first) kiln")
    parser.add_argument("--kw", type=float, help="nameplate kilowatts of the (first) kiln")
    parser.add_argument(
        "--supply", help="single-phase, three-phase delta, three-phase wye, three-phase wye with neutral"
    )
    parser.add_argument("--zones", help="zone names in the order of the log's columns, with commas between")
    parser.add_argument("--log-unit", choices=("C", "F"), help="the temperature unit in the (first) kiln's logs")
    parser.add_argument("--yes", action="store_true", help="ask nothing")
    parser.add_argument("--force", action="store_true", help="write over an existing settings file")


def run(args: argparse.Namespace) -> int:
    """Ask, and write the settings file and the folders."""
    from config import settings as config
    from daemon import setting_up
    from daemon.commands.errors import CommandError

    file = config.find(args.settings)
    if file.exists() and not args.force:
        raise CommandError(f"{file} exists already. Edit it, or write over it with --force.")
    answers = setting_up.Answers(
        studio=args.studio or "",
        time_zone=args.time_zone or setting_up.computers_zone(),
        unit=args.unit or "C",
        energy_price=args.energy_price,
        drop=args.drop or "drop",
        data=args.data or "data",
        kilns=tuple(args.kiln or ()),
        volts=args.volts,
        rated_kw=args.kw,
        supply=args.supply,
        zones=tuple(zone.strip() for zone in args.zones.split(",")) if args.zones else (),
        log_unit=args.log_unit,
    )
    if sys.stdin.isatty() and not args.yes:
        answers = setting_up.ask(answers, input)
    text = setting_up.settings_text(answers)
    settings = _written(file, text)
    settings.folders.data.mkdir(parents=True, exist_ok=True)
    for kiln in settings.kilns:
        (settings.folders.drop / kiln.id).mkdir(parents=True, exist_ok=True)
    settings.folders.drop.mkdir(parents=True, exist_ok=True)
    print(f"Written: {file}")
    own = "the kiln's own sub-folder of " if settings.kilns else ""
    print(f"Look into it: every line says what it is for. Logs go into {own}{settings.folders.drop}.")
    print("Who is told: write a notification address into the file")
    print(f"  {settings.folders.secrets / 'alerts__targets__phone'}")
    print("Then:")
    print("  coilwatch read FILE       how one of your logs is understood")
    print("  coilwatch check --send    is all in order? with a test message")
    print("  coilwatch backfill DIR    take in the logs you already have")
    print("  coilwatch start           watch the folder")
    return 0


def _written(file: Path, text: str) -> "Settings":
    """Write the file if what it says can be used; what was there stays otherwise."""
    from config import settings as config

    half = file.with_name(f".{file.name}.half")
    file.parent.mkdir(parents=True, exist_ok=True)
    half.write_text(text, encoding="utf-8")
    try:
        config.load(half)
        half.replace(file)
    except config.SettingsError as error:
        raise config.SettingsError(str(error).replace(str(half), str(file))) from None
    finally:
        half.unlink(missing_ok=True)
    return config.load(file)

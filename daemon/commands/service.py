"""``coilwatch service``: let the system start Coilwatch."""

import argparse
import getpass
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, get_args

if TYPE_CHECKING:
    from daemon.unit_files import System

EXAMPLE = "examples:\n  coilwatch service\n  coilwatch service --install\n  coilwatch service --for launchd"


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "service",
        help="let the system start Coilwatch (systemd, launchd, Task Scheduler)",
        description="Prints the unit that lets your system start Coilwatch, and the commands that switch it on. With "
        "--install it is written where it belongs. No administrator's rights are needed.",
        epilog=EXAMPLE,
    )
    parser.add_argument(
        "--for", dest="system", choices=("systemd", "launchd", "task-scheduler"), help="default: this system"
    )
    parser.add_argument("--install", action="store_true", help="write the unit where it belongs")
    parser.add_argument("--home", type=Path, help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Print or install the unit."""
    from config import settings as config
    from daemon import unit_files
    from daemon.commands.errors import CommandError

    settings = config.load(args.settings)
    system: System = args.system or unit_files.this_system()
    if system not in get_args(unit_files.System):
        raise CommandError(f"{system} is not known")
    where = unit_files.place(system, args.home or Path.home())
    text = unit_files.unit(system, _program(), settings.file, settings.folders.data, _person())
    if not args.install:
        print(text, end="")
        print(f"\nIt belongs in {where} (coilwatch service --install writes it there). Then run:", file=sys.stderr)
    else:
        settings.folders.data.mkdir(parents=True, exist_ok=True)
        where.parent.mkdir(parents=True, exist_ok=True)
        where.write_text(text, encoding="utf-16" if system == "task-scheduler" else "utf-8")
        print(f"Written: {where}. Now run:", file=sys.stderr)
    for command in unit_files.next_steps(system, where):
        print(f"  {command}", file=sys.stderr)
    print("To stop it and take it out again:", file=sys.stderr)
    for command in unit_files.last_steps(system):
        print(f"  {command}", file=sys.stderr)
    return 0


def _person() -> str:
    """Return the account that runs this, as the Task Scheduler names it."""
    domain = os.environ.get("USERDOMAIN", "")
    return f"{domain}\\{getpass.getuser()}" if domain else getpass.getuser()


def _program() -> Path:
    """Return the absolute path of the program to start: a service has nobody's search path."""
    windowless = Path(sys.executable).with_name("pythonw.exe")
    if sys.platform == "win32" and windowless.exists():
        return windowless.absolute()
    beside = Path(sys.executable).with_name("coilwatch.exe" if sys.platform == "win32" else "coilwatch")
    found = beside if beside.exists() else Path(shutil.which("coilwatch") or beside)
    return found.absolute()

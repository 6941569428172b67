"""``coilwatch restore``: put a back-up of the database back."""

import argparse
from pathlib import Path

EXAMPLE = "examples:\n  coilwatch restore\n  coilwatch restore coilwatch-2026-03-01.db"


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "restore",
        help="list the back-ups of the database, or put one back",
        description="Without a name, lists the back-ups. With one, puts it in the place of the database; the present "
        "database is kept beside it. Logs that came since are still in the drop folder and are taken in again.",
        epilog=EXAMPLE,
    )
    parser.add_argument("backup", nargs="?", metavar="BACKUP", help="a back-up's name, or a file")


def run(args: argparse.Namespace) -> int:
    """List the back-ups or put one back."""
    from config import settings as config
    from daemon import backup, clock
    from daemon.commands.errors import CommandError
    from daemon.service import lock_data

    settings = config.load(args.settings)
    kept = backup.backups(settings.folders.backups)
    if args.backup is None:
        for file in kept:
            print(f"{file.name}  {file.stat().st_size / 1e6:.1f} MB")
        if not kept:
            print(f"there are no back-ups in {settings.folders.backups} yet")
        return 0
    chosen = next((file for file in kept if file.name == args.backup), Path(args.backup))
    if not chosen.is_file():
        known = ", ".join(file.name for file in kept) or "none"
        raise CommandError(f"there is no back-up {args.backup} (known: {known})")
    with lock_data(settings):
        before = backup.restore(settings.folders.database, chosen, clock.now())
    print(f"{chosen.name} is now the database" + (f"; the one before is kept as {before.name}" if before else ""))
    return 0

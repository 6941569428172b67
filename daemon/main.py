"""The command line: one module for each verb; only the verb that is wanted is loaded."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from daemon.commands.help_text import FIRST_STEPS, OCCASIONS, TopHelp, lay_out
from daemon.light import load_store_lightly

VERBS = tuple(verb for _, verbs in OCCASIONS for verb in verbs)
WITHOUT_STORE = ("setup", "read", "assess", "service", "completion", "demo")
SETTINGS_HELP = "the settings file (default: $COILWATCH_SETTINGS, else ./coilwatch.toml)"
DONE, ATTENTION, WRONG_USE, COULD_NOT = 0, 1, 2, 3


def parser(wanted: str | None = None) -> argparse.ArgumentParser:
    """Return the parser, with all verbs or only the one that is wanted (the others would cost their loading)."""
    top = argparse.ArgumentParser(
        prog="coilwatch",
        description="Reads the firing logs of electric kilns and says when heating elements need attention, and why. "
        "It is no safety device.",
        epilog=FIRST_STEPS,
        formatter_class=TopHelp,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="show the version and end")
    top.add_argument("--settings", type=Path, metavar="FILE", help=SETTINGS_HELP)
    verbs = top.add_subparsers(dest="verb", metavar="COMMAND", required=True, title="commands")
    for verb in VERBS if wanted is None else (wanted,):
        importlib.import_module(f"daemon.commands.{verb}").add(verbs)
    for each in verbs.choices.values():
        lay_out(each)
        if "--settings" not in each._option_string_actions:  # noqa: SLF001 - argparse has no other way to ask
            each.add_argument("--settings", type=Path, metavar="FILE", default=argparse.SUPPRESS, help=SETTINGS_HELP)
    return top


class _Version(argparse.Action):
    """Shows the version; it is looked up only when asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from daemon.version import program_version

        print(f"coilwatch {program_version()}")
        parser.exit()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if sys.stderr is None:  # started without a window (Windows): what is said there stands in the service's log
        sys.stdout = sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - as long as we live
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a name the terminal cannot write must not end the program
    if not given:
        parser().print_help(sys.stderr)
        return WRONG_USE
    wanted = next((word for word in given if word in VERBS), None)
    if wanted is not None and any(word in ("-h", "--help", "--version") for word in given[: given.index(wanted)]):
        wanted = None
    args = parser(wanted).parse_args(given)
    module = importlib.import_module(f"daemon.commands.{args.verb}")
    if args.verb not in WITHOUT_STORE:
        load_store_lightly()
    try:
        return int(module.run(args))
    except KeyboardInterrupt:
        return COULD_NOT
    except BrokenPipeError:  # the reader of our output has seen enough
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - lives to the end of the process
        return DONE
    except Exception as error:  # noqa: BLE001 - explained, or raised again
        return _explained(error)


def _explained(error: Exception) -> int:
    """Print what is known to go wrong as a plain message; anything else is a fault of the program."""
    import sqlite3

    from config.settings import SettingsError
    from daemon.commands.errors import CommandError

    if isinstance(error, (SettingsError, CommandError)):
        print(f"coilwatch: {error}", file=sys.stderr)
        return error.code if isinstance(error, CommandError) else WRONG_USE
    if type(error).__name__ in ("StoreError", "NewerDatabase", "AlreadyRunning", "FolderTrouble"):
        print(f"coilwatch: {error}", file=sys.stderr)
        return COULD_NOT
    if isinstance(error, (sqlite3.Error, OSError)):
        print(f"coilwatch: {error}. Run `coilwatch check`.", file=sys.stderr)
        return COULD_NOT
    raise error


if __name__ == "__main__":
    sys.exit(main())

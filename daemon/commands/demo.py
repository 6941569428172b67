"""``coilwatch demo``: a made-up studio's half year in under a minute, through the real service."""

import argparse
import sys
import tempfile
from pathlib import Path

PAUSE_S = {"fast": 0.0, "calm": 1.0}
EXAMPLE = """example:
  coilwatch demo
  coilwatch demo --folder try --speed calm     played on from where it was if it was interrupted
"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "demo",
        help="play a made-up studio's half year through the real service",
        description="Makes an invented studio in a folder, starts the real service on it, drops its sample logs in the "
        "order of their dates, and shows what was found and what reached the phone. Needs no network.",
        epilog=EXAMPLE,
    )
    parser.add_argument(
        "--folder", type=Path, metavar="DIR", help="where to make the studio (default: a new temporary folder)"
    )
    parser.add_argument(
        "--speed",
        choices=sorted(PAUSE_S),
        default="fast",
        help="fast: as fast as the service works (default); calm: with a second between two logs",
    )
    parser.add_argument(
        "--samples", type=Path, metavar="DIR", help="the sample studio's folder, if it is not beside the program"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play the demo."""
    from daemon.demo.play import play
    from daemon.demo.screen import Screen
    from daemon.demo.service_process import ServiceEnded
    from daemon.demo.story import SAMPLES, NoSamples, sample_folder
    from daemon.demo.studio_folder import FolderInUse, leave_own_settings_behind

    leave_own_settings_behind()
    folder: Path | None = args.folder
    try:
        samples = sample_folder(args.samples or SAMPLES)
        folder = folder or Path(tempfile.mkdtemp(prefix="coilwatch-demo-"))
        return play(folder.absolute(), samples, Screen(), PAUSE_S[args.speed])
    except FolderInUse as used:
        print(used, file=sys.stderr)
        return 2
    except (NoSamples, ServiceEnded, TimeoutError) as stopped:
        print(stopped, file=sys.stderr)
        return 3
    except KeyboardInterrupt:
        print(f"\nStopped. `coilwatch demo --folder {folder}` plays on from here.", file=sys.stderr)
        return 3

"""``coilwatch start``: run the service, or one pass of it."""

import argparse
import logging
import os
import sys
import threading

EXAMPLE = "examples:\n  coilwatch start\n  coilwatch start --once --settings studio/coilwatch.toml"


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "start",
        help="watch the drop folder until stopped",
        description="Watches the drop folder, judges each firing, sends alerts and writes reports, until stopped "
        "with Ctrl-C or by the system. With --once the exit code is 0 when the pass is done; `coilwatch status` says "
        "by its own whether something needs attention.",
        epilog=EXAMPLE,
    )
    parser.add_argument(
        "--once", action="store_true", help="take in what is there, send what is due, write the reports, and end"
    )


def run(args: argparse.Namespace) -> int:
    """Run the service."""
    from config import settings as config

    settings = config.load(args.settings)
    if not settings.folders.drop.is_dir():
        print(f"coilwatch: the drop folder {settings.folders.drop} is not there (yet)", file=sys.stderr)
    from daemon import service, service_log

    service_log.begin(settings)
    if args.once:
        needing = service.run_once(settings)
        if needing:
            print(f"{needing} file(s) need attention: see `coilwatch status`", file=sys.stderr)
        return 0
    code = service.Service(settings).run()
    logging.shutdown()
    lingering = [
        thread for thread in threading.enumerate() if thread is not threading.main_thread() and not thread.daemon
    ]
    if lingering:  # a message still on its way must not hold up the end; it will be sent again
        sys.stderr.flush()
        os._exit(code)
    return code

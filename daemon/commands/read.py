"""``coilwatch read``: how one log was understood: columns, units, time, firings, repairs, and what is not known."""

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daemon.commands.errors import CommandError

if TYPE_CHECKING:
    from analysis.reading import Account, FiringLog, Reading
    from config.kiln import Kiln, TemperatureUnit
    from config.settings import Settings

EXAMPLE = "examples:\n  coilwatch read drop/juniper/2026-03-02.csv\n  coilwatch read F014.TXT --kiln heron --json"
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blanks", "": "keys"}
_FROM = {
    "rows": "from its rows",
    "text": "from the text above the table",
    "file name": "from the file's name",
    "file date": "from the file's date",
    "unknown": "nothing tells",
}
_ROWS = (
    ("used", "used"),
    ("headers", "above the table or header rows"),
    ("text", "messages"),
    ("repeated", "repeated"),
    ("damaged", "damaged"),
    ("blank", "without time or reading"),
    ("cut", "cut off"),
    ("empty", "empty"),
)
_ROLES = {"ignore": "not used", "stage text": "stage in words", "half day": "AM or PM", "room": "room temperature"}
_MOST_EVENTS = 20


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "read",
        help="how was this log understood?",
        description="Reads one log and says what each column was taken for and why, the units and the time, the "
        "firings found, what was repaired, and what the file cannot tell with the setting that would. Nothing is "
        "stored. The kiln is the one whose folder or pattern fits, or --kiln; with a single kiln in the register, that "
        "one. Exit code 1: the log is unreadable, or it does not tell all that matters.",
        epilog=EXAMPLE,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the log")
    parser.add_argument("--kiln", metavar="ID", help="read it as a log of this kiln of the register")
    parser.add_argument("--json", action="store_true", help="print the account as JSON")


def run(args: argparse.Namespace) -> int:
    """Read the file and print the account; 1 if it is unreadable or something in it is not known."""
    from analysis.reading import UnreadableLog
    from analysis.reading.shown import shown

    settings = _settings(args)
    kiln = _kiln(args, settings)
    try:
        reading = _read(args.file, kiln or _stranger(settings), settings)
    except OSError as error:
        raise CommandError(f"{shown(str(args.file))}: {error.strerror or error}", code=3) from None
    except UnreadableLog as error:
        if args.json:
            print(json.dumps({"file": shown(args.file.name), "unreadable": shown(str(error), 1000)}))
        else:
            print(f"{shown(args.file.name)} cannot be read: {shown(str(error), 1000)}")
        return 1
    if args.json:
        print(json.dumps(record(reading, kiln), indent=1))
    else:
        unit: TemperatureUnit = settings.studio.temperature_unit if settings else "C"
        for line in lines(reading, kiln, unit, _zone(kiln or _stranger(settings))):
            print(line)
    return 1 if reading.account.unknown else 0


def _read(file: Path, kiln: "Kiln | None", settings: "Settings | None") -> "Reading":
    """Read the file; one over the size limit (a setting) is refused before it is loaded."""
    from analysis.reading import SIZE_LIMIT_BYTES, UnreadableLog, read_log

    about = file.stat()
    limit = round(settings.service.file_limit_mb * 1e6) if settings else SIZE_LIMIT_BYTES
    if about.st_size > limit:
        raise UnreadableLog(
            f"it holds {about.st_size / 1e6:.0f} MB, more than the limit of {limit / 1e6:g} MB.",
            remedy="Split it, or raise service.file_limit_mb.",
        )
    modified = datetime.fromtimestamp(about.st_mtime, UTC)
    return read_log(file.read_bytes(), name=file.name, kiln=kiln, modified=modified, size_limit_bytes=limit)


def _settings(args: argparse.Namespace) -> "Settings | None":
    """Return the settings; None if none were named and there are none at the usual place."""
    from config import settings as config

    if args.settings is None and args.kiln is None and not config.find().exists():
        return None
    return config.load(args.settings)


def _kiln(args: argparse.Namespace, settings: "Settings | None") -> "Kiln | None":
    if settings is None:
        return None
    if args.kiln is not None:
        for kiln in settings.kilns:
            if kiln.id == args.kiln:
                return kiln
        known = ", ".join(kiln.id for kiln in settings.kilns) or "none yet"
        raise CommandError(f"--kiln {args.kiln}: the register has no such kiln. It has: {known}.")
    from daemon.folder import kiln_of

    path = args.file.absolute()
    inside = path.is_relative_to(settings.folders.drop)
    key = path.relative_to(settings.folders.drop) if inside else Path(path.parent.name, path.name)
    only = settings.kilns[0] if len(settings.kilns) == 1 else None
    return kiln_of(key.as_posix(), settings.kilns) or only


def _stranger(settings: "Settings | None") -> "Kiln | None":
    """Return what is known of a kiln that is not in the register: the clock all the others go by."""
    from config.kiln import Kiln

    zones = {kiln.time_zone for kiln in settings.kilns} if settings else set()
    return Kiln(id="", time_zone=zones.pop()) if len(zones) == 1 else None


def record(reading: "Reading", kiln: "Kiln | None") -> dict[str, Any]:
    """Return the account as plain JSON types; temperatures in deg C."""
    account = asdict(reading.account)
    return {
        "kiln": None if kiln is None else kiln.id,
        "account": account,
        "firings": [_firing_record(log) for log in reading.firings],
        "problems": list(reading.problems),
    }


def _firing_record(log: "FiringLog") -> dict[str, Any]:
    peak = _peak(log)
    return {
        "started": None if log.started is None else log.started.isoformat().replace("+00:00", "Z"),
        "started_from": log.started_from,
        "duration_s": round(float(log.elapsed_s[-1]), 1),
        "samples": int(log.elapsed_s.size),
        "zones": list(log.zone_names),
        "peak_c": None if peak is None else round(peak[0], 1),
        "programme": log.programme,
        "has": [name for name in ("set_point_c", "output", "volts", "amps", "room_c", "segment") if _has(log, name)],
        "output_kind": log.output_kind,
        "complete_tail": log.complete_tail,
        "events": [{"elapsed_s": round(event.elapsed_s, 1), "text": event.text} for event in log.events],
        "spikes": [asdict(spike) for spike in log.spikes],
    }


def _has(log: "FiringLog", name: str) -> bool:
    return getattr(log, name) is not None


def _peak(log: "FiringLog") -> tuple[float, str] | None:
    """Return the highest reading in deg C and its zone's name."""
    import numpy as np

    if not np.isfinite(log.zone_c).any():
        return None
    _, zone = np.unravel_index(int(np.nanargmax(log.zone_c)), log.zone_c.shape)
    return float(np.nanmax(log.zone_c)), log.zone_names[int(zone)]


def lines(reading: "Reading", kiln: "Kiln | None", unit: "TemperatureUnit", zone: tzinfo) -> Iterator[str]:
    """Give the account as lines of plain text; temperatures in ``unit``, times in ``zone``."""
    account = reading.account
    whose = f"a log of {kiln.title}" if kiln else "no kiln of the register (see --kiln)"
    yield f"{account.name} ({_size(account.size_bytes)}), read as {whose}"
    for number, log in enumerate(reading.firings, 1):
        yield ""
        yield from _firing_lines(log, number, len(reading.firings), unit, zone)
    yield ""
    yield from _column_lines(account)
    yield ""
    yield f"Temperatures: °{account.temperature_unit}. {_unit_why(account.temperature_unit_why)}"
    yield f"Time: {account.time_base}. {_sentence(account.time_why)} A sample every {_seconds(account.sample_s)}."
    yield f"File: {_form(account)}."
    yield f"Rows: {_rows(account)}."
    yield from _list("Text above the table", account.preamble)
    yield from _list("Repaired, or doubtful", reading.problems)
    yield from _list(
        "Not known", [f"{each.what}: {each.taken}. What would tell: {each.setting}" for each in account.unknown]
    )


def _firing_lines(log: "FiringLog", number: int, count: int, unit: "TemperatureUnit", zone: tzinfo) -> Iterator[str]:
    from config.units import temperature

    if log.started is None:
        began = "date not known"
    else:
        at = log.started.astimezone(zone)
        day_only = any("its hour is not known" in problem for problem in log.problems)
        began = f"began {at:%Y-%m-%d}{', hour not known' if day_only else f' {at:%H:%M}'} ({_FROM[log.started_from]})"
    yield f"Firing {number} of {count}: {began}, {_hours(float(log.elapsed_s[-1]))}, {log.elapsed_s.size} samples"
    peak = _peak(log)
    if peak is not None:
        where = f" (zone {peak[1]})" if len(log.zone_names) > 1 else ""
        yield f"  peak {temperature(peak[0], unit):.0f} °{unit}{where}"
    if log.programme:
        yield f"  programme: {log.programme}"
    if log.output_kind:
        kind = "share of full output" if log.output_kind == "duty" else "relay on or off"
        yield f"  output logged as: {kind}"
    if not log.complete_tail:
        yield "  the log stops in mid-line: still being written, or cut off"
    for event in log.events[:_MOST_EVENTS]:
        yield f"  {_hours(event.elapsed_s):>8}  {event.text}"
    if len(log.events) > _MOST_EVENTS:
        yield f"  ... and {len(log.events) - _MOST_EVENTS} more messages"


def _column_lines(account: "Account") -> Iterator[str]:
    from analysis.reading.shown import shown

    table = [("", "column", "taken for", "unit", "because")]
    for column in account.columns:
        role = _ROLES.get(column.role, column.role)
        unit = f"°{column.unit}" if column.unit in {"C", "F"} else column.unit
        table.append((str(column.number), shown(column.name, 28) or "(no name)", role, unit, column.why))
    widths = [max(len(row[k]) for row in table) for k in range(4)]
    for row in table:
        yield (
            "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)) + "  " + row[4]
        ).rstrip()


def _list(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield ""
        yield f"{title}:"
        for item in items:
            yield f"  - {item}"


def _form(account: "Account") -> str:
    parts = [account.form, f"{account.encoding} ({account.encoding_why})"]
    if account.delimiter:
        parts.append(f"{_DELIMITERS.get(account.delimiter, repr(account.delimiter))} between columns")
    parts.append("decimal comma" if account.decimal == "," else "decimal point")
    parts.append("no header" if account.header_line is None and account.delimiter else "")
    if account.header_line is not None:
        parts.append(f"header in line {account.header_line}")
    return ", ".join(part for part in parts if part)


def _rows(account: "Account") -> str:
    counts = [(getattr(account.rows, name), word) for name, word in _ROWS]
    parts = [f"{count} {word if count > 1 else word.removesuffix('s')}" for count, word in counts if count]
    return f"{account.rows.lines} lines: {', '.join(parts)}"


def _zone(kiln: "Kiln | None") -> tzinfo:
    from zoneinfo import ZoneInfo

    return ZoneInfo(kiln.time_zone) if kiln is not None and kiln.time_zone else UTC


def _unit_why(why: str) -> str:
    return _sentence(f"said by {why}" if why.startswith("the ") and why.endswith(("header", "table")) else why)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _size(size: int) -> str:
    return f"{size / 1000:.0f} kB" if size < 1_000_000 else f"{size / 1e6:.1f} MB"


def _seconds(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d} h"

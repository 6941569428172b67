"""The logbook's lines: JSON objects, one a line, to and from ``LogbookEntry``, with faults a person can mend.

The store keeps the entries; this form is for files that come and go (``assess --logbook``, ``log --from``,
``export``). An entry is never edited: a later one ``withdraws`` it.
"""

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timezone
from pathlib import Path
from typing import Any, cast, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from config.kiln import Kiln
from config.logbook import LogbookEntry, Part, Quantity, What

FIELDS = ("kiln", "at", "what", "part", "zone", "circuit", "note", "quantity", "value", "where", "id", "withdraws")
LONGEST_NOTE = 2000
LONGEST_PLACE = 120
# A reading outside these is a slip of the pen (kilohm for ohm, a decimal point lost), not a kiln.
PLAUSIBLE: Mapping[str, tuple[float, float]] = {"ohm": (0.05, 1e7), "amp": (0.0, 2000.0), "volt": (0.0, 1000.0)}


class LogbookError(ValueError):
    """A logbook entry that cannot be taken: the message names file, line, field and remedy."""


def parse_line(text: str, *, kilns: Sequence[Kiln], line: int | None = None, file: str = "") -> LogbookEntry:
    """Read one line of a logbook.

    A bare date counts as the start of that day in the kiln's time zone (UTC if the register names none).

    Raises
    ------
    LogbookError
        With file, line, field and remedy.
    """
    where = ", ".join(part for part in (file, f"line {line}" if line else "") if part)
    try:
        raw = json.loads(text)
    except json.JSONDecodeError as fault:
        raise LogbookError(
            _said(where, "", f"not JSON at character {fault.pos + 1}. Write one object a line, keys in double quotes.")
        ) from None
    if not isinstance(raw, dict):
        raise LogbookError(_said(where, "", 'not an object. Write {"kiln": ..., "at": ..., "what": ...}.'))
    try:
        return _entry(raw, kilns)
    except LogbookError as fault:
        raise LogbookError(_said(where, "", str(fault))) from None


def read_logbook(path: Path, kilns: Sequence[Kiln]) -> list[LogbookEntry]:
    """Read a whole file, oldest entry first. Empty lines are passed over.

    Raises
    ------
    LogbookError
        If any line is bad: the message lists every one of them (the first twenty).
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise LogbookError(f"{path}: not UTF-8 text. Save the logbook as UTF-8.") from None
    except OSError as fault:
        raise LogbookError(f"{path}: cannot be read: {fault.strerror}. Check the name and the rights.") from None
    entries: list[LogbookEntry] = []
    faults: list[str] = []
    for number, text in enumerate(lines, 1):
        if not text.strip():
            continue
        try:
            entries.append(parse_line(text, kilns=kilns, line=number, file=str(path)))
        except LogbookError as fault:
            faults.append(str(fault))
    if faults:
        more = f"\n... and {len(faults) - 20} more" if len(faults) > 20 else ""
        raise LogbookError("\n".join(faults[:20]) + more)
    return sorted(entries, key=lambda entry: entry.at)


def format_line(entry: LogbookEntry) -> str:
    """Write an entry as one line (without the line's end). ``at`` is written as UTC with seconds."""
    known: dict[str, Any] = {
        "kiln": entry.kiln,
        "at": entry.at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "what": entry.what,
        "part": entry.part,
        "zone": entry.zone,
        "circuit": entry.circuit,
        "note": entry.note,
    }
    if entry.what == "measured":
        known |= {"quantity": entry.quantity, "value": entry.value, "where": entry.where}
    if entry.id:
        known["id"] = entry.id
    if entry.withdraws:
        known["withdraws"] = entry.withdraws
    return json.dumps(known, ensure_ascii=False)


def entries_between(
    entries: Sequence[LogbookEntry], after: datetime | None, until: datetime
) -> tuple[LogbookEntry, ...]:
    """Return the logbook entries made after one firing started and before the next did."""
    return tuple(entry for entry in entries if (after is None or entry.at > after) and entry.at <= until)


def standing(entries: Iterable[LogbookEntry]) -> tuple[LogbookEntry, ...]:
    """Return the entries that count, oldest first: without those withdrawn and without the withdrawals."""
    listed = sorted(entries, key=lambda entry: entry.at)
    gone = {entry.withdraws for entry in listed if entry.withdraws}
    return tuple(entry for entry in listed if not entry.withdraws and (not entry.id or entry.id not in gone))


def when(text: str, time_zone: str | None) -> datetime:
    """Read a date, or a date and time, as aware UTC. Without offset it is local time of ``time_zone``.

    Raises
    ------
    LogbookError
        If it is neither.
    """
    zone: ZoneInfo | timezone
    try:
        zone = ZoneInfo(time_zone) if time_zone else UTC
    except (ZoneInfoNotFoundError, ValueError):
        zone = UTC
    try:
        if len(text) == len("2026-04-06"):
            at = datetime.combine(date.fromisoformat(text), time(), zone)
        else:
            at = datetime.fromisoformat(text)
            at = at if at.tzinfo else at.replace(tzinfo=zone)
        return at.astimezone(UTC)
    except (ValueError, OverflowError):
        raise LogbookError(f"at: {text!r} is no date. Write 2026-04-06 or 2026-04-06T14:30.") from None


def checked(entry: LogbookEntry, kiln: Kiln) -> LogbookEntry:
    """Return the entry if it says what its kind needs and fits the register.

    Raises
    ------
    LogbookError
        Naming the field and the remedy.
    """
    circuits = tuple(circuit.name for circuit in kiln.circuits)
    if entry.zone is not None and kiln.zones and entry.zone not in kiln.zones:
        raise LogbookError(f"zone: {kiln.id} has no zone {entry.zone!r}. Its zones: {', '.join(kiln.zones)}.")
    if entry.circuit is not None and circuits and entry.circuit not in circuits:
        raise LogbookError(f"circuit: {kiln.id} has no circuit {entry.circuit!r}. Its circuits: {', '.join(circuits)}.")
    if entry.what in ("replaced", "repaired") and entry.part is None and not entry.withdraws:
        raise LogbookError(f"part: say what was {entry.what}: one of {', '.join(get_args(Part))}.")
    if entry.what == "measured" and not entry.withdraws:
        if entry.quantity is None:
            raise LogbookError("quantity: say what was measured: ohm, amp or volt.")
        if entry.value is None:
            raise LogbookError("value: a measurement needs its number.")
        low, high = PLAUSIBLE[entry.quantity]
        if not low <= entry.value <= high:
            raise LogbookError(
                f"value: {entry.value:g} {entry.quantity} cannot be right for a kiln. Give ohm, amp or volt, "
                "not kilohm or milliamp; an open circuit is: measured open."
            )
        if not entry.where:
            raise LogbookError('where: say where it was measured, such as "circuit top" or "L1-L2".')
    if entry.what == "note" and not entry.note and not entry.withdraws:
        raise LogbookError("note: a note needs its text.")
    return entry


def content_id(entry: LogbookEntry) -> str:
    """Return a stable id made of what the entry says (the same line read twice is the same entry)."""
    bare = format_line(LogbookEntry(**{**_as_dict(entry), "id": ""}))
    return hashlib.sha256(bare.encode()).hexdigest()[:10]


def _as_dict(entry: LogbookEntry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in FIELDS}


def _said(where: str, field: str, text: str) -> str:
    return ": ".join(part for part in (where, field, text) if part)


def _entry(raw: Mapping[str, Any], kilns: Sequence[Kiln]) -> LogbookEntry:
    unknown = set(raw) - set(FIELDS)
    if unknown:
        raise LogbookError(f"{min(unknown)}: no such field. Known: {', '.join(FIELDS)}.")
    name = _text(raw, "kiln", LONGEST_PLACE)
    if not name:
        raise LogbookError("kiln: missing. Give the kiln's id from the register.")
    kiln = next((known for known in kilns if known.id == name), None)
    if kiln is None:
        ids = ", ".join(known.id for known in kilns) or "none"
        raise LogbookError(f"kiln: {name!r} is not in the register. Known: {ids}.")
    at = _text(raw, "at", LONGEST_PLACE)
    if not at:
        raise LogbookError("at: missing. Write the date, such as 2026-04-06.")
    entry = LogbookEntry(
        kiln=kiln.id,
        at=when(at, kiln.time_zone),
        what=cast("What", _one_of(raw, "what", get_args(What), needed=True)),
        part=cast("Part | None", _one_of(raw, "part", get_args(Part))),
        zone=_text(raw, "zone", LONGEST_PLACE) or None,
        circuit=_text(raw, "circuit", LONGEST_PLACE) or None,
        note=_text(raw, "note", LONGEST_NOTE),
        quantity=cast("Quantity | None", _one_of(raw, "quantity", get_args(Quantity))),
        value=_number(raw, "value"),
        where=_text(raw, "where", LONGEST_PLACE) or None,
        id=_text(raw, "id", LONGEST_PLACE),
        withdraws=_text(raw, "withdraws", LONGEST_PLACE) or None,
    )
    checked(entry, kiln)
    return entry if entry.id else LogbookEntry(**{**_as_dict(entry), "id": content_id(entry)})


def _text(raw: Mapping[str, Any], field: str, longest: int) -> str:
    value = raw.get(field)
    if value is None:
        return ""
    if not isinstance(value, str):
        raise LogbookError(f"{field}: must be text in double quotes, not {json.dumps(value)[:40]}.")
    if len(value) > longest:
        raise LogbookError(f"{field}: longer than {longest} characters. Shorten it.")
    return value.strip()


def _one_of(raw: Mapping[str, Any], field: str, allowed: Sequence[str], *, needed: bool = False) -> str | None:
    value = _text(raw, field, LONGEST_PLACE)
    if not value and not needed:
        return None
    if value not in allowed:
        said = f"{value!r} is not known" if value else "missing"
        raise LogbookError(f"{field}: {said}. One of {', '.join(allowed)}.")
    return value


def _number(raw: Mapping[str, Any], field: str) -> float | None:
    value = raw.get(field)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise LogbookError(f"{field}: must be a number with a decimal point and no unit, such as 13.9.")
    return float(value)

"""What the register says of a log's columns: hints that overrule all else, each checked."""

import re
from collections.abc import Mapping, Sequence

from analysis.reading.firing_log import UnreadableLog
from analysis.reading.names import plain

ROLES = (
    "time",
    "date",
    "clock",
    "half day",
    "zone",
    "average",
    "set point",
    "output",
    "volts",
    "amps",
    "room",
    "segment",
    "stage text",
    "programme",
    "message",
    "ignore",
)
PER_ZONE = ("zone", "set point", "output", "amps")


def hinted(columns: Mapping[str, str], names: Sequence[str]) -> dict[int, tuple[str, int | None, str | None]]:
    """Check the register's column hints: index -> (role, number, place). Raises ``UnreadableLog`` naming the hint."""
    found: dict[int, tuple[str, int | None, str | None]] = {}
    known = {plain(name).strip(): i for i, name in reversed(list(enumerate(names))) if name}
    exact = {name.strip(): i for i, name in reversed(list(enumerate(names))) if name}
    for key, wanted in columns.items():
        index = exact.get(key.strip(), known.get(plain(key).strip()))  # "t" and "T" may both be there
        if index is None and re.fullmatch(r"[1-9]\d{0,2}", key.strip()) and int(key) <= len(names):
            index = int(key) - 1
        if index is None:
            have = ", ".join(name for name in names if name) or f"numbers 1 to {len(names)}"
            raise UnreadableLog(
                f"[kiln.log] columns names {key!r}, but this log has no such column.", remedy=f"It has: {have}."
            )
        found[index] = _hinted_role(key, wanted)
    return found


def _hinted_role(key: str, wanted: str) -> tuple[str, int | None, str | None]:
    text = " ".join(wanted.lower().split())
    for role in sorted(ROLES, key=len, reverse=True):
        if text == role:
            return role, None, None
        if role in PER_ZONE and text.startswith(role + " "):
            rest = " ".join(wanted.split())[len(role) + 1 :]
            return (role, int(rest), None) if rest.isdigit() else (role, None, rest)
    raise UnreadableLog(
        f"[kiln.log] columns: {key!r} is given the role {wanted!r}, which is none.",
        remedy=f"Use one of: {', '.join(ROLES)} (zone, set point, output and amps may be followed by a zone).",
    )

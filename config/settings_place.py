"""Where in ``coilwatch.toml`` a field stands, and the message that names file, line, field and remedy.

Neither the TOML reader nor the validator says on which line a value stands, so the headers and keys are found
again in the text. Values are never shown: one of them may be a secret.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pydantic import BaseModel

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"""^\s*(?P<key>(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")

Location = tuple[str | int, ...]


class SettingsError(Exception):
    """Settings that cannot be used: the message names file, line, field and remedy, one problem a line."""


def _split(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PART.findall(dotted)]


def places(text: str) -> dict[Location, int]:
    """Return the line (from 1) of each table header and key of a TOML text, by its path."""
    found: dict[Location, int] = {}
    counts: dict[Location, int] = {}
    here: Location = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            path: Location = ()
            names = _split(header[2])
            for depth, name in enumerate(names):
                path = (*path, name)
                if header[1] == "[[" and depth == len(names) - 1:
                    counts[path] = counts.get(path, -1) + 1
                if path in counts:
                    path = (*path, counts[path])
            here = path
            found.setdefault(here, number)
        elif key := _KEY.match(line):
            path = here
            for name in _split(key["key"]):
                path = (*path, name)
                found.setdefault(path, number)
    return found


def line_of(location: Location, where: Mapping[Location, int]) -> int | None:
    """Return the line of the longest part of ``location`` that stands in the file."""
    for length in range(len(location), 0, -1):
        if location[:length] in where:
            return where[location[:length]]
    return None


def form_at(form: type[BaseModel], location: Sequence[str | int]) -> type[BaseModel] | None:
    """Return the form of the table at ``location``, or None if it holds free keys."""
    current: type[BaseModel] | None = form
    for part in location:
        if isinstance(part, int):
            continue
        field = current.model_fields.get(part) if current is not None else None
        if field is None:
            return None
        current = _inner_form(field.annotation)
    return current


def _inner_form(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401 - any type expression
    from pydantic import BaseModel  # noqa: PLC0415 - who wants the wording alone need not wait for it

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        if (inner := _inner_form(argument)) is not None:
            return inner
    return None


def remedy(form: type[BaseModel], location: Location) -> str:
    """Return what should stand at ``location``: the description of the field it belongs to."""
    for length in range(len(location), 0, -1):
        name = location[length - 1]
        table = form_at(form, location[: length - 1])
        if table is not None and isinstance(name, str) and name in table.model_fields:
            field = table.model_fields[name]
            return "" if _inner_form(field.annotation) else field.description or ""
    return ""


def did_you_mean(form: type[BaseModel], location: Location) -> str:
    """Return a hint for an unknown key: the nearest known one, or all that are known there."""
    table = form_at(form, location[:-1])
    if table is None:
        return ""
    known = sorted(table.model_fields)
    near = difflib.get_close_matches(str(location[-1]).lower(), known, n=1, cutoff=0.6)
    return f"Did you mean {near[0]!r}?" if near else f"Known here: {', '.join(known)}."


def spelled(location: Location, data: Mapping[str, Any]) -> str:
    """Return a location as people read it: ``kiln "juniper", circuit "top", elements``."""
    words: list[str] = []
    here: Any = data
    for part in location:
        here = (
            here[part]
            if isinstance(here, list) and isinstance(part, int) and part < len(here)
            else (here.get(part) if isinstance(here, Mapping) else None)
        )
        if isinstance(part, int):
            label = here.get("id", here.get("name")) if isinstance(here, Mapping) else None
            words[-1] += f' "{label}"' if isinstance(label, str) else f" number {part + 1}"
        else:
            words.append(part)
    return ", ".join(words)


def message(
    file: Path, text: str, data: Mapping[str, Any], form: type[BaseModel], errors: Iterable[Mapping[str, Any]]
) -> str:
    """Return one message for validation errors (from ``errors(include_input=False)``), one problem a line."""
    where = places(text)
    lines = []
    for error in errors:
        location = tuple(part for part in error["loc"] if part != "[key]")
        line = line_of(location, where)
        known_in_file = location[:1] and location[0] in data
        place = (
            f"{file}:{line}" if line else f"{file}" if known_in_file or not location else f"{file} or the environment"
        )
        field = spelled(location, data) or "the file as a whole"
        kind, said = error["type"], str(error["msg"]).removeprefix("Value error, ")
        if kind == "extra_forbidden":
            lines.append(f"{place}: {field}: there is no such setting. {did_you_mean(form, location)}".rstrip())
        elif kind == "missing":
            lines.append(f"{place}: {field}: is missing. Write {location[-1]} = ...: {remedy(form, location)}.")
        elif kind == "model_type":
            lines.append(f"{place}: {field}: should be a table of its own, written [{location[-1]}].")
        else:
            should = remedy(form, location)
            lines.append(f"{place}: {field}: {said}.{f' It should be {should}.' if should else ''}")
    return "\n".join(dict.fromkeys(lines))

"""Logs of one JSON object a line (flat, or nested a few levels) as a table."""

import json
import math
import re
from typing import Any

import numpy as np

from analysis.reading.encoding import PlainText
from analysis.reading.firing_log import FloatArray, UnreadableLog
from analysis.reading.nested import Flat, flattened
from analysis.reading.rows import Bytes, Stray, stretches, within_reason
from analysis.reading.shape import Shape, column_kind, kind_of, middle_lines
from analysis.reading.table import Table, numbers_from_text, table_of

_MOST_COLUMNS = 64
_WIDEST_TEXT = 48
_NESTED = re.compile(rb'"\s*:\s*[\[{]')
_LISTED = re.compile(r'"\s*:\s*\[')
"""Where a value is an object or a list, and where a list."""
_DAMAGE = 0.05
"""Rows where a bracket may be nothing but damage, by share."""
_BETWEEN = " \t\r\n,]"
_MOST_DAMAGED = 500
"""Objects of an array that may be damaged before the rest is given up: each may be looked through to the file's end."""


def looks_like_json(plain: PlainText) -> bool:
    """Tell whether most of the first lines are JSON objects (or the file is one array of them)."""
    head = plain.body[:4000].lstrip()
    if b"{" not in head:
        return False
    if head[:1] == b"[" and head[1:].lstrip()[:1] == b"{":
        return True
    lines = [line.strip() for line in plain.body[:20_000].split(b"\n")[:30] if line.strip()]
    return sum(line[:1] == b"{" for line in lines) * 2 > len(lines)


def json_table(plain: PlainText) -> Table:
    """Read a log of JSON lines. Raises ``UnreadableLog`` if no line holds an object."""
    records, strays, cut, empty, lines = _records(plain)
    if not records:
        raise UnreadableLog("no line holds a JSON object.", remedy="Check the file.")
    n = len(records)
    flat = flattened(records, _MOST_COLUMNS) if _may_nest(plain.body, n) else None
    if flat is None:
        flat = Flat(records, _names(records), frozenset(), [])
    records, names = flat.records, flat.names
    numbers: list[FloatArray | None] = []
    texts: dict[int, list[str]] = {}
    stamps, bad = set(), {}
    for i, name in enumerate(names):
        column = [record.get(name) for record in records]
        values = _as_numbers(column)
        if values is None:
            texts[i] = ["" if value is None else _word(value) for value in column]
            if _is_stamp(texts[i]):
                stamps.add(i)
            elif (found := numbers_from_text(texts[i], ".")) is not None:
                values = found[0]
                if found[1]:
                    bad[i] = (found[1], found[2])
        numbers.append(values)

    def text(i: int, most: int | None) -> Bytes:
        words = texts[i][:most]
        cells = np.array([word.encode("utf-8", "replace")[:_WIDEST_TEXT] or b" " for word in words], dtype=bytes)
        width = cells.dtype.itemsize
        block = cells.view(np.uint8).reshape(len(words), width)
        return np.where(block == 0, np.uint8(32), block)

    return Table(
        "JSON lines",
        "",
        ".",
        names,
        ("",) * len(names),
        None,
        (),
        n,
        numbers,
        frozenset(stamps),
        text,
        lambda row: " ".join(_word(value) for value in records[row].values()).encode("utf-8", "replace"),
        strays,
        bad,
        empty=empty,
        cut=cut,
        lines=lines,
        notes=flat.notes,
        mute=flat.mute,
    )


def _nests(body: bytes) -> bool:
    """Tell whether objects or lists stand in more places than damage puts them."""
    rows = _count(body, b"\n")
    return _may_nest(body, rows) and len(_NESTED.findall(body)) > _DAMAGE * rows


def _may_nest(body: bytes, objects: int) -> bool:
    """Tell at a glance (it costs flat logs nothing) whether there may be objects or lists inside the objects."""
    return _count(body, b"{") > objects or b"[" in body


def _count(body: bytes, mark: bytes) -> int:
    """Return how often one character stands in ``body``: where there are many, several times quicker than its own."""
    return int(np.count_nonzero(np.frombuffer(body, np.uint8) == mark[0]))


def _names(records: list[dict[str, Any]]) -> tuple[str, ...]:
    usual = records[0].keys()
    seen = dict.fromkeys((*usual, *records[len(records) // 2], *records[-1]))
    for record in records:
        if record.keys() != usual:
            seen.update(dict.fromkeys(record))
    return tuple(list(seen)[:_MOST_COLUMNS])


def uniform_json_table(plain: PlainText) -> Table | None:
    """Read JSON lines that all have the same flat keys in the same order (the common case), quickly.

    The keys are taken out, the values stay as a delimited table. None where the lines are not that uniform.
    """
    body, cut = plain.body, None
    if body[-1:] != b"\n":
        at = body.rfind(b"\n") + 1
        if body.endswith(b"}"):
            body += b"\n"
        else:
            body, cut = body[:at], plain.text(body[at : at + 500])
    end = body.find(b"\n")
    if end < 0 or b"\\" in body:
        return None
    literals = _literals(body[:end])
    if literals is None or _nests(body):
        return None
    names, pieces = literals
    data = np.frombuffer(body, np.uint8)
    ends = np.flatnonzero(data == 10)
    commas = np.flatnonzero(data == 44)
    if commas.size != ends.size * (len(pieces) - 1):
        return None
    starts = np.empty((len(pieces), ends.size), np.intp)
    starts[0, 0], starts[0, 1:] = 0, ends[:-1] + 1
    starts[1:] = commas.reshape(ends.size, len(pieces) - 1).T + 1
    if int(starts[-1].max()) + max(map(len, pieces)) >= data.size or bool((starts[1:] <= starts[:-1]).any()):
        return None
    keep = data != 34
    for begin, piece in zip(starts, pieces, strict=True):
        if not bool((stretches(data, len(piece))[begin] == np.void(piece)).all()):
            return None
        stretches(keep, len(piece))[begin] = np.void(bytes(len(piece)))
    if not bool((data[ends - 1] == 125).all()):
        return None
    keep[ends - 1] = False
    bare = data[keep].tobytes()
    rows = [cells for line in middle_lines(bare) if len(cells := plain.text(line).split(",")) == len(names)]
    kinds = tuple(column_kind([row[i] for row in rows]) for i in range(len(names)))
    blank = ("",) * len(names)
    shape = Shape(",", ".", len(names), names, blank, None, (), 0, 0, kinds)
    table = table_of(plain, shape, bare)
    table.form, table.delimiter = "JSON lines", ""
    table.cut = cut
    table.lines += cut is not None
    return table


def _literals(line: bytes) -> tuple[tuple[str, ...], list[bytes]] | None:
    """Return the keys of one flat JSON object and the bytes before each value (up to and with an opening quote)."""
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict) or not 2 <= len(record) <= _MOST_COLUMNS:
        return None
    if any(isinstance(value, dict | list) for value in record.values()):
        return None
    pieces = []
    for k, part in enumerate(line.split(b",")):
        match = re.match(rb'(?:\{\s*)?\s*"[^"\\]*"\s*:\s*"?' if k == 0 else rb'\s*"[^"\\]*"\s*:\s*"?', part)
        if match is None:
            return None
        pieces.append(match[0])
    return (tuple(record), pieces) if len(pieces) == len(record) else None


def _records(plain: PlainText) -> tuple[list[dict[str, Any]], list[Stray], str | None, int, int]:
    text = plain.text(plain.body)
    stripped = text.strip()
    if stripped[:1] == "[":
        if _LISTED.search(stripped):
            return _array(stripped)
        text = re.sub(r"\}\s*,\s*\{", "}\n{", stripped.lstrip("[").rstrip().removesuffix("]"))
    lines = [line.strip() for line in text.split("\n")]
    whole = text.endswith("\n") or _is_object(lines[-1])
    if lines and not lines[-1]:
        lines.pop()
    cut = None
    if not whole and lines:
        cut = lines[-1][:500]
    body = lines[:-1] if cut is not None else lines
    try:
        records = json.loads("[" + ",".join(body) + "]")
        if all(type(record) is dict for record in records) and len(records) == len(body):
            return records, [], cut, 0, len(lines)
    except (ValueError, RecursionError):
        pass
    return *_line_by_line(body), cut, *_counts(lines)


def _array(text: str) -> tuple[list[dict[str, Any]], list[Stray], str | None, int, int]:
    """Read one array of objects that hold lists, where a line's end or a comma between braces parts no records.

    An object that is damaged is left out up to the end of its line; one without an end is the cut one.
    """
    records: list[dict[str, Any]] = []
    strays: list[Stray] = []
    cut = None
    decoder = json.JSONDecoder()
    at = 1
    while at < len(text):
        if text[at] in _BETWEEN:
            at += 1
            continue
        try:
            record, end = decoder.raw_decode(text, at)
        except (ValueError, RecursionError):
            record, end = None, text.find("\n", at)
            if end < 0 or len(strays) >= _MOST_DAMAGED:
                cut = text[at : at + 500]
                break
        if isinstance(record, dict):
            records.append(record)
        else:
            strays.append(Stray(len(records), text[at : min(end, at + 500)].encode("utf-8", "replace")))
        at = end
    return records, strays, cut, 0, len(records) + len(strays) + (cut is not None)


def _is_object(line: str) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except (ValueError, RecursionError):
        return False


def _as_numbers(column: list[Any]) -> FloatArray | None:
    """Return a column as numbers (None becomes NaN, true 1), or None if it holds anything else."""
    if any(isinstance(value, str) for value in column[:50]):
        return None
    try:
        values = np.array(column, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        return None
    return within_reason(values) if values.ndim == 1 else None


def _counts(lines: list[str]) -> tuple[int, int]:
    return sum(not line for line in lines), len(lines)


def _line_by_line(lines: list[str]) -> tuple[list[dict[str, Any]], list[Stray]]:
    records: list[dict[str, Any]] = []
    strays: list[Stray] = []
    for line in lines:
        if not line:
            continue
        try:
            record = json.loads(line.rstrip(","))
        except (ValueError, RecursionError):
            record = None
        if isinstance(record, dict):
            records.append(record)
        else:
            strays.append(Stray(len(records), line[:500].encode("utf-8", "replace")))
    return records, strays


def _word(value: Any) -> str:  # noqa: ANN401 - whatever JSON holds
    if isinstance(value, str):
        return value[:200]
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, int | float):
        return repr(value) if isinstance(value, float) and math.isfinite(value) else str(value)[:40]
    return ""


def _is_stamp(words: list[str]) -> bool:
    sample = [word for word in words[:: max(1, len(words) // 40)] if word]
    return bool(sample) and sum(kind_of(word) == "stamp" for word in sample) * 2 > len(sample)

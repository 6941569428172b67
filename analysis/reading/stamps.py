"""Dates, clocks and durations in columns of text: split into numbers by their pattern, for all rows at once.

A *pattern* is the text of a cell with every run of digits replaced by ``#``: ``2026-03-02T08:14:00Z`` has the
pattern ``#-#-#T#:#:#Z``. A file has a handful of patterns, so that Python looks at patterns, numpy at rows.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray
from analysis.reading.rows import Bytes

_MOST_LAYOUTS = 400
_POWERS = 10.0 ** np.arange(64)


@dataclass(frozen=True, slots=True)
class Pattern:
    """All rows with one pattern: ``rows`` their indices, ``numbers`` shape (rows, runs), ``digits`` of each run.

    ``digits`` is the common number of digits of each run, 0 where it varies from row to row.
    """

    text: str
    rows: NDArray[np.intp]
    numbers: FloatArray
    digits: tuple[int, ...]


def patterns(cells: Bytes) -> list[Pattern]:
    """Return the patterns of a column given as characters of shape (n, width), most frequent first.

    Rows whose layout is one of too many different ones (free text) are in no pattern.
    """
    n, width = cells.shape
    if not n or not width:
        return []
    digit = cells - np.uint8(48) < 10  # what comes before 0 wraps round to above 9
    found: dict[str, list[tuple[NDArray[np.intp], FloatArray, tuple[int, ...]]]] = {}
    for rows in _same_layout(digit):
        block, mask = cells[rows] if rows.size < n else cells, digit[rows[0]]
        runs = _runs(mask)
        places = np.ascontiguousarray(block.T)  # the characters of one place together: quicker by place
        numbers = np.empty((len(runs), rows.size)).T
        for k, (start, stop) in enumerate(runs):
            numbers[:, k] = _number(places[start:stop])
        digits = tuple(stop - start for start, stop in runs)
        for same, text in _same_text(block, mask, runs):
            found.setdefault(text, []).append((rows[same], numbers[same], digits))
    out = []
    for text, parts in found.items():
        rows, numbers = parts[0][:2]
        if len(parts) > 1:
            rows = np.concatenate([part[0] for part in parts])
            numbers = np.concatenate([part[1] for part in parts])
        lengths = {part[2] for part in parts}
        digits = tuple(d[0] if len(set(d)) == 1 else 0 for d in zip(*lengths, strict=True))
        out.append(Pattern(text, rows, numbers, digits))
    return sorted(out, key=lambda p: -p.rows.size)


def _same_layout(digit: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Group rows whose digits stand in the same places."""
    n = digit.shape[0]
    if bool((digit == digit[0]).all()):
        return [np.arange(n)]
    width = digit.shape[1]
    room = 16 if width <= 16 else 32 if width <= 32 else 64
    padded = np.zeros((n, room), bool)
    padded[:, : min(width, room)] = digit[:, :room]
    packed = np.packbits(padded)
    return _alike(packed.view(f"u{room // 8}"))


def _alike(codes: NDArray[np.unsignedinteger[Any]]) -> list[NDArray[np.intp]]:
    """Return the rows of each code, most frequent first; there are few codes, so that one pass each is quickest."""
    groups: list[NDArray[np.intp]] = []
    left = np.arange(codes.size)
    while left.size and len(groups) < _MOST_LAYOUTS:
        same = codes[left] == codes[left[0]]
        groups.append(left[same])
        left = left[~same]
    groups.sort(key=len, reverse=True)
    return groups


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = (np.flatnonzero(mask[1:] != mask[:-1]) + 1).tolist()
    edges = [*([0] if mask[0] else []), *edges, *([mask.size] if mask[-1] else [])]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _same_text(
    block: Bytes, mask: NDArray[np.bool_], runs: list[tuple[int, int]]
) -> list[tuple[NDArray[np.intp] | slice, str]]:
    """Split a group further by the characters between the digits."""
    between = block[:, ~mask]
    if bool((between == between[0]).all()):
        return [(slice(None), _pattern_text(block[0], runs))]
    n, width = between.shape
    if width > 8:
        return _same_long_text(block, between, runs)
    padded = np.zeros((n, 8), np.uint8)
    padded[:, :width] = between
    return [(rows, _pattern_text(block[rows[0]], runs)) for rows in _alike(padded.view(np.uint64).ravel())]


def _same_long_text(
    block: Bytes, between: Bytes, runs: list[tuple[int, int]]
) -> list[tuple[NDArray[np.intp] | slice, str]]:
    out: list[tuple[NDArray[np.intp] | slice, str]] = []
    left = np.arange(block.shape[0])
    while left.size and len(out) < _MOST_LAYOUTS:
        same = (between[left] == between[left[0]]).all(axis=1)
        rows = left[same]
        out.append((rows, _pattern_text(block[rows[0]], runs)))
        left = left[~same]
    return out


def _number(places: Bytes) -> NDArray[np.float64] | NDArray[np.int32]:
    """Return the number (n,) whose digits, first to last, stand in ``places`` (digits, n)."""
    count = places.shape[0]
    if count > 9:
        return (places.T - np.float64(48)) @ _POWERS[count - 1 :: -1][:count]
    number: NDArray[np.int32] = places[0].astype(np.int32) - 48
    for place in places[1:]:
        number *= 10
        number += place - np.uint8(48)
    return number


def _pattern_text(cell: Bytes, runs: list[tuple[int, int]]) -> str:
    text = bytes(cell).decode("latin-1").replace("#", "\0")
    for start, stop in reversed(runs):
        text = text[:start] + "#" + text[stop:]
    return text.strip()

"""Logs whose lines are ``key=value`` pairs as a table: the keys are taken out, the values stay as cells.

Lines written like most are done all at once; only the others (keys missing, in another order, or events) are taken
apart one by one.
"""

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.reading.encoding import PlainText
from analysis.reading.names import what_name_says
from analysis.reading.pairs import Grammar, Pairs, bare_value, grammar_of, taken_apart
from analysis.reading.rows import Bytes, Places, may_be_whole
from analysis.reading.shape import DELIMITERS, Shape, column_kind, decimal_of, kind_of, middle_lines
from analysis.reading.table import Table, table_of
from config.kiln import LogHints

FORM = "key=value lines"
_CELL = b"\x1f"
_NEWLINE = 10
_MOST_COLUMNS = 60
_RARE, _RARE_ROWS = 0.01, 3
"""Keys in fewer rows than this (by share, and at the least) are no columns but say something of their row: a column,
and with it perhaps a zone, of a few rows would be worse."""
_LONGEST_PREAMBLE = 200
_SPLIT_LIKE = (Grammar(b"=", b" "), Grammar(b":", b" "))


@dataclass(slots=True)
class _Lines:
    """All lines of a log, their ends at ``stops``, a mark before each value of the ``plain`` ones.

    Of these ``keep`` says which bytes stay; ``pairs`` are the other rows by line number. What is in neither is text.
    """

    data: Bytes
    keep: NDArray[np.bool_]
    starts: Places
    stops: Places
    plain: NDArray[np.bool_]
    pairs: dict[int, Pairs]
    text: bytes

    def line(self, number: int) -> bytes:
        """Return a line as it stands in the file."""
        return self.text[int(self.starts[number]) : int(self.stops[number])]

    def drop_last(self) -> None:
        """Leave the last line out."""
        self.pairs.pop(self.plain.size - 1, None)
        self.starts, self.stops, self.plain = self.starts[:-1], self.stops[:-1], self.plain[:-1]


def pair_grammar(plain: PlainText, hints: LogHints) -> Grammar | None:
    """Return how a log's pairs are written; None if it is no log of pairs (a look at a few lines)."""
    if hints.delimiter is not None and hints.delimiter not in DELIMITERS:
        return None
    return grammar_of(middle_lines(plain.body), hints.delimiter)


def pair_table(plain: PlainText, grammar: Grammar, hints: LogHints) -> Table | None:
    """Read a log of pairs; None if it holds no row."""
    body = plain.body.replace(_CELL, b" ")
    model = _most_usual(middle_lines(body), grammar)
    if model is None or len(model.keys) > _MOST_COLUMNS:
        return None
    lines = _sorted_out(body, model, grammar)
    rows = sorted({*np.flatnonzero(lines.plain).tolist(), *lines.pairs})
    cut = None
    if body[-1:] != b"\n":
        last = lines.plain.size - 1
        if len(rows) < 2 or last != rows[-1] or not _ends_like(lines, model, *rows[-2:]):
            cut = plain.text(lines.line(last)[:500])
            lines.drop_last()
            rows = [row for row in rows if row != last]
    if not rows:
        return None
    keys, rare = _columns(lines, model, len(rows))
    names = tuple(plain.text(key) for key in keys)
    names = (*(("time",) if model.stamp else ()), *names, *(("event",) if rare else ()))
    bare = _rewritten(lines, model, keys, rare, rows[0])
    delimiter = _CELL.decode()
    sample = [cells for line in middle_lines(bare) if len(cells := plain.text(line).split(delimiter)) == len(names)]
    kinds = tuple(column_kind([cells[i] for cells in sample]) for i in range(len(names)))
    shape = Shape(
        delimiter,
        hints.decimal or decimal_of(sample, delimiter),
        len(names),
        names,
        ("",) * len(names),
        None,
        _preamble(plain, [lines.line(i) for i in range(min(rows[0], _LONGEST_PREAMBLE))], grammar),
        0,
        rows[0],
        kinds,
    )
    table = table_of(plain, shape, bare)
    table.form, table.delimiter, table.cut = FORM, "", cut
    table.lines += cut is not None
    return table


def _most_usual(lines: list[bytes], grammar: Grammar) -> Pairs | None:
    """Return a line that is written like most."""
    found = [pairs for line in lines if (pairs := taken_apart(line, grammar)) is not None]
    if not found:
        return None
    literals, _ = Counter((pairs.literals, bool(pairs.stamp)) for pairs in found).most_common(1)[0]
    return next(pairs for pairs in found if (pairs.literals, bool(pairs.stamp)) == literals)


def _sorted_out(body: bytes, model: Pairs, grammar: Grammar) -> _Lines:
    """Mark the values of all lines that are written like the model, and take the others apart."""
    if body[-1:] != b"\n":
        body += b"\n"
    data = np.frombuffer(body, np.uint8).copy()
    stops, signs = np.flatnonzero(data == _NEWLINE), np.flatnonzero(data == grammar.sign[0])
    starts = np.concatenate(([0], stops[:-1] + 1))
    total = model.line.count(grammar.sign)
    counts = np.diff(np.searchsorted(signs, stops), prepend=0)
    plain = counts == total
    signs = signs[np.repeat(plain, counts)].reshape(-1, total)
    begin, end = starts[plain], stops[plain]
    fits = np.ones(begin.size, np.bool_)
    at = [signs[:, model.line.count(grammar.sign, 0, end) - 1] for end in model.ends]
    for literal, place in zip(model.literals, at, strict=True):
        fits &= _reads(data, place - (len(literal) - 1), literal)
        fits &= place - len(literal) >= begin - 1
    fits &= (at[0] - len(model.literals[0]) >= begin) == bool(model.stamp)
    fits &= _reads(data, begin, model.opening) & _reads(data, end - len(model.tail), model.tail)
    for mark in b"\\'":  # the table's rows know double quotes only
        if bytes((mark,)) in body:
            places = np.flatnonzero(data == mark)
            fits &= np.searchsorted(places, begin) == np.searchsorted(places, end)
    plain[plain] = fits
    keep = np.ones(data.size, np.bool_)
    _leave_out(keep, begin[fits], model.opening)
    _leave_out(keep, end[fits] - len(model.tail), model.tail)
    for number, (literal, place) in enumerate(zip(model.literals, at, strict=True)):
        _leave_out(keep, place[fits] - (len(literal) - 1), literal)
        data[place[fits]] = _CELL[0]
        keep[place[fits]] = number > 0 or bool(model.stamp)
    lines = _Lines(data, keep, starts, stops, plain, {}, body)
    for line in np.flatnonzero(~plain & (stops > starts)).tolist():
        pairs = taken_apart(lines.line(line), grammar)
        if pairs is not None:
            lines.pairs[line] = pairs
    lines.pairs = _rows_among(lines.pairs, model, plain)
    return lines


def _reads(data: Bytes, places: Places, literal: bytes) -> NDArray[np.bool_]:
    """Tell at which places a text stands."""
    if not literal or not places.size:
        return np.ones(places.size, np.bool_)
    if data.size < len(literal):
        return np.zeros(places.size, np.bool_)
    # every stretch as long as the text, as a view (numpy's own sliding window takes ten times as long to make)
    stretches = (data.size - len(literal) + 1, len(literal))
    inside = places.clip(0, stretches[0] - 1)
    found: Bytes = np.ndarray(stretches, np.uint8, data, strides=(1, 1))[inside]
    same: NDArray[np.bool_] = (found == np.frombuffer(literal, np.uint8)).all(axis=1)
    same &= inside == places
    return same


def _leave_out(keep: NDArray[np.bool_], places: Places, literal: bytes) -> None:
    if literal and places.size:
        np.ndarray((keep.size - len(literal) + 1, len(literal)), np.bool_, keep, strides=(1, 1))[places] = False


def _rows_among(found: dict[int, Pairs], model: Pairs, plain: NDArray[np.bool_]) -> dict[int, Pairs]:
    """Return the lines that are rows: they share a key with most rows; above the first of these, half of its keys."""
    usual = set(model.keys)
    first = int(np.argmax(plain)) if plain.any() else 0
    rows = {}
    for line, pairs in found.items():
        shared = len(usual.intersection(pairs.keys))
        if shared and (line > first or 2 * shared >= len(usual)):
            rows[line] = pairs
    return rows


def _ends_like(lines: _Lines, model: Pairs, last: int, before: int) -> bool:
    """Tell whether a last line without an end is whole: the keys of the row before, and as long a last value."""
    keys, value = _keys_and_end(lines, model, last)
    other, usual = _keys_and_end(lines, model, before)
    return keys == other and may_be_whole(value, usual)


def _keys_and_end(lines: _Lines, model: Pairs, line: int) -> tuple[tuple[bytes, ...], bytes]:
    if line in lines.pairs:
        return lines.pairs[line].keys, lines.pairs[line].values[-1]
    return model.keys, lines.line(line).rpartition(model.literals[-1])[2].strip()


def _columns(lines: _Lines, model: Pairs, rows: int) -> tuple[list[bytes], set[bytes]]:
    """Return the columns' keys, and those of too few rows to be columns."""
    usual = set(model.keys)
    others = Counter(key for pairs in lines.pairs.values() for key in pairs.keys if key not in usual)
    least = max(_RARE_ROWS, _RARE * rows)
    common = [key for key, count in others.items() if count >= least][: _MOST_COLUMNS - len(usual)]
    return [*model.keys, *common], others.keys() - common


def _rewritten(lines: _Lines, model: Pairs, keys: list[bytes], rare: set[bytes], first: int) -> bytes:
    """Return the lines from the first row on, rows as cells in the order of the columns, all others as they are."""
    more = _CELL * (len(keys) - len(model.keys) + bool(rare))
    pieces: list[bytes] = []
    at = first
    for line in [*(first + np.flatnonzero(~lines.plain[first:])).tolist(), lines.plain.size]:
        if line > at:
            span = slice(int(lines.starts[at]), int(lines.stops[line - 1]) + 1)
            cells = lines.data[span][lines.keep[span]].tobytes()
            pieces.append(cells.replace(b"\n", more + b"\n") if more else cells)
        if line < lines.plain.size:
            pairs = lines.pairs.get(line)
            pieces.append((lines.line(line) if pairs is None else _row(pairs, model, keys, rare)) + b"\n")
        at = line + 1
    return b"".join(pieces)


def _row(pairs: Pairs, model: Pairs, keys: list[bytes], rare: set[bytes]) -> bytes:
    """Return one line's values as cells; what its rare keys hold is said in a last one."""
    values = dict(zip(pairs.keys, map(bare_value, pairs.values), strict=True))
    cells = [pairs.stamp] if model.stamp else []
    cells += [values.get(key, b"") for key in keys]
    if rare:
        cells.append(b" ".join(_said(key, values[key]) for key in pairs.keys if key in rare))
    return _CELL.join(cells)


def _said(key: bytes, value: bytes) -> bytes:
    if what_name_says(key.decode("latin-1")).role == "message" and kind_of(value.decode("latin-1")) == "word":
        return value
    return key + b"=" + value


def _preamble(plain: PlainText, lines: list[bytes], grammar: Grammar) -> tuple[str, ...]:
    """Return the lines above the rows, each pair as a line of its own, as other logs write them."""
    out: list[str] = []
    for line in lines:
        bare = line.strip().lstrip(b"#/;* ")
        found = (taken_apart(bare, each) for each in (grammar, *_SPLIT_LIKE))
        pairs = next((each for each in found if each is not None and len(each.keys) > 1), None)
        if pairs is None:
            out += [plain.text(line).strip()] if line.strip() else []
            continue
        out += [plain.text(text) for text in (pairs.stamp, pairs.junk) if text]
        values = map(bare_value, pairs.values)
        out += [f"{plain.text(key)}={plain.text(value)}" for key, value in zip(pairs.keys, values, strict=True)]
    return tuple(out)

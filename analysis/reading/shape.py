"""The shape of a table of text: delimiter, decimal mark, preamble, header, units row, where the samples begin."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from analysis.reading.encoding import PlainText
from analysis.reading.firing_log import UnreadableLog

Kind = Literal["number", "marked number", "stamp", "word", "empty"]
Decimal = Literal[".", ","]

_MEASURED = frozenset({"number", "marked number", "stamp"})
_BY_WEIGHT: tuple[Kind, ...] = ("number", "marked number", "stamp", "word")
DELIMITERS = (";", "\t", "|", ",", " ")
_PLAIN = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_MARKED = re.compile(
    r"[+-]?\d{1,3}(?:[.,'\u00a0\u202f ]\d{3})*(?:[.,]\d+)?\s?(?:%|°?\s?[CFK]|V|A|kW|s|min|h)?"
    r"|[+-]?\d+(?:[.,]\d+)?\s?(?:%|°?\s?[CFK]|V|A|kW|s|min|h)"
)
_STAMP = re.compile(
    r"(?=[^:]*\d+:\d|\D*\d+[-/.]\w+[-/.]\d)[\w:/.+\- ]{2,40}(?:,[\w:/.+\- ]{1,20})?"
    r"|\d{8}T\d{4,6}[\w+\-:]*|[AaPp]\.?[Mm]\.?"
)
_CLOCK_AND_NUMBER = re.compile(r":\d\d\s+[+-]?\d+$")  # two columns, cut at a decimal comma ...
_YEAR_LAST = re.compile(r"[A-Za-z ,.]+\d{1,2},? +\d{1,2}:\d\d(?::\d\d)? +(?:19|20)\d\d")  # ... or a year
_UNIT_WORDS = frozenset(
    [
        "c",
        "f",
        "°c",
        "°f",
        "k",
        "degc",
        "degf",
        "deg",
        "c",
        "deg",
        "f",
        "grad",
        "celsius",
        "fahrenheit",
        "%",
        "pct",
        "v",
        "volt",
        "volts",
        "a",
        "amp",
        "amps",
        "ampere",
        "s",
        "sec",
        "secs",
        "second",
        "seconds",
        "sek",
        "min",
        "mins",
        "minute",
        "minutes",
        "minuten",
        "h",
        "hr",
        "hrs",
        "hour",
        "hours",
        "std",
        "hh:mm:ss",
        "hh:mm",
        "mm:ss",
        "kw",
        "w",
        "kwh",
        "ms",
        "on/off",
        "0/1",
        "yyyy-mm-dd",
        "dd.mm.yyyy",
        "dd/mm/yyyy",
        "mm/dd/yyyy",
        "iso",
    ]
) | {"deg c", "deg f", "º c", "º f", "ºc", "ºf"}
_NO_VALUE = frozenset({"-", "--", "---", "n/a", "na", "nan", "null", "none", "."})
_RULER = re.compile(r"[\s\-=_+|;,:*#~]+")
_COMMENT = re.compile(r"^\s*(?:#|//|;)\s?(?=\S)")
_SIGN = re.compile(r"^(?:#|//)\s*")
_SHORT_HEAD_BYTES, _HEAD_BYTES = 2_000, 40_000
_LONGEST_CELL = 60
_FIRST_ROWS = 4
_HEAD_LINES = 6
_LONGEST_LINE = 2000


@dataclass(frozen=True, slots=True)
class Shape:
    """One table's shape. ``delimiter`` " " stands for runs of blanks; ``start`` is a byte offset into the body.

    ``names`` and ``units`` have one entry a column, empty where the file gives none. ``kinds`` is what the cells
    of each column mostly are.
    """

    delimiter: str
    decimal: Decimal
    columns: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int | None
    preamble: tuple[str, ...]
    start: int
    head_lines: int
    kinds: tuple[Kind, ...]
    header: bytes = b""


_MARK = re.compile(r"[\t !#$%&'()*,/:;<=>?@\[\\\]^_`{|}~]")
"""What may part columns: ASCII, and nothing that stands in a number, a word or about a cell."""


@lru_cache(maxsize=8192)
def kind_of(cell: str) -> Kind:
    """Say what one cell looks like by itself."""
    if len(cell) > _LONGEST_CELL:
        return "word"
    cell = cell.strip().strip('"').strip()
    if cell[:1] == "[" and cell[-1:] == "]":
        cell = cell[1:-1].strip()
    if _PLAIN.fullmatch(cell):
        return "number"
    if not cell or cell.lower() in _NO_VALUE:
        return "empty"
    if _MARKED.fullmatch(cell):
        return "marked number"
    if _STAMP.fullmatch(cell) and (not _CLOCK_AND_NUMBER.search(cell) or _YEAR_LAST.fullmatch(cell)):
        return "stamp"
    return "word"


def split_cells(line: str, delimiter: str) -> list[str]:
    """Split one line, minding double quotes; cells come back stripped and unquoted."""
    if delimiter == " ":
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    parts: list[str] = []
    cell: list[str] = []
    quoted = False
    for char in line:
        if char == '"':
            quoted = not quoted
        elif char == delimiter and not quoted:
            parts.append("".join(cell).strip())
            cell = []
        else:
            cell.append(char)
    return [*parts, "".join(cell).strip()]


def table_shape(plain: PlainText, *, delimiter: str | None = None, decimal: Decimal | None = None) -> Shape:
    """Find the shape from the head of the file and samples of its middle.

    ``delimiter`` and ``decimal`` are the register's hints. Raises ``UnreadableLog`` where no table is found.
    """
    body = plain.body
    middle = [plain.text(line) for line in middle_lines(body)]
    if delimiter is not None and not _MARK.fullmatch(delimiter):
        raise UnreadableLog(
            f"[kiln.log] delimiter = {delimiter!r} must be one plain character that stands in no number.",
            remedy='Use "," ";" "|" "\\t" or " ".',
        )
    score, marks, found = _best(middle, DELIMITERS if delimiter is None else (delimiter,))
    if score <= 0.0:
        raise UnreadableLog(
            "no table of numbers was found."
            if delimiter is None
            else f"no table of numbers was found with [kiln.log] delimiter = {delimiter!r}.",
            remedy="A log needs lines with a time and at least one temperature.",
        )
    delimiter, columns = found, marks + 1
    rows = [cells for line in middle if len(cells := split_cells(line, delimiter)) == columns]
    kinds = tuple(column_kind([row[i] for row in rows]) for i in range(columns))
    return _with_head(plain, delimiter, decimal, rows, kinds)


def middle_lines(body: bytes) -> list[bytes]:
    """Return some twenty whole lines from three places, or all lines of a short file."""
    if len(body) < 3000:
        lines = body.split(b"\n")
        if lines and lines[-1] and len(lines) > 2:
            lines = lines[:-1]
        return [line[:_LONGEST_LINE] for line in lines if line.strip()][-40:]
    picked: list[bytes] = []
    for share in (0.25, 0.55, 0.85):
        at = int(len(body) * share)
        lines = body[at : at + 1200].split(b"\n", 5)[1:-1]
        picked += [line for line in lines if line.strip()][:4]
    if len(picked) < 8:
        picked = [line[:_LONGEST_LINE] for line in body[:200_000].split(b"\n")[1:-1] if line.strip()][-40:]
    return picked


def _best(lines: Sequence[str], candidates: Sequence[str]) -> tuple[float, int, str]:
    """Return the score, the delimiters per line and the delimiter that explains the lines best; of equals the first."""
    best = (0.0, 0, "")
    for delimiter in candidates:
        score, marks = _score(lines, delimiter)
        if score > best[0]:
            best = (score, marks, delimiter)
        if score == 1.0:  # there is nothing better
            break
    return best


def _score(lines: Sequence[str], delimiter: str) -> tuple[float, int]:
    """Return (how well the delimiter explains the lines, delimiters per line)."""
    rows = [split_cells(line, delimiter) for line in lines if delimiter in line or (delimiter == " " and "\t" in line)]
    if not rows:
        return 0.0, 0
    lengths = [len(row) for row in rows]
    common = max(lengths, key=lengths.count)
    if common < 2:
        return 0.0, 0
    cells: list[str] = []
    kinds: list[Kind] = []
    count = 0
    for row in rows:
        of_row = [kind_of(cell) for cell in row] if len(row) == common else []
        if not _MEASURED.isdisjoint(of_row):  # repeated headers and messages speak neither for it nor against
            cells += row
            kinds += of_row
            count += 1
    if not count:
        return 0.0, 0
    if kinds.count("number") + kinds.count("marked number") < 0.7 * count:
        return 0.0, 0
    bad = sum(kind == "word" and not _is_word(cell) for kind, cell in zip(kinds, cells, strict=True))
    return round(count / len(lines) * (1.0 - bad / len(cells)) ** 2, 3), common - 1


def _is_word(cell: str) -> bool:
    return cell.replace(" ", "").replace("_", "").replace("-", "").isalnum() and cell[:1].isalpha()


def column_kind(cells: Sequence[str]) -> Kind:
    """Say what the cells of one column mostly are: times by majority, else numbers if there are any."""
    kinds = [kind_of(cell) for cell in cells]
    if kinds.count("stamp") * 2 > len(kinds):
        return "stamp"
    for kind in _BY_WEIGHT:
        if kind in kinds:
            return kind
    return "empty"


def decimal_of(rows: Sequence[Sequence[str]], delimiter: str) -> Decimal:
    """Return the decimal mark: a comma where numbers hold one that is not a thousands mark."""
    commas = points = thousands = 0
    for cell in {cell for row in rows for cell in row if "," in cell or "." in cell}:
        if kind_of(cell) not in {"number", "marked number"}:
            continue
        comma, point = cell.rfind(","), cell.rfind(".")
        if comma > point:
            commas += 1
            thousands += point < 0 and re.fullmatch(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+\D*", cell) is not None
        else:
            points += 1
    if delimiter == "," and commas == 0:
        return "."
    return "," if commas > thousands and commas >= points else "."


def _with_head(
    plain: PlainText, delimiter: str, decimal: Decimal | None, rows: list[list[str]], kinds: tuple[Kind, ...]
) -> Shape:
    columns = len(kinds)
    for size in (_SHORT_HEAD_BYTES, _HEAD_BYTES):  # splitting no more of the file than is needed
        head = plain.body[:size].split(b"\n")
        if len(plain.body) > size:
            head = head[:-1]
        found = ((n, split_cells(plain.text(raw), delimiter)) for n, raw in enumerate(head))
        first = next((n for n, cells in found if len(cells) == columns and _is_sample(cells, kinds)), None)
        if first is not None and first + _FIRST_ROWS <= len(head):
            break
    if first is None:
        raise UnreadableLog("no row of samples was found in the first part of the file.", remedy="Check the file.")
    offset = sum(len(raw) + 1 for raw in head[:first])
    rows += [split_cells(plain.text(raw), delimiter) for raw in head[first : first + _FIRST_ROWS]]
    lines = [plain.text(raw) for raw in head[:first]]
    unnamed = kinds[-1] != "empty" and _counts_on(["".join(row[:1]) for row in rows[-_FIRST_ROWS:]])
    names, units, header = _header(tuple(lines[-_HEAD_LINES:]), delimiter, columns, unnamed=unnamed)
    if header is not None:
        header += max(0, len(lines) - _HEAD_LINES)
    preamble = tuple(line.strip() for i, line in enumerate(lines if header is None else lines[:header]) if line.strip())
    return Shape(
        delimiter,
        decimal or decimal_of(rows, delimiter),
        columns,
        names,
        units,
        None if header is None else header + 1,
        preamble,
        offset,
        first,
        kinds,
        b"" if header is None else head[header],
    )


def _is_sample(cells: Sequence[str], kinds: Sequence[Kind]) -> bool:
    """Tell whether a row's cells fit the columns' kinds: at least one number, and no word for a number or time."""
    numbers = 0
    for cell, kind in zip(cells, kinds, strict=True):
        mine = kind_of(cell)
        if kind in {"number", "marked number", "stamp"}:
            if mine == "word":
                return False
            numbers += mine != "empty"
        elif mine in {"number", "marked number"}:
            numbers += 1
    return numbers > 0


@lru_cache(maxsize=512)
def _header(
    lines: tuple[str, ...], delimiter: str, columns: int, *, unnamed: bool
) -> tuple[tuple[str, ...], tuple[str, ...], int | None]:
    """Return names, units and the header's index among the lines before the first sample.

    ``unnamed``: the first column counts rows, so that a header one name short has none for it.
    """
    none = ("",) * columns
    units = none
    last: int | None = None
    for index in range(len(lines) - 1, -1, -1):
        line = lines[index]
        if not line.strip() or _RULER.fullmatch(line):
            continue
        cells = _fit(line, delimiter, columns, unnamed=unnamed)
        if cells is None:
            break
        if units == none and _all_units(cells):
            units, last = tuple(cells), index
            continue
        if any(kind_of(cell) == "word" for cell in cells):
            return tuple(cells), units, index
        break
    return none, units, last


def _fit(line: str, delimiter: str, columns: int, *, unnamed: bool) -> list[str] | None:
    """Split a line above the table into as many cells as the table has columns; None if it has others.

    A comment sign before the first cell is taken off; a ``;`` is one only where the line would not fit with it.
    """
    line = line.strip("\ufeff")
    bare = _COMMENT.sub("", line)
    readings = [
        _head_cells(text, delimiter, {columns, columns - unnamed})
        for text in ((line, bare) if bare != line else (line,))
    ]
    for cells in readings:
        if len(cells) == columns:
            return [_SIGN.sub("", cells[0]), *cells[1:]]
    for cells in readings:
        if len(cells) == columns - 1 and len(cells) > 1:
            return ["", *cells] if unnamed else [*cells, ""]
        if len(cells) == columns + 1 and not cells[-1]:
            return cells[:-1]
    return None


def _counts_on(cells: Sequence[str]) -> bool:
    """Tell whether cells number the rows: 1, 2, 3 or 0, 1, 2."""
    bare = [cell.strip('"') for cell in cells]
    first = bare[0] if bare else ""
    return len(bare) > 1 and first in {"0", "1"} and bare == [str(int(first) + k) for k in range(len(bare))]


def _head_cells(text: str, delimiter: str, wanted: set[int]) -> list[str]:
    cells = split_cells(text, delimiter)
    if delimiter == " " and len(cells) not in wanted:
        cells = [cell.strip() for cell in re.split(r"\s{2,}|\t", text.strip())]
    return cells


def _all_units(cells: Sequence[str]) -> bool:
    bare = [cell.strip("()[] ").lower() for cell in cells]
    return all(not cell or cell in _UNIT_WORDS for cell in bare) and sum(bool(cell) for cell in bare) > 0

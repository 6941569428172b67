"""A log as columns of numbers and of text, whatever its form: delimited, fixed width or JSON lines."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.reading.encoding import PlainText
from analysis.reading.firing_log import FloatArray, UnreadableLog
from analysis.reading.rows import Bytes, Stray, find_rows, read_numbers, within_reason
from analysis.reading.ruled import ruled_columns
from analysis.reading.shape import Shape, table_shape
from config.kiln import LogHints

if TYPE_CHECKING:
    import pandas as pd

_UNIT_TAIL = re.compile(r"\s*(?:%|°?\s?[CFK]|V|A|kW|s|min|h)$")
_BLANK = ["", "-", "--", "---", "n/a", "na", "nan", "null", "none"]
_MOST_WORDS = 0.5


@dataclass(frozen=True, slots=True)
class Note:
    """Something a person should know of how the rows became a table; ``row`` is where it is so first, if anywhere."""

    row: int | None
    text: str


@dataclass(slots=True)
class Table:
    """The samples of one file, ``n`` rows.

    ``numbers[i]`` is column i as numbers (n,), None where it is text; ``text(i, most)`` gives its characters
    (n, width), of the first ``most`` rows if that is not None; ``line(k)`` the bytes of row k.
    ``bad_cells`` counts texts where a number should be, with one example, by column. ``mute`` columns are not what
    their names seem to say.
    """

    form: str
    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int | None
    preamble: tuple[str, ...]
    n: int
    numbers: list[FloatArray | None]
    stamps: frozenset[int]
    text: Callable[[int, int | None], Bytes]
    line: Callable[[int], bytes]
    strays: list[Stray] = field(default_factory=list)
    bad_cells: dict[int, tuple[int, str]] = field(default_factory=dict)
    head_lines: int = 0
    repeated_headers: list[int] = field(default_factory=list)
    empty: int = 0
    cut: str | None = None
    lines: int = 0
    notes: list[Note] = field(default_factory=list)
    mute: frozenset[int] = frozenset()


def delimited_table(plain: PlainText, hints: LogHints) -> Table:
    """Read a delimited or fixed-width table. Raises ``UnreadableLog``."""
    try:
        shape = table_shape(plain, delimiter=hints.delimiter, decimal=hints.decimal)
        table = table_of(plain, shape, plain.body)
        failed = None
    except UnreadableLog as error:
        table, failed = None, error
    if hints.delimiter in {None, " "} and (table is None or _loses_rows(table)):
        ruled = ruled_columns(plain.body)
        if ruled is not None:
            plain = replace(plain, body=ruled)
            shape = table_shape(plain, delimiter="\t", decimal=hints.decimal)
            better = table_of(plain, shape, ruled)
            if table is None or better.n > table.n:
                better.form = "fixed-width table"
                return better
    if table is None:
        assert failed is not None
        raise failed
    return table


def _loses_rows(table: Table) -> bool:
    """Tell whether rows of a table parted by blanks do not fit: cells may be empty."""
    return table.form == "fixed-width table" and len(table.strays) > 0.01 * table.n


def table_of(plain: PlainText, shape: Shape, body: bytes) -> Table:
    """Read the samples of a table of known shape from ``body``, which begin at ``shape.start``."""
    rows = find_rows(body, shape.start, shape)
    wanted = [i for i, kind in enumerate(shape.kinds) if kind not in {"stamp", "word"}]
    cells = read_numbers(rows, shape, wanted) if wanted else {}
    numbers: list[FloatArray | None] = [None] * shape.columns
    bad: dict[int, tuple[int, str]] = {}
    for i, values in cells.items():
        if isinstance(values, list):
            found = numbers_from_text(values, shape.decimal)
            if found is None:
                continue
            numbers[i], count, example = found
            if count:
                bad[i] = (count, example)
        else:
            numbers[i] = values
    return Table(
        "fixed-width table" if shape.delimiter == " " else "delimited table",
        shape.delimiter,
        shape.decimal,
        shape.names,
        shape.units,
        shape.header_line,
        shape.preamble,
        rows.n,
        numbers,
        frozenset(i for i, kind in enumerate(shape.kinds) if kind == "stamp"),
        rows.text,
        rows.line,
        rows.strays,
        bad,
        shape.head_lines,
        rows.headers,
        rows.empty,
        None if rows.cut is None else plain.text(rows.cut[:500]),
        shape.head_lines + rows.lines,
    )


def numbers_from_text(cells: list[str], decimal: str) -> tuple[FloatArray, int, str] | None:
    """Turn text cells into numbers: units, blanks and thousands marks are taken off.

    Returns the numbers, how many non-blank cells are none, and the first of these; None if most are no numbers.
    """
    import pandas as pd  # noqa: PLC0415 - costs 0.3 s and 40 MB, which only reading should pay

    series = pd.Series(cells, dtype="str").str.strip()
    numbers = pd.to_numeric(series, errors="coerce").to_numpy(np.float64, copy=True)
    odd = np.isnan(numbers)
    blank = np.zeros(odd.size, dtype=np.bool_)
    if odd.any():
        place, words = pd.factorize(series[odd])  # mostly the same few words over and over
        words = pd.Series(words, dtype="str")
        numbers[odd] = pd.to_numeric(_bare(words, decimal), errors="coerce").to_numpy(np.float64)[place]
        blank[odd] = words.str.lower().isin(_BLANK).to_numpy(bool)[place]
    numbers = within_reason(numbers)
    bad = np.isnan(numbers) & ~blank
    count = int(np.count_nonzero(bad))
    if count > _MOST_WORDS * max(1, int(np.count_nonzero(~blank))):
        return None
    return numbers, count, cells[int(np.argmax(bad))] if count else ""


def _bare(cells: "pd.Series[str]", decimal: str) -> "pd.Series[str]":
    """Take units, blanks and thousands marks off cells, and make the decimal mark a point."""
    bare = cells.str.replace(_UNIT_TAIL, "", regex=True).str.replace(r"[\u00a0\u202f' ](?=\d{3})", "", regex=True)
    if decimal == ",":
        return bare.str.replace(r"\.(?=\d{3}(?:\D|$))", "", regex=True).str.replace(",", ".", regex=False)
    return bare.str.replace(r",(?=\d{3}(?:\D|$))", "", regex=True)

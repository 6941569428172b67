"""The rows of a table: which lines are samples, which are text, which are cut off; and the cells of the samples.

Where every line has the right number of fields (the common case) nothing but counting is done here, and the
numbers go through pandas' C parser in one call.
"""

import io
import re
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray, UnreadableLog
from analysis.reading.shape import Shape

if TYPE_CHECKING:
    import pandas as pd

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]

_NEWLINE = 10
_MOST_STRAYS = 20_000
_QUOTE = 34
_WIDEST_TEXT = 48
_DASHES = ["-", "--", "---", "----", "-----"]
_FEW_CELLS = 3_000
_MUCH_TEXT = 4_000_000
_LARGEST = 1e16  # above epoch microseconds


@dataclass(frozen=True, slots=True)
class Stray:
    """A line that is no sample: ``before`` samples came before it."""

    before: int
    text: bytes


@dataclass(slots=True)
class Rows:
    """The sample lines of a table in plain form: one-byte delimiter, no quotes, a line feed after each line.

    The first ``skip`` bytes of ``body`` are the lines above the table (copying a large file only to drop them would
    cost as much as all the counting). ``lines`` counts all lines from the first sample on, whatever became of them.
    ``places`` (lazily found) holds the delimiters' offsets, shape (n, columns - 1); ``ends`` the line ends'.
    """

    body: bytes
    delimiter: bytes
    columns: int
    n: int
    strays: list[Stray] = field(default_factory=list)
    empty: int = 0
    cut: bytes | None = None
    headers: list[int] = field(default_factory=list)
    lines: int = 0
    skip: int = 0
    places: Places | None = None
    ends: Places | None = None

    @property
    def data(self) -> Bytes:
        """The bytes of the rows; ``places`` and ``ends`` count from its beginning."""
        return np.frombuffer(self.body, np.uint8, offset=self.skip)

    def text(self, column: int, most: int | None = None) -> Bytes:
        """Return one column's characters, shape (n, width), padded with blanks (at most 48 wide); of ``most`` rows."""
        if self.places is None or self.ends is None:
            _regular(self)
        assert self.places is not None
        assert self.ends is not None
        places, ends = self.places[:most], self.ends[:most]
        if column == 0:
            start = np.empty_like(ends)
            start[0], start[1:] = 0, ends[:-1] + 1
        else:
            start = places[:, column - 1] + 1
        stop = places[:, column] if column < self.columns - 1 else ends
        width = stop - start
        widest = int(min(width.max(initial=0), _WIDEST_TEXT))
        data = self.data
        if widest == 0:
            return np.full((ends.size, 1), 32, np.uint8)
        last = data.size - widest
        if int(start[-1]) > last:  # the last row ends nearer to the end of the file than the widest cell is wide
            data = np.append(data, np.full(widest, 32, np.uint8))
        block: Bytes = stretches(data, widest)[start].view(np.uint8).reshape(ends.size, widest)
        if int(width.min()) < widest:
            block[np.arange(widest) >= width[:, None]] = 32
        return block

    def line(self, row: int) -> bytes:
        """Return one row's bytes, its cells parted by blanks."""
        if self.ends is None:
            self.ends = np.flatnonzero(self.data == _NEWLINE)
        start = int(self.ends[row - 1]) + 1 if row else 0
        return self.body[self.skip + start : self.skip + int(self.ends[row])].replace(self.delimiter, b" ")


def stretches(data: NDArray[np.uint8] | NDArray[np.bool_], width: int) -> NDArray[np.void]:
    """Return every stretch of ``width`` bytes of ``data`` (n,) as a view (n - width + 1,), each an element of its own.

    As such they are taken and put twice as quickly as rows of bytes.
    """
    return np.ndarray(data.size - width + 1, np.dtype((np.void, width)), data, strides=(1,))


def find_rows(body: bytes, start: int, shape: Shape) -> Rows:
    """Return the sample rows of ``body`` from byte ``start`` on. Every other line is kept as a stray."""
    cut = None
    if not body.endswith(b"\n"):
        (body, cut), start = _last_line(body[start:], shape), 0
    body, start, headers = _without_headers(body, start, shape.header)
    if not body[start : start + 1000].strip() and not body[start:].strip():
        raise UnreadableLog("the log holds no whole row yet.", remedy="Wait until more has been written.")
    delimiter = shape.delimiter.encode("utf-8")
    if body.find(b'"', start) >= 0:
        body, start, delimiter = _unquoted(body[start:], shape.delimiter), 0, b"\x1f"
    elif shape.delimiter == " ":
        body, start, delimiter = _single_blanks(body[start:]), 0, b"\t"
    rows = Rows(body, delimiter, shape.columns, 0, cut=cut, headers=headers, skip=start)
    wants_places = any(kind in {"stamp", "word"} for kind in shape.kinds)
    beside = len(headers) + (cut is not None)
    if wants_places and _regular(rows):
        rows.lines = rows.n + beside
        return rows
    lines, marks = _counted(rows)
    rows.lines = lines + beside
    if marks != lines * (shape.columns - 1):
        (rows.body, rows.empty), rows.skip = _without_empty_lines(body[start:]), 0
        lines, marks = _counted(rows)
    if marks == lines * (shape.columns - 1):
        rows.n = lines
        if not wants_places or _regular(rows):
            return rows
    _sort_out(rows)
    return rows


def _counted(rows: Rows) -> tuple[int, int]:
    """Return how many line ends and delimiters there are."""
    data = rows.data
    return int(np.count_nonzero(data == _NEWLINE)), int(np.count_nonzero(data == rows.delimiter[0]))


def _last_line(body: bytes, shape: Shape) -> tuple[bytes, bytes | None]:
    """Take off a last line that has no end, unless it is as long and complete as the line before it."""
    at = body.rfind(b"\n") + 1
    last, before = body[at:], body[body.rfind(b"\n", 0, max(at - 1, 0)) + 1 : max(at - 1, 0)]
    mark = None if shape.delimiter == " " else shape.delimiter.encode("utf-8")
    mine, other = last.split(mark), before.split(mark)
    if len(mine) == len(other) == shape.columns and may_be_whole(mine[-1], other[-1]):
        return body + b"\n", None
    return body[:at], last


def _without_empty_lines(body: bytes) -> tuple[bytes, int]:
    """Take out empty lines; returns how many there were."""
    if b"\n\n" not in body and body[:1] != b"\n":
        return body, 0
    before = len(body)
    while b"\n\n" in body:
        body = body.replace(b"\n\n", b"\n")
    body = body.removeprefix(b"\n")
    return body, before - len(body)


def _without_headers(body: bytes, start: int, header: bytes) -> tuple[bytes, int, list[int]]:
    """Take out copies of the header line in mid-file.

    Returns the body, where its rows begin, and the number of lines before each copy.
    """
    line = b"\n" + header + b"\n"
    if not header or body.find(line, start) < 0:
        return body, start, []
    parts = body[start:].split(line)
    before, places = 0, []
    for part in parts[:-1]:
        before += part.count(b"\n") + 1
        places.append(before)
    return b"\n".join(parts), 0, places


def may_be_whole(cell: bytes, before: bytes) -> bool:
    """Tell whether a last cell can be whole: the same word, or as long a number not far from the one before."""
    if cell == before:
        return True
    if len(cell) < len(before):
        return False
    if cell[:1] == b'"' or before[:1] == b'"':  # a closing quote says that the cell is whole
        return len(cell) > 1 and cell[:1] == cell[-1:] == before[:1]
    try:
        new, old = float(cell.replace(b",", b".")), float(before.replace(b",", b"."))
    except ValueError:
        return False
    return abs(new - old) <= 0.3 * abs(old) + 5.0


def _single_blanks(body: bytes) -> bytes:
    """Turn runs of blanks into one tab; none at the ends of lines."""
    data = np.frombuffer(body.replace(b"\t", b" ") if b"\t" in body else body, np.uint8)
    blank = data == 32
    after_gap = np.empty_like(blank)
    after_gap[0] = True
    after_gap[1:] = blank[:-1] | (data[:-1] == _NEWLINE)
    drop = blank & after_gap
    squeezed: bytes = data[~drop].tobytes().replace(b" \n", b"\n")
    return squeezed.replace(b" ", b"\t")


def _unquoted(body: bytes, delimiter: str) -> bytes:
    """Take out double quotes; delimiters outside them become the unit separator (0x1F)."""
    data = np.frombuffer(body, np.uint8)
    quote = data == _QUOTE
    inside = np.cumsum(quote)
    ends = np.flatnonzero(data == _NEWLINE)
    if ends.size:  # parity is counted anew in each line: a lost quote spoils one line, not the file
        before = np.concatenate(([0], inside[ends[:-1]]))
        inside -= np.repeat(before, np.diff(np.concatenate(([0], ends + 1))))
    outside = (inside & 1) == 0
    mark = (data == 32) | (data == 9) if delimiter == " " else data == ord(delimiter)
    out = np.where(mark & outside, np.uint8(0x1F), data)[~quote]
    plain: bytes = out.tobytes()
    if delimiter == " ":
        plain = re.sub(rb"\x1f+", b"\x1f", plain).replace(b"\n\x1f", b"\n").replace(b"\x1f\n", b"\n")
    return plain


def _regular(rows: Rows) -> bool:
    """Find all places at once where every line has the same number of fields."""
    data = rows.data
    ends = np.flatnonzero(data == _NEWLINE)
    marks = np.flatnonzero(data == rows.delimiter[0])
    per_line = rows.columns - 1
    if marks.size != ends.size * per_line:
        return False
    places = marks.reshape(ends.size, per_line)
    if per_line and ((places[:, -1] >= ends).any() or (places[1:, 0] <= ends[:-1]).any()):
        return False
    rows.places, rows.ends, rows.n = places, ends, int(ends.size)
    return True


def _sort_out(rows: Rows) -> None:
    """Take the lines with another number of fields out of the body."""
    rows.body, rows.skip = rows.body[rows.skip :], 0
    data = rows.data
    ends = np.flatnonzero(data == _NEWLINE)
    marks = np.flatnonzero(data == rows.delimiter[0])
    counts = np.diff(np.searchsorted(marks, ends), prepend=0)
    good = counts == rows.columns - 1
    starts = np.concatenate(([0], ends[:-1] + 1))
    good &= ends > starts
    bad = np.flatnonzero(~good)
    if bad.size == good.size:
        raise UnreadableLog("no row has the number of fields the table seems to have.", remedy="Check the file.")
    before = np.cumsum(good)
    pieces, at = [], 0
    for index in bad.tolist():
        pieces.append(rows.body[at : starts[index]])
        at = int(ends[index]) + 1
        line = rows.body[starts[index] : ends[index]]
        if not line.strip():
            rows.empty += 1
        elif len(rows.strays) < _MOST_STRAYS:
            rows.strays.append(Stray(int(before[index]), line[:500]))
        else:
            raise UnreadableLog("too many lines do not fit the table.", remedy="Check [kiln.log] delimiter.")
    pieces.append(rows.body[at:])
    rows.body = b"".join(pieces)
    if not _regular(rows):
        raise UnreadableLog("the rows could not be sorted out.", remedy="Check the file.")


def read_numbers(rows: Rows, shape: Shape, wanted: list[int]) -> dict[int, FloatArray | list[str]]:
    """Parse the wanted columns in one go; numbers are within reason.

    A column with cells that are no numbers comes back as its text.
    """
    import pandas as pd  # noqa: PLC0415 - costs 0.3 s and 40 MB, which only reading should pay

    if rows.n * len(wanted) <= _FEW_CELLS and shape.decimal == "." and (few := _few_numbers(rows, wanted)) is not None:
        return few
    frame: pd.DataFrame | None
    try:
        frame = _frame(rows, shape, wanted)
    except pd.errors.ParserError:
        frame = None
    if frame is None or len(frame) != rows.n:  # a row too long and one too short made up for each other
        _sort_out(rows)
        frame = _frame(rows, shape, wanted)
    table = frame.to_numpy()
    if table.dtype.kind in "fiub":  # all at once: a data frame takes its time to part with a column
        return dict(zip(wanted, within_reason(table.T.astype(np.float64, copy=False)), strict=True))
    return {column: _cells(series) for column, (_, series) in zip(wanted, frame.items(), strict=True)}


def within_reason(values: FloatArray) -> FloatArray:
    """Return numbers of any shape with infinite and absurdly large ones as NaN."""
    if values.min(initial=0.0) >= -_LARGEST and values.max(initial=0.0) <= _LARGEST:
        return values
    return np.where(np.abs(values) <= _LARGEST, values, np.nan)


def _few_numbers(rows: Rows, wanted: list[int]) -> dict[int, FloatArray | list[str]] | None:
    """Parse the wanted columns of a small table; None if any cell is neither empty nor a plain number.

    For a few thousand cells a data frame takes longer to make than the numbers to read, if its parser is quicker.
    """
    body = rows.body[rows.skip :]
    for fill in (False, True):  # filling empty cells takes as long as a third of the reading: only where there are any
        try:
            table = np.loadtxt(
                io.BytesIO(_without_empty_cells(body, rows.delimiter) if fill else body),
                comments=None,
                delimiter=rows.delimiter.decode("ascii"),
                usecols=wanted if len(wanted) < rows.columns else None,
                ndmin=2,
                encoding="latin-1",
            )
        except ValueError:
            continue
        if table.shape == (rows.n, len(wanted)):
            return dict(zip(wanted, within_reason(np.ascontiguousarray(table.T)), strict=True))
    return None


def _without_empty_cells(body: bytes, mark: bytes) -> bytes:
    """Write ``nan`` into empty cells."""
    body = b"\n" + body
    for _ in range(2):  # twice, as neighbouring empty cells share a mark
        for before, after in ((mark, mark), (mark, b"\n"), (b"\n", mark)):
            body = body.replace(before + after, before + b"nan" + after)
    return body[1:]


def _cells(series: "pd.Series[Any]") -> FloatArray | list[str]:
    """Return a column as numbers (without copying where it can), or as text if any cell is no number."""
    if series.dtype.kind in "fiub":
        return within_reason(series.to_numpy(np.float64))
    return series.fillna("").astype(str).tolist()


def _frame(rows: Rows, shape: Shape, wanted: list[int]) -> "pd.DataFrame":
    import pandas as pd  # noqa: PLC0415

    options: dict[str, object] = {}
    if len(wanted) < rows.columns:
        options["usecols"] = wanted
    if shape.decimal == ",":
        options["decimal"] = ","
    if rows.body.find(b"-", rows.skip) >= 0:  # taking in more words for a missing value takes its time
        options["na_values"] = _DASHES
    source = io.BytesIO(rows.body)
    source.seek(rows.skip)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame: pd.DataFrame = pd.read_csv(
            source,
            header=None,
            names=range(rows.columns),
            sep=rows.delimiter.decode("ascii"),
            quoting=3,
            low_memory=len(rows.body) > _MUCH_TEXT,
            encoding_errors="replace",
            **options,  # type: ignore[call-overload]
        )
    return frame

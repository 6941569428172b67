"""Tables of fixed width with blank cells: cut at the places where no row has a character."""

from collections import Counter

import numpy as np

_LEAST_ROWS = 8
_WIDEST_LINE = 1000


def ruled_columns(body: bytes) -> bytes | None:
    """Put a tab between the columns of a fixed-width table; None if the lines are not of one width.

    Lines of the most frequent length are the table's; a line as long or shorter (the header) is cut at the same
    places if no word of it lies across one.
    """
    lines = body.split(b"\n")
    widths = Counter(len(line) for line in lines if line.strip())
    if not widths:
        return None
    width, count = widths.most_common(1)[0]
    if count < max(_LEAST_ROWS, 0.8 * sum(widths.values())) or not 3 <= width <= _WIDEST_LINE:
        return None
    rows = [line for line in lines if len(line) == width and any(48 <= byte <= 57 for byte in line)]
    if not rows:
        return None
    block = np.frombuffer(b"".join(rows), np.uint8).reshape(len(rows), width)
    digit_rows = block[np.isin(block, np.frombuffer(b"0123456789", np.uint8)).mean(axis=1) > 0.1]
    if digit_rows.shape[0] < _LEAST_ROWS:
        return None
    blank = (digit_rows == 32).all(axis=0)
    edges = np.flatnonzero(np.diff(~blank, prepend=False, append=False)).tolist()
    starts = edges[::2][1:]
    if not starts:
        return None
    cuts = [start - 1 for start in starts]
    return b"\n".join(_cut(line, cuts) for line in lines)


def _cut(line: bytes, cuts: list[int]) -> bytes:
    if len(line) <= cuts[-1] or any(line[cut] != 32 for cut in cuts):
        return line
    out = bytearray(line)
    for cut in cuts:
        out[cut] = 9
    return bytes(out)

"""A table's columns recognised: text columns understood as times or messages, and every column given its role."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray
from analysis.reading.hints import hinted
from analysis.reading.names import unit_of
from analysis.reading.roles import Column, decide_roles
from analysis.reading.stamps import patterns
from analysis.reading.table import Table
from analysis.reading.time_text import TimeText, read_time_text
from config.kiln import DayOrder, Kiln

_LEAST_RUN = 20
_TIMES = frozenset({"time", "date", "clock"})
_ON = b"on ein an marche encendido acceso aan yes true heat heating active closed ja si oui".split()
_OFF = b"off aus arret apagado spento uit no false idle inactive open nein non".split()
_SWITCH = dict.fromkeys(_ON, 1.0) | dict.fromkeys(_OFF, 0.0) | {b"": np.nan}
_LONGEST_SWITCH_WORD = 12
_FIRST_WORDS = 20


def recognise(table: Table, kiln: Kiln) -> tuple[list[Column], dict[int, TimeText]]:
    """Return the columns with their roles, and the text columns that hold times.

    Raises ``UnreadableLog`` where a hint names no column or role, or no time or temperature is found.
    """
    hints = hinted(kiln.log.columns, table.names) if kiln.log.columns else {}
    texts: dict[int, TimeText] = {}
    kinds: dict[int, str] = {}
    columns = []
    for i, header in enumerate(table.names):
        values = table.numbers[i]
        hint = hints[i][0] if i in hints else ""
        if values is None and hint != "ignore" and (i in table.stamps or hint in _TIMES):
            cells = table.text(i, None)
            understood = _half_day(cells) or _times(cells, kiln.log.day_order)
            if understood is not None:
                texts[i] = understood
                kinds[i] = "half day" if understood.why == "AM and PM" else understood.kind
        elif values is None and hint != "ignore":
            values = _on_off(table.text(i, None)) if _may_switch(table.text(i, _FIRST_WORDS)) else None
        columns.append(Column(i, header, unit_of(table.units[i]), values))
    return decide_roles(columns, kinds, hints, kiln.zones, table.mute), texts


def _times(cells: NDArray[np.uint8], day_order: DayOrder | None) -> TimeText | None:
    """Read a column of times; a date that stays the same for many rows is read once for each run of rows."""
    n = cells.shape[0]
    head = cells[: 2 * (n // _LEAST_RUN) + 2]  # where every row has a time of its own a tenth of them shows it
    if np.count_nonzero((head[1:] != head[:-1]).any(axis=1)) >= max(n // _LEAST_RUN, 1):
        return read_time_text(patterns(cells), n, day_order)
    starts = np.flatnonzero(np.concatenate(([True], (cells[1:] != cells[:-1]).any(axis=1))))
    if starts.size > n // _LEAST_RUN:
        return read_time_text(patterns(cells), n, day_order)
    understood = read_time_text(patterns(cells[starts]), starts.size, day_order)
    if understood is None:
        return None
    length = np.diff(np.append(starts, n))
    other = understood.other_order
    return replace(
        understood,
        seconds=np.repeat(understood.seconds, length),
        other_order=None if other is None else np.repeat(other, length),
    )


def _on_off(cells: NDArray[np.uint8]) -> FloatArray | None:
    """Read a column of nothing but words for on and off (or blanks) as 1 and 0 (NaN where blank)."""
    if not _may_switch(cells[:_FIRST_WORDS]) or cells.shape[1] > _LONGEST_SWITCH_WORD:
        return None
    found, place = np.unique(_lower_words(cells), return_inverse=True)
    states = [_SWITCH.get(word.strip()) for word in found.tolist()]
    if None in states or not {0.0, 1.0} & set(states):
        return None
    return np.array(states, dtype=np.float64)[place.ravel()]


def _may_switch(cells: NDArray[np.uint8]) -> bool:
    """Tell from its first rows whether a column can hold nothing but words for on and off."""
    if not cells.shape[1] or cells.shape[1] > _LONGEST_SWITCH_WORD:
        return False
    return all(word.strip() in _SWITCH for word in _lower_words(cells).tolist())


def _lower_words(cells: NDArray[np.uint8]) -> NDArray[np.bytes_]:
    """Return each row's characters as one word in lower case."""
    lower = np.where((cells >= ord("A")) & (cells <= ord("Z")), cells | 0x20, cells)
    words: NDArray[np.bytes_] = np.ascontiguousarray(lower).view(f"S{cells.shape[1]}").ravel()
    return words


def _half_day(cells: NDArray[np.uint8]) -> TimeText | None:
    """Read a column that holds nothing but AM and PM."""
    if cells.shape[1] < 1:
        return None
    head = cells[:50, 0] & 0xDF
    if not bool(((head == ord("A")) | (head == ord("P"))).all()):
        return None
    afternoon = cells[:, 0] & 0xDF == ord("P")
    return TimeText("clock", np.where(afternoon, 43200.0, 0.0), why="AM and PM")


def hottest_logged(columns: list[Column]) -> FloatArray:
    """Return each row's hottest zone as logged (n,), NaN where no zone has a reading."""
    zones = [c.values for c in columns if c.role == "zone" and c.values is not None]
    out = zones[0]
    for values in zones[1:]:
        out = np.fmax(out, values)
    return out


def programme_logged(table: Table, columns: list[Column], row: int) -> str:
    """Return the programme named in a column of its own at a row, empty if there is none."""
    for column in columns:
        if column.role == "programme":
            if column.values is not None:
                return f"{column.values[row]:g}" if np.isfinite(column.values[row]) else ""
            cell: bytes = table.text(column.index, row + 1)[row].tobytes()
            return cell.decode("utf-8", "replace").strip()
    return ""

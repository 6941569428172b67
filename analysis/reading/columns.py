"""A table's columns recognised: text columns understood as times or messages, and every column given its role."""

import numpy as np
from numpy.typing import NDArray

from analysis.reading.firing_log import FloatArray
from analysis.reading.names import unit_of
from analysis.reading.roles import Column, decide_roles, hinted
from analysis.reading.stamps import patterns
from analysis.reading.table import Table
from analysis.reading.time_text import TimeText, read_time_text
from config.kiln import Kiln

_TIMES = frozenset({"time", "date", "clock"})


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
            cells = table.text(i)
            understood = _half_day(cells) or read_time_text(patterns(cells), table.n, kiln.log.day_order)
            if understood is not None:
                texts[i] = understood
                kinds[i] = "half day" if understood.why == "AM and PM" else understood.kind
        columns.append(Column(i, header, unit_of(table.units[i]), values))
    return decide_roles(columns, kinds, hints, kiln.zones), texts


def _half_day(cells: NDArray[np.uint8]) -> TimeText | None:
    """Read a column that holds nothing but AM and PM."""
    if cells.shape[1] < 1 or not bool(np.isin(cells[:50, 0] & 0xDF, (65, 80)).all()):
        return None
    afternoon = (cells[:, 0] & 0xDF) == ord("P")
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
            return table.text(column.index)[row].tobytes().decode("utf-8", "replace").strip()
    return ""

"""Lines and cells that are no numbers: kept as events where they say something, counted where they are damage."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.reading.clock_repairs import clock_text
from analysis.reading.encoding import PlainText
from analysis.reading.firing_log import Event, FloatArray, Spike
from analysis.reading.roles import Column
from analysis.reading.shown import shown
from analysis.reading.table import Table

_MOST_EVENTS = 200
_NAMED = 4
_LEAST_LETTERS = 3
_QUIET = frozenset({"", "0", "ok", "none", "no", "-", "--", "---", "nan", "null", "normal", "good"})


@dataclass(frozen=True, slots=True)
class Said:
    """The events of a log, and how many lines were text, damaged or without a usable number."""

    events: tuple[Event, ...]
    text: int
    damaged: int
    blank: int
    problems: tuple[str, ...]


def what_is_said(
    plain: PlainText, table: Table, columns: Sequence[Column], unused: NDArray[np.intp], at_row: FloatArray
) -> Said:
    """Sort the lines that are no samples.

    ``unused`` are the table's rows without a time or a reading, ``at_row`` (n,) the elapsed time at (or just before)
    each row of the table.
    """
    events: list[Event] = []
    broken: list[float] = []
    text_rows = blank = 0
    for stray in table.strays:
        at = float(at_row[max(0, stray.before - 1)])
        said = _words(plain.text(stray.text))
        if said is None:
            broken.append(at)
        else:
            text_rows += 1
            events.append(Event(at, said))
    spoken = _rows_with_message(table, columns)
    for row in unused.tolist():
        if row in spoken:  # its message column gives the event
            text_rows += 1
            continue
        said = _words(plain.text(table.line(row))) if len(events) < 10 * _MOST_EVENTS else None
        if said is None or not _is_message(said):
            blank += 1
        else:
            text_rows += 1
            events.append(Event(float(at_row[row]), said))
    for column in columns:
        if column.role == "message" and column.values is None:
            events += _from_column(plain, table, column.index, at_row)
    events.sort(key=lambda event: event.elapsed_s)
    problems = []
    if len(events) > _MOST_EVENTS:
        problems.append(f"{len(events)} messages in the log; the first {_MOST_EVENTS} are kept")
    if broken:
        times = ", ".join(clock_text(at) for at in broken[:_NAMED]) + (" ..." if len(broken) > _NAMED else "")
        problems.append(f"{len(broken)} damaged row{'s' if len(broken) > 1 else ''} left out at {times}")
    if blank:
        problems.append(f"{blank} row{'s' if blank > 1 else ''} without a time or any reading left out")
    return Said(tuple(events[:_MOST_EVENTS]), text_rows, len(broken), blank, tuple(problems))


def _rows_with_message(table: Table, columns: Sequence[Column]) -> set[int]:
    rows: set[int] = set()
    for column in columns:
        if column.role == "message" and column.values is None:
            rows.update(np.flatnonzero((table.text(column.index, None) != ord(" ")).any(axis=1)).tolist())
    return rows


def _words(line: str) -> str | None:
    """Return what a line says, None if it is hardly more than digits and marks."""
    said = shown(line).strip("*#-= ,;|\t")
    return said if sum(char.isalpha() for char in said) >= _LEAST_LETTERS else None


def _is_message(said: str) -> bool:
    return sum(char.isalpha() for char in said) > sum(char.isdigit() for char in said)


def _from_column(plain: PlainText, table: Table, i: int, at_row: FloatArray) -> list[Event]:
    cells = table.text(i, None)
    if not cells.shape[1]:
        return []
    change = np.concatenate(([True], (cells[1:] != cells[:-1]).any(axis=1)))
    found = []
    for row in np.flatnonzero(change)[: 20 * _MOST_EVENTS].tolist():
        said = shown(plain.text(cells[row].tobytes())).strip()
        if said.lower() not in _QUIET:
            found.append(Event(float(at_row[row]), said))
    return found


def table_problems(table: Table, at_row: FloatArray) -> list[str]:
    """Name what the table itself had: a cut last line, repeated headers, texts where numbers should be, its notes."""
    problems = []
    if table.cut is not None:
        problems.append("the last line is cut off and was left out")
    if table.repeated_headers:
        at = ", ".join(clock_text(float(at_row[min(k, at_row.size) - 1])) for k in table.repeated_headers[:_NAMED])
        problems.append(f"the header is repeated at {at}")
    for i, (count, example) in table.bad_cells.items():
        name = shown(table.names[i], 40) or f"column {i + 1}"
        such = shown(example, 30)
        problems.append(f'{count} text{"s" if count > 1 else ""} where a number should be in {name} (such as "{such}")')
    for note in table.notes:
        first = "" if note.row is None else f", first at {clock_text(float(at_row[note.row]))}"
        problems.append(note.text + first)
    return problems


def spike_problems(spikes: Sequence[Spike], names: Sequence[str]) -> list[str]:
    """Name the thermocouple samples taken out."""
    words = {"spike": "spike", "dropout": "dropout", "stuck": "stuck reading"}
    counts: dict[tuple[int, str], int] = {}
    first_s: dict[tuple[int, str], float] = {}
    for s in spikes:
        counts[s.zone, s.kind] = counts.get((s.zone, s.kind), 0) + s.count
        first_s[s.zone, s.kind] = min(s.elapsed_s, first_s.get((s.zone, s.kind), s.elapsed_s))
    return [
        f"{count} {words[kind]} sample{'s' if count > 1 else ''} of zone {names[zone]} taken out,"
        f" first at {clock_text(first_s[zone, kind])}"
        for (zone, kind), count in counts.items()
    ]


def elapsed_at_rows(n: int, keep: NDArray[np.intp], elapsed_s: FloatArray) -> FloatArray:
    """Return the elapsed time at (or just before) each row of a table of ``n`` rows, of which ``keep`` are samples."""
    if keep[0] > keep[-1]:  # written backwards
        return elapsed_at_rows(n, n - 1 - keep, elapsed_s)[::-1]
    if keep.size == n:
        return elapsed_s
    at = np.zeros(n)
    at[keep] = elapsed_s
    return np.asarray(np.maximum.accumulate(at))

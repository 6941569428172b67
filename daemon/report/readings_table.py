"""What to measure, as tables a person can fill in: one for each kind of reading, with what each case would show."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

from analysis.findings import Finding
from analysis.inspection import Expected, Inspection, Measurement, inspect
from analysis.parts import PartNeeded
from daemon.report import shown
from daemon.report.condition_shown import condition_of
from daemon.report.history import KilnHistory

MOST_LINES = 18  # more would not fit one page; the rest is in the report
MOST_BOXES = 6  # readings written in one row's box
ONE_LINE = 20  # letters of names that fit one line
HEAD_LINES = 2  # a table's caption and heads
HEADS = {"ohm": "Ohms", "amp": "Amps", "volt": "Volts", "look": "Look"}
LEAST = 0.05  # below it no meter here shows anything
SIGNS = {"ohm": "Ω", "amp": "A", "volt": "V", "look": ""}


@dataclass(frozen=True, slots=True)
class Cell:
    """The expected reading in one case; ``suspected`` if the likeliest cause would read so here."""

    case: str
    text: str
    suspected: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One line to fill in. ``names`` has one name, or several with the same expected values."""

    number: str
    names: tuple[str, ...]
    cells: tuple[Cell, ...]

    @property
    def label(self) -> str:
        """The row's names in one line; of several circuits the word is said once, in the caption."""
        return ", ".join(self.names if len(self.names) == 1 else [n.removeprefix("circuit ") for n in self.names])


@dataclass(frozen=True, slots=True)
class Block:
    """Measurements of one kind with the same columns."""

    head: str
    where: str
    tells: str
    quantity: str
    cases: tuple[str, ...]
    rows: tuple[Row, ...]
    live: bool

    @property
    def lines(self) -> int:
        """Lines of print it takes."""
        if self.quantity == "look":
            return len(self.rows)
        return HEAD_LINES + sum(max(1, ceil(len(row.label) / ONE_LINE)) for row in self.rows)

    @property
    def of_circuits(self) -> bool:
        """Whether single circuits are measured, not the supply's terminals."""
        return self.rows[0].names[0].startswith("circuit ")

    def suspects(self, case: str) -> bool:
        """Return whether any row's reading in this case is the suspected one."""
        return any(cell.suspected for row in self.rows for cell in row.cells if cell.case == case)


def inspection_of(history: KilnHistory) -> Inspection:
    """Return what to measure and bring after the newest firing."""
    latest = history.latest
    condition = None if latest is None else condition_of(latest)
    return inspect(history.kiln, condition, [f for f in history.findings if f.severity != "info"])


def order_list(parts: Sequence[PartNeeded]) -> list[PartNeeded]:
    """Return the parts, those surely needed first."""
    return sorted(parts, key=lambda part: not part.certain)


def all_readings(history: KilnHistory) -> list[Block]:
    """Return every measurement with its expected values, for the report, which has room."""
    found = inspection_of(history)
    causes = [f for f in history.findings if f.severity != "info"]
    return blocks_of(found, causes, most=1000)[0]


def blocks_of(found: Inspection, causes: Sequence[Finding], most: int = MOST_LINES) -> tuple[list[Block], int]:
    """Group measurements of one kind under common columns, in their order. Also return how many did not fit.

    The first block decides and always stays; where room is short, readings between supply terminals go first (the
    circuits' own readings say the same), then the last ones.
    """
    groups: dict[tuple[str, str, bool], list[Measurement]] = {}
    for step in found.measurements:
        groups.setdefault((step.quantity, _kind(step), step.live), []).append(step)
    likeliest = causes[0] if causes else None
    several = sum(len(steps) for steps in groups.values()) + HEAD_LINES * len(groups) > most
    blocks = [_block(steps, likeliest, merge=several) for steps in groups.values()]
    left_over = 0
    while sum(block.lines for block in blocks) > most and len(blocks) > 1:
        spare = [
            block for block in blocks[1:] if block.quantity == "ohm" and not block.rows[0].names[0].startswith("c")
        ]
        gone = spare[-1] if spare else blocks[-1]
        left_over += sum(len(row.names) for row in gone.rows)
        blocks.remove(gone)
    while len(blocks) == 1 and blocks[0].lines > most and len(blocks[0].rows) > 1:
        left_over += len(blocks[0].rows[-1].names)
        blocks[0] = replace(blocks[0], rows=blocks[0].rows[:-1])
    return _numbered(blocks), left_over


def _kind(step: Measurement) -> str:
    """Return what kind of place is measured: ``circuit``, a pair of supply lines, one line, or the place itself."""
    first = step.key.split(" ", maxsplit=1)[0]
    if first.startswith("L") and first[1:2].isdigit():
        return "lines" if "-" in first else "line"
    return first if step.expected or step.quantity == "look" else step.key


def _block(steps: Sequence[Measurement], likeliest: Finding | None, *, merge: bool) -> Block:
    first = steps[0]
    cases = list(dict.fromkeys(e.case for step in sorted(steps, key=lambda s: -len(s.expected)) for e in step.expected))
    rows: list[Row] = []
    for step in steps:
        name = step.where if step.quantity == "look" else shown.plain(step.key, 40)
        cells = tuple(_cell(case, step, likeliest) for case in cases)
        same = bool(rows and cells) and rows[-1].cells == cells
        if same and (merge or step.live) and len(rows[-1].names) < MOST_BOXES:
            rows[-1] = Row("", (*rows[-1].names, name), cells)
        else:
            rows.append(Row("", (name,), cells))
    return Block(
        HEADS[first.quantity],
        "" if first.quantity == "look" else _common([step.where for step in steps]),
        first.tells,
        first.quantity,
        tuple(cases),
        tuple(rows),
        first.live,
    )


def _cell(case: str, step: Measurement, likeliest: Finding | None) -> Cell:
    expected = next((e for e in step.expected if e.case == case), None)
    if expected is None:
        return Cell(case, "as new" if case.startswith("aged") else "")
    return Cell(case, reading(expected, step.quantity), _suspected(expected, step, likeliest))


def reading(expected: Expected, quantity: str) -> str:
    """Return an expected reading as short as it can be said: value with unit and range."""
    if expected.value is None or expected.low is None or expected.high is None or expected.low < LEAST:
        return expected.shown
    digits = 0 if expected.value >= 100 else 1
    value, low, high = (f"{x:.{digits}f}" for x in (expected.value, expected.low, expected.high))
    return f"{value} {SIGNS[quantity]} ({low}–{high})"


def _suspected(expected: Expected, step: Measurement, likeliest: Finding | None) -> bool:
    if likeliest is None or expected.cause != likeliest.cause:
        return False
    named = likeliest.circuit or likeliest.zone
    return named is None or not step.key.startswith("circuit ") or named in step.where


def _numbered(blocks: Sequence[Block]) -> list[Block]:
    number = 1
    out = []
    for block in blocks:
        rows = []
        for row in block.rows:
            last = number + len(row.names) - 1
            rows.append(replace(row, number=str(number) if last == number else f"{number}–{last}"))
            number = last + 1
        out.append(replace(block, rows=tuple(rows)))
    return out


def _common(places: Sequence[str]) -> str:
    """Return what several places have in common, with dots where they differ."""
    if len(places) == 1:
        return places[0]
    words = [place.split() for place in places]
    head = 0
    while all(len(w) > head and w[head] == words[0][head] for w in words):
        head += 1
    tail = 0
    while all(len(w) - head > tail and w[-1 - tail] == words[0][-1 - tail] for w in words):
        tail += 1
    begin = " ".join(words[0][:head])
    end = " ".join(words[0][len(words[0]) - tail :]) if tail else ""
    return f"{begin} … {end}".strip()

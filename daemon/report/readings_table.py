"""What to measure, as tables a person can fill in: one for each kind of reading, with what each case would show."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

from analysis.findings import Finding
from analysis.inspection import inspect
from analysis.measurement import Expected, Inspection, Measurement
from analysis.on_site import DEAD_BEFORE, SWITCHING, SWITCHING_PLACE
from analysis.parts import PartNeeded
from daemon.report import shown
from daemon.report.condition_shown import condition_of
from daemon.report.history import KilnHistory
from daemon.report.reading_fit import RELAY_DEAD

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

    def suspects(self, case: str) -> bool:
        """Return whether any row's reading in this case is the suspected one."""
        return any(cell.suspected for row in self.rows for cell in row.cells if cell.case == case)


def inspection_of(history: KilnHistory) -> Inspection:
    """Return what to measure and bring after the newest firing."""
    latest = history.latest
    condition = None if latest is None else condition_of(latest)
    causes = [f for f in history.findings if f.severity != "info"]
    return inspect(history.kiln, condition, causes)


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

    The first block decides and always stays; where room is short the last ones go.
    """
    groups: dict[tuple[str, str, bool], list[Measurement]] = {}
    for step in found.measurements:
        groups.setdefault((step.quantity, _kind(step), step.live), []).append(step)
    several = sum(len(steps) for steps in groups.values()) + HEAD_LINES * len(groups) > most
    blocks = [_block(steps, causes, merge=several) for steps in groups.values()]
    left_over = 0
    while sum(block.lines for block in blocks) > most and len(blocks) > 1:
        gone = blocks[-1]
        left_over += sum(len(row.names) for row in gone.rows)
        blocks.remove(gone)
    while len(blocks) == 1 and blocks[0].lines > most and len(blocks[0].rows) > 1:
        left_over += len(blocks[0].rows[-1].names)
        blocks[0] = replace(blocks[0], rows=blocks[0].rows[:-1])
    return _numbered(blocks), left_over


def _kind(step: Measurement) -> str:
    """Return what kind of place is measured: ``circuit``, a pair of supply lines, one line, or the place itself."""
    if step.key in SWITCHING:
        return "switching"
    first = step.key.split(" ", maxsplit=1)[0]
    if first.startswith("L") and first[1:2].isdigit():
        return "lines" if "-" in first else "line"
    return first if step.expected or step.quantity == "look" else step.key


def _block(steps: Sequence[Measurement], causes: Sequence[Finding], *, merge: bool) -> Block:
    first = steps[0]
    likeliest = causes[0] if causes else None
    cases = list(dict.fromkeys(e.case for step in sorted(steps, key=lambda s: -len(s.expected)) for e in step.expected))
    cases = columns_worth(cases, steps, causes)
    rows: list[Row] = []
    for step in steps:
        name = step.where if step.quantity == "look" else _name(step, steps)
        cells = tuple(_cell(case, step, likeliest) for case in cases)
        same = bool(rows and cells) and rows[-1].cells == cells
        if same and (merge or step.live) and len(rows[-1].names) < MOST_BOXES:
            rows[-1] = Row("", (*rows[-1].names, name), cells)
        else:
            rows.append(Row("", (name,), cells))
    heads, rows = _joined(cases, rows)
    where = SWITCHING_PLACE if first.key in SWITCHING else _common([step.where for step in steps])
    return Block(
        HEADS[first.quantity],
        "" if first.quantity == "look" else where,
        first.tells,
        first.quantity,
        tuple(heads),
        tuple(rows),
        first.live,
    )


def _name(step: Measurement, steps: Sequence[Measurement]) -> str:
    """Return what is measured, with its zone where circuits of several zones stand together and are named otherwise."""
    zoned = step.zone and step.zone != step.circuit and len({other.zone for other in steps}) > 1
    return shown.plain(f"{step.key} (zone {step.zone})" if zoned else step.key, 40)


def columns_worth(cases: Sequence[str], steps: Sequence[Measurement], causes: Sequence[Finding]) -> list[str]:
    """Return the cases that help to decide: no column that repeats another or speaks of nothing suspected.

    A dead relay leaves the circuit's ohms as they were, so "aged" and "relay dead" are one reading: the column stays
    that the suspicion asks for.
    """
    suspects = {f.cause for f in causes} | {cause for f in causes for cause, _ in f.rivals}
    aged = "aged as estimated"
    gone = set()
    if "open_circuit" not in suspects:
        gone.add(RELAY_DEAD)
    elif RELAY_DEAD in cases and causes[0].cause == "open_circuit":
        gone.add(aged)
    texts = {case: [_cell(case, step, None).text for step in steps] for case in cases}
    if aged in texts and all(text in ("as new", new) for text, new in zip(texts[aged], texts[cases[0]], strict=True)):
        gone.add(aged)
    return [case for case in cases if case not in gone]


def _joined(cases: Sequence[str], rows: Sequence[Row]) -> tuple[list[str], list[Row]]:
    """Return heads and rows with fault columns that read alike in every row put together, and short heads."""
    groups: dict[tuple[tuple[str, bool], ...], list[int]] = {}
    for i, case in enumerate(cases):
        alike = tuple((row.cells[i].text, row.cells[i].suspected) for row in rows)
        groups.setdefault(alike if " circuit " in case else ((case, False),), []).append(i)
    heads = [either([_head(cases[i]) for i in members]) for members in groups.values()]
    firsts = [members[0] for members in groups.values()]
    kept = [
        replace(row, cells=tuple(replace(row.cells[i], case=head) for i, head in zip(firsts, heads, strict=True)))
        for row in rows
    ]
    return heads, kept


def _head(case: str) -> str:
    if case == RELAY_DEAD:
        return f"whole: {DEAD_BEFORE}"
    for said, short in (
        ("open circuit in circuit ", "{} dead"),
        ("open element in circuit ", "one element of {} open"),
    ):
        if case.startswith(said):
            return short.format("circuit " + case.removeprefix(said))
    return case


def either(names: Sequence[str]) -> str:
    """Return heads as one: ``circuit upper dead`` and ``circuit lower dead`` as ``circuit upper or lower dead``."""
    head, tail = _common_words([name.split() for name in names])
    if len(names) == 1:
        return names[0]
    words = [name.split() for name in names]
    middle = " or ".join(" ".join(w[head : len(w) - tail]) for w in words)
    return " ".join((*words[0][:head], middle, *words[0][len(words[0]) - tail :]))


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
    if likeliest is None:
        return False
    # A string of elements in series is a dead circuit wherever it is open.
    string = likeliest.cause == "open_circuit" and step.circuit and expected.value is None
    if expected.cause != likeliest.cause and not string:
        return False
    own = likeliest.circuit in (None, step.circuit) and likeliest.zone in (None, step.zone)
    return own or not step.circuit


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
    if len(set(places)) == 1:
        return places[0]
    words = [place.split() for place in places]
    head, tail = _common_words(words)
    begin = " ".join(words[0][:head])
    end = " ".join(words[0][len(words[0]) - tail :]) if tail else ""
    return f"{begin} … {end}".strip()


def _common_words(words: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Return how many words all begin with, and how many all end with."""
    head = 0
    while all(len(w) > head and w[head] == words[0][head] for w in words):
        head += 1
    tail = 0
    while all(len(w) - head > tail and w[-1 - tail] == words[0][-1 - tail] for w in words):
        tail += 1
    return head, tail

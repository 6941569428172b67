"""The visit sheet: one printed page to take along, from nameplate and cautions to the verification firing."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from math import ceil

from analysis.findings import Finding
from analysis.measurement import Inspection
from analysis.parts import WORTH_BRINGING
from config.wording import Notes, Wording, load
from daemon.report import shown
from daemon.report.charts_readings import readings, renewed_at
from daemon.report.history import KilnHistory
from daemon.report.nameplate import nameplate
from daemon.report.pages import page
from daemon.report.readings_table import HEADS, Block, blocks_of, inspection_of, order_list
from daemon.report.verdict import SAFETY_CAUSES, verdict

ROOM_LINES = 23  # more lines than this are set smaller in print, to stay on one page of Letter
ROW_LETTERS = 20  # of a reading's place that fit one line
PART_LETTERS = 55  # of a part's text that fit one line
LONGEST_BEGAN = 240  # letters of what speaks for a cause: three lines beside the nameplate
ROOMY_ROWS = 7  # with no more there is room for notes
LIVE_FOR = frozenset({"element_ageing", "open_element", "open_circuit", "lost_phase", "low_supply"})
SENSORS = frozenset({"thermocouple_drift", "thermocouple_fault"})


def visit_sheet(history: KilnHistory, now: datetime | str, wording: Wording | None = None, *, files: str = "") -> str:
    """Return the sheet as a page's text."""
    words = wording or load()
    latest = history.latest
    studio = history.studio
    causes = [f for f in history.findings if f.severity != "info"]
    found = needed(inspection_of(history), causes)
    blocks, left_over = blocks_of(found, causes)
    electrical = not causes or any(words.causes[f.cause].after == "verification" for f in causes)
    return page(
        "visit.html.jinja",
        unit=studio.temperature_unit,
        kiln=history.kiln,
        studio=studio,
        title=shown.plain(history.kiln.title, 40),
        owner=shown.plain(studio.name, 48),
        plate=[(name, shown.plain(value, 44)) for name, value in nameplate(history.kiln, studio.temperature_unit)],
        verdict=verdict(history, words),
        latest=latest,
        likely=[(words.causes[f.cause].headline_at(shown.place(f)), shown.odds(f.probability)) for f in causes[:2]],
        began=_began(causes, history),
        zones="" if latest is None else shown.zones(latest),
        rivals=_rivals(causes, words),
        own_cautions=_own_cautions(causes, words),
        parts=order_list(found.parts),
        also=also_bring(causes, words),
        read_before=_read_before(history),
        blocks=blocks,
        left_over=left_over,
        crowded=_lines(blocks, found, causes, words) > ROOM_LINES,
        roomy=sum(len(block.rows) for block in blocks) <= ROOMY_ROWS,
        deciding=words.causes[causes[0].cause].deciding.rstrip(".") if causes else "",
        notes=[*found.notes, *_caution_of_live(found, causes)],
        methods=_methods(blocks, words),
        electrical=electrical,
        work=_work(causes, words, electrical=electrical),
        cautions=words.cautions,
        measuring=words.measuring,
        made=now if isinstance(now, str) else shown.moment(now, studio.time_zone),
        files=files,
    )


def _methods(blocks: Sequence[Block], words: Wording) -> list[tuple[str, str]]:
    """Return how each kind of reading on the sheet is taken and how far it may be off, under its head, in order."""
    kinds = dict.fromkeys(block.quantity for block in blocks if block.quantity in words.measuring.methods)
    methods = {kind: words.measuring.methods[kind] for kind in kinds}
    return [(HEADS[kind], f"{method.how} {method.tolerance}") for kind, method in methods.items()]


def needed(found: Inspection, causes: Sequence[Finding]) -> Inspection:
    """Return the inspection without readings that no likely cause asks for.

    Live work needs a licensed person, so it is asked for only where it can decide something, or in a full check.
    """
    names = {f.cause for f in causes}
    if not names or names & LIVE_FOR:
        return found
    steps = [m for m in found.measurements if not m.live and not (names <= SENSORS and m.circuit)]
    return replace(found, measurements=tuple(steps), notes=())


def _caution_of_live(found: Inspection, causes: Sequence[Finding]) -> list[str]:
    """Return what to say of live readings on a kiln that must not be fired as it is."""
    forbidden = any(f.cause in SAFETY_CAUSES for f in causes) and any(m.live for m in found.measurements)
    return ["Take the live readings after the repair, not before"] if forbidden else []


def also_bring(causes: Sequence[Finding], words: Wording) -> list[str]:
    """Return what the likely causes' wording wants at hand beside the counted parts, each once."""
    likely = [f for f in causes if f.probability >= WORTH_BRINGING]
    return list(dict.fromkeys(part for f in likely for part in words.causes[f.cause].parts))


def _lines(blocks: Sequence[Block], found: Inspection, causes: Sequence[Finding], words: Wording) -> int:
    """Return the lines of print of what differs from sheet to sheet."""
    parts = sum(ceil(len(part.what) / PART_LETTERS) for part in found.parts)
    told = sum(block.lines for block in blocks) + parts + bool(also_bring(causes, words))
    names = sum(ceil(len(row.label) / ROW_LETTERS) - 1 for block in blocks for row in block.rows)
    return told + names + len(causes[:2]) + len(_own_cautions(causes, words))


def _work(causes: Sequence[Finding], words: Wording, *, electrical: bool) -> list[Notes]:
    """Return the lists of the work itself: at the coils, or the likely causes' own inspection and how to prove it."""
    measuring = words.measuring
    if electrical:
        return [measuring.coils_out, measuring.reconnecting, measuring.verification]
    # A sensor's inspection stands in the measurements already.
    told = [words.causes[f.cause] for f in causes[:2] if f.cause not in SENSORS]
    own = [Notes(cause.title, cause.inspection) for cause in told]
    return [*own, measuring.comparison]


def _began(causes: Sequence[Finding], history: KilnHistory) -> str:
    """Return since when the likeliest cause shows, and what speaks for it most."""
    if not causes:
        return ""
    first = causes[0]
    since = f"Since {shown.day(first.since, history.studio.time_zone)}. " if first.since else ""
    telling = max((e for e in first.evidence if e.supports), key=lambda e: abs(e.weight), default=None)
    return shown.plain(f"{since}{telling.text if telling else ''}", LONGEST_BEGAN)


def _read_before(history: KilnHistory) -> list[str]:
    """Return the newest ohms of each circuit read since the elements were new, to lay beside today's."""
    renewed = renewed_at(history)
    newest = {r.circuit: r.entry for r in readings(history) if renewed is None or r.entry.at >= renewed}
    zone = history.studio.time_zone
    return [f"circuit {name} {shown.reading(entry)} ({shown.day(entry.at, zone)})" for name, entry in newest.items()]


def _rivals(causes: Sequence[Finding], words: Wording) -> str:
    """Return the likeliest cause's rivals that do not stand beside it anyway."""
    told = {f.cause for f in causes[:2]}
    others = [(cause, odds) for cause, odds in causes[0].rivals if cause not in told] if causes else []
    if not others:
        return ""
    listed = (f"{words.causes[cause].title.lower()} {max(1, round(100 * odds))}" for cause, odds in others)
    return ", ".join(listed) + " in 100"


def _own_cautions(causes: Sequence[Finding], words: Wording) -> list[str]:
    """Return the likely causes' own cautions, each once."""
    return list(dict.fromkeys(line for f in causes[:2] for line in words.causes[f.cause].cautions))[:2]

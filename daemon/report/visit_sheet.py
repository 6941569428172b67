"""The visit sheet: one printed page to take along, from nameplate and cautions to the verification firing."""

from collections.abc import Sequence
from datetime import datetime

from analysis.findings import Finding
from config.wording import Wording, load
from daemon.report import shown
from daemon.report.history import KilnHistory
from daemon.report.nameplate import nameplate
from daemon.report.pages import page
from daemon.report.readings_table import HEADS, Block, blocks_of, inspection_of, order_list
from daemon.report.verdict import verdict

ROOMY_ROWS = 5  # with no more there is room for notes


def visit_sheet(history: KilnHistory, now: datetime | str, wording: Wording | None = None, *, files: str = "") -> str:
    """Return the sheet as a page's text."""
    words = wording or load()
    latest = history.latest
    studio = history.studio
    found = inspection_of(history)
    causes = [f for f in history.findings if f.severity != "info"]
    blocks, left_over = blocks_of(found, causes)
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
        rivals=_rivals(causes, words),
        own_cautions=_own_cautions(causes, words),
        parts=order_list(found.parts),
        blocks=blocks,
        left_over=left_over,
        roomy=sum(len(block.rows) for block in blocks) <= ROOMY_ROWS,
        deciding=words.causes[causes[0].cause].deciding.rstrip(".") if causes else "",
        notes=found.notes,
        methods=_methods(blocks, words),
        renew=any(f.cause in ("element_ageing", "open_element") for f in causes),
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


def _rivals(causes: Sequence[Finding], words: Wording) -> str:
    if not causes or not causes[0].rivals:
        return ""
    listed = (f"{words.causes[cause].title.lower()} {max(1, round(100 * odds))}" for cause, odds in causes[0].rivals)
    return ", ".join(listed) + " in 100"


def _own_cautions(causes: Sequence[Finding], words: Wording) -> list[str]:
    """Return the likely causes' own cautions, each once."""
    return list(dict.fromkeys(line for f in causes[:2] for line in words.causes[f.cause].cautions))[:2]

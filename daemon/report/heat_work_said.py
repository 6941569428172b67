"""Heat-work of the last firing in words: its cone, what a slow climb added, and how it stands to earlier firings."""

from dataclasses import dataclass
from statistics import median

from analysis.heatwork import HeatWork
from daemon.report.history import KilnHistory
from daemon.report.like_firings import since_new_elements

TOLD_FROM_C = 3.0  # less is within the thermocouple's and the chart's own steps
FIRST_FIRINGS = 5  # their middle value is what the programme gave when the elements were new


@dataclass(frozen=True, slots=True)
class HeatWorkSaid:
    """Sentences on the last firing's heat-work, and the note on kind, source and doubt."""

    sentences: tuple[str, ...]
    note: str


def heat_work_said(history: KilnHistory) -> HeatWorkSaid | None:
    """Return what is said of the last firing's heat-work, or None if it earned no cone."""
    last = history.latest
    work = None if last is None else last.heat_work
    if work is None:
        return None
    as_much = f"as much as {{c:{work.equivalent_c:.0f}}} reached at {{dc:60}}/h without a hold"
    sentences = [
        f"The last firing did the heat-work of cone {work.cone}: {as_much}.",
        _pace(work),
        _since_new(history, work),
    ]
    memory = " This cone's row is from memory of it." if work.from_memory else ""
    note = (
        f"Kind: {work.kind}. Source: {work.source}.{memory} Other kinds of cone and other charts differ, by up to two "
        "cones' spacing, and a thermocouple may read off: where it matters, fire witness cones."
    )
    return HeatWorkSaid(tuple(sentence for sentence in sentences if sentence), note)


def _pace(work: HeatWork) -> str:
    """Return what the climb over the last 100 deg C did against the plan."""
    if work.rate_c_per_h is None:
        return ""
    climbed = f"Its last {{dc:100}} went at {{dc:{work.rate_c_per_h:.0f}}}/h"
    if work.planned_c_per_h is None or work.more_than_planned_c is None:
        return f"{climbed}."
    if work.more_than_planned_c < TOLD_FROM_C:
        return f"{climbed}, as planned."
    return (
        f"{climbed}, planned were {{dc:{work.planned_c_per_h:.0f}}}/h: at this slower climb the ware got about "
        f"{{dc:{work.more_than_planned_c:.0f}}} more than planned at the same peak."
    )


def _since_new(history: KilnHistory, work: HeatWork) -> str:
    """Return how the last firing stands to the first ones of its programme with these elements."""
    last = history.judged[-1]
    same = [
        said.heat_work.equivalent_c
        for said in since_new_elements(history)
        if said is not last and said.heat_work and said.programme == last.programme and said.end == "complete"
    ][:FIRST_FIRINGS]
    if len(same) < FIRST_FIRINGS:
        return ""
    more = work.equivalent_c - median(same)
    first = f"The first {FIRST_FIRINGS} firings of this programme with these elements did as much as"
    than = f"{{c:{median(same):.0f}}}: the last one"
    if abs(more) < TOLD_FROM_C:
        return f"{first} {than} the same."
    return f"{first} {than} {{dc:{abs(more):.0f}}} {'more' if more > 0 else 'less'}."

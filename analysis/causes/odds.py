"""Odds: from log odds to probabilities among rivals, and how lasting suspicions grow and fade."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log

from analysis.causes.case import Case, Suspicion, backs
from analysis.causes.memory import WORTH_KEEPING, Standing
from analysis.findings import Cause

RIVALS: tuple[frozenset[Cause], ...] = (
    frozenset({"open_element", "open_circuit", "lost_phase", "low_supply", "heat_leak", "loose_connection"}),
    frozenset({"thermocouple_fault", "thermocouple_drift"}),
    frozenset({"welded_contact"}),
    frozenset({"element_ageing"}),
    frozenset({"heavy_load"}),
    frozenset({"programme_change"}),
    frozenset({"aborted_firing", "incomplete_log"}),
)
"""Causes that explain the same evidence: of each set at most one can be right about it."""

_FIRST_ODDS: dict[str, float] = {"thermocouple_fault": -1.5, "welded_contact": -2.5, "loose_connection": -1.5}
"""Log odds of a lasting fault before any sign of it: fewer than one in five of the firings that look like it."""

_MOST = 8.0
_FADE: dict[str, float] = {"thermocouple_fault": 1.5, "welded_contact": 2.0, "loose_connection": 1.5}
"""Log odds lost with each firing that could have shown the sign and did not."""

_CLEARED_BY: dict[str, frozenset[str]] = {
    "thermocouple_fault": frozenset({"thermocouple", "wiring"}),
    "welded_contact": frozenset({"relay"}),
    "loose_connection": frozenset({"wiring", "relay", "element", "elements"}),
}

_SEEN_WITHOUT_ZONE: frozenset[Cause] = frozenset({"welded_contact"})
"""Causes that may show for the kiln as a whole before they show their zone: a current that flows unasked is some zone's
contact. All others are seen in a zone to begin with, so that one without a zone says nothing of those with one."""


def probability(log_odds: float) -> float:
    """Return the probability of natural log odds."""
    return 1.0 / (1.0 + exp(-max(-30.0, min(30.0, log_odds))))


def log_odds_of(share: float) -> float:
    """Return the natural log odds of a probability, bounded away from 0 and 1."""
    p = min(max(share, 1e-6), 1.0 - 1e-6)
    return log(p / (1.0 - p))


def among_rivals(suspicions: Sequence[Suspicion]) -> list[tuple[Suspicion, float]]:
    """Return each suspicion with its probability against its rivals and against nothing at all."""
    out: list[tuple[Suspicion, float]] = []
    for group in RIVALS:
        mine = [s for s in suspicions if s.cause in group]
        weights = [exp(min(s.log_odds, 30.0)) for s in mine]
        whole = 1.0 + sum(weights)
        out += [(s, w / whole) for s, w in zip(mine, weights, strict=True)]
    return sorted(out, key=lambda pair: -pair[1])


def cleared(standing: Sequence[Standing], case: Case) -> tuple[Standing, ...]:
    """Return what still stands after the repairs of the logbook since the last firing.

    Work on one zone's relay settles a closed contact of no known zone, too: most likely it was the one found closed. If
    it was another, the next firing's current tells of that one anew.
    """
    out = []
    for item in standing:
        parts = _CLEARED_BY.get(item.cause, frozenset())
        mended = any(
            e.what in ("replaced", "repaired")
            and e.part in parts
            and (e.zone in (None, item.zone) or _zone_to_come(item))
            for e in case.entries
        )
        if not mended:
            out.append(item)
    return tuple(out)


def _zone_to_come(item: Standing) -> bool:
    """Whether what stands is some zone's, and it has not shown yet which."""
    return item.zone is None and item.cause in _SEEN_WITHOUT_ZONE


def stand(
    standing: Sequence[Standing], suspicions: Sequence[Suspicion], case: Case, *, telling: bool
) -> tuple[tuple[Standing, ...], list[Suspicion]]:
    """Add this firing's lasting suspicions to what stands.

    ``telling`` says whether this firing could have shown the signs at all (a firing cut off early cannot clear
    anything). What stood without a zone is one with what now shows its zone. Returns the new standing and, for every
    lasting suspicion worth keeping, its running log odds.
    """
    left = {(s.cause, s.zone): s for s in standing}
    kept: list[Standing] = []
    running: list[Suspicion] = []
    for suspicion in (s for s in suspicions if s.lasting):
        old = left.pop((suspicion.cause, suspicion.zone), None)
        unplaced = left.get((suspicion.cause, None))
        if unplaced is not None and _zone_to_come(unplaced):
            old = _as_one(old, left.pop((suspicion.cause, None)))
        before = old.log_odds if old else _FIRST_ODDS.get(suspicion.cause, -2.0)
        total = min(_MOST, before + suspicion.log_odds)
        since = old or Standing(suspicion.cause, suspicion.zone, None, 0.0, case.index, case.started)
        item = Standing(suspicion.cause, suspicion.zone, suspicion.circuit, total, since.since_firing, since.since)
        if total > WORTH_KEEPING:
            kept.append(item)
            running.append(replace(suspicion, log_odds=total, since_firing=item.since_firing, since=item.since))
    for item in left.values():
        faded = (
            item
            if not telling
            else replace(item, log_odds=item.log_odds - _FADE.get(item.cause, 1.5), quiet=item.quiet + 1)
        )
        if faded.log_odds > WORTH_KEEPING:
            kept.append(faded)
            running.append(_remembered(faded))
    return tuple(kept), running


def _as_one(old: Standing | None, unplaced: Standing) -> Standing:
    """Return two that were one all along: as sure as the surer, since the earlier."""
    if old is None:
        return unplaced
    first = min(old, unplaced, key=lambda s: s.since_firing)
    most = max(old.log_odds, unplaced.log_odds)
    return replace(old, log_odds=most, since_firing=first.since_firing, since=first.since)


def _remembered(item: Standing) -> Suspicion:
    """Return the suspicion of something that stood before and did not show in this firing."""
    since = "this one could not show it"
    if item.quiet:
        since = f"the last {'firing' if item.quiet == 1 else f'{item.quiet} firings'} did not show it again"
    text = f"It showed in an earlier firing and no repair is in the logbook; {since}."
    return Suspicion(
        cause=item.cause,
        log_odds=item.log_odds,
        zone=item.zone,
        circuit=item.circuit,
        since_firing=item.since_firing,
        since=item.since,
        lasting=True,
        quiet=max(item.quiet, 1),
        evidence=(backs(text, max(item.log_odds, 0.1)),),
    )

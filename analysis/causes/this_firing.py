"""What is special about this firing and says nothing of the kiln: a heavy load, a new programme, an early end."""

from math import exp

from analysis.causes.case import Case, Suspicion, backs
from analysis.causes.odds import log_odds_of

HEAVY = 0.45
"""Log heat capacity above usual at which a load is heavy (half as much again)."""

_VAGUE, _WELL_TOLD = 0.3, 0.15
"""Errors of the heat capacity (log): beyond the first the firing's own balance says nothing of it; within the second
what the kiln's history makes of the firing does."""

_MOST_LOAD = 1.0
"""More than 2.7 times the usual heat for each degree (log) is no load that goes into a kiln: power is missing then."""

_COOLED_BLOCKS = 6
_SHORT_C = 25.0
_KEEPS_PACE_C = 15.0  # as near a set point as controllers keep a climb
_ENOUGH_FIRINGS = 5


def suspect(case: Case) -> list[Suspicion]:
    """Suspect what concerns this firing alone; none of it is ever more than information."""
    return [*_load(case), *_programme(case), *_end(case)]


def _load(case: Case) -> list[Suspicion]:
    balance = case.condition.balance
    capacity, loss = balance.power_per_capacity, balance.power_per_loss
    if case.index < _ENOUGH_FIRINGS:
        return []
    if capacity is None or loss is None or capacity.error > _VAGUE:
        return _load_by_climb(case)
    if -capacity.value > _MOST_LOAD:
        return []
    z = (-capacity.value - HEAVY) / max(capacity.error, 0.05)
    even = abs(loss.value) < max(0.06, 2.0 * loss.error)
    log_odds = 1.5 * z + 0.5 if even else -3.0
    if log_odds < -1.0:
        return []
    more = 100 * (exp(-capacity.value) - 1)
    heat = case.measures.heat
    alike = ", in heating and in cooling alike" if heat is not None and heat.cooling_blocks >= _COOLED_BLOCKS else ""
    evidence = (
        backs(f"It took about {more:.0f} % more heat than usual for each degree{alike}.", log_odds),
        backs("Power against heat loss is as usual, so the elements are not the reason.", 0.7),
    )
    return [Suspicion("heavy_load", log_odds, info_only=True, evidence=evidence)]


def _load_by_climb(case: Case) -> list[Suspicion]:
    """Suspect a heavy load from the climb at full output alone, where the kiln's own power and loss are known."""
    load = case.condition.balance.load
    if load is None or load.error > _WELL_TOLD or load.value > _MOST_LOAD:
        return []
    log_odds = 1.5 * (load.value - HEAVY) / load.error + 0.5
    if log_odds < -1.0:
        return []
    text = f"At full output it climbed as with about {100 * (exp(load.value) - 1):.0f} % more to heat than usual."
    return [Suspicion("heavy_load", log_odds, info_only=True, evidence=(backs(text, log_odds),))]


def _programme(case: Case) -> list[Suspicion]:
    if not case.condition.new_programme or case.index < 3:
        return []
    name = case.condition.programme or "this programme"
    evidence = (backs(f"The programme ({name}) is one this kiln has not fired before in these logs.", 2.0),)
    return [Suspicion("programme_change", log_odds_of(0.9), info_only=True, evidence=evidence)]


def _end(case: Case) -> list[Suspicion]:
    condition = case.condition
    if condition.end == "incomplete" or not case.log.complete_tail:
        text = "The log ends before the firing does, or in the middle of a line."
        return [Suspicion("incomplete_log", log_odds_of(0.9), info_only=True, evidence=(backs(text, 2.0),))]
    short = condition.short_c
    if condition.end == "aborted" and (short is None or short > _SHORT_C):
        far = "" if short is None else f", {{dc:{short:.0f}}} short of its programme's peak"
        lag_c = case.measures.lag_c
        pace = " while it still kept pace with its set point" if lag_c is not None and lag_c < _KEEPS_PACE_C else ""
        text = f"The firing was stopped{far}{pace}."
        return [Suspicion("aborted_firing", log_odds_of(0.85), info_only=True, evidence=(backs(text, 1.5),))]
    return []

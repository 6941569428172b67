"""What is special about this firing and says nothing of the kiln: a heavy load, a new programme, an early end.

And a stall that nothing else explains, which says that something is wrong though not what.
"""

from collections.abc import Sequence
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
_FAR_SHORT_C = 60.0
_DEAD_CIRCUIT, _POOR_VOLTS = 1.4, 0.4
"""Log odds of what makes a kiln stall at full output far below a peak it used to reach, if nothing else is known: five
in six that power is missing, most likely a circuit's (own estimate, no source)."""


def suspect(case: Case) -> list[Suspicion]:
    """Suspect what concerns this firing alone; none of it is ever more than information."""
    return [*_load(case), *_programme(case), *_end(case)]


def unexplained_stall(case: Case, others: Sequence[Suspicion]) -> list[Suspicion]:
    """Suspect missing power where full output did not reach the peak and none of ``others`` says why.

    A contact that opens only when hot shows little else: most of the firing is as ever.
    """
    short = case.condition.short_c
    if case.condition.end != "stalled" or short is None or short < _FAR_SHORT_C or case.index < _ENOUGH_FIRINGS:
        return []
    if case.measures.output not in ("duty", "on-off") or not case.measures.cooling_bands:
        return []  # full output is a guess; or the log ends with it, and the firing went on
    if any(s.log_odds > 0.0 and s.cause != "programme_change" for s in others):
        return []
    text = (
        f"At full output the firing came to a stand at {{c:{case.firing.peak_c:.0f}}}, {{dc:{short:.0f}}} short of its "
        "peak, and nothing else in the log says why. A contact or a wire that opens only when hot does that."
    )
    return [
        Suspicion("open_circuit", _DEAD_CIRCUIT, evidence=(backs(text, _DEAD_CIRCUIT),)),
        Suspicion("low_supply", _POOR_VOLTS, evidence=(backs(text, _POOR_VOLTS),)),
    ]


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

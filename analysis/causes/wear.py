"""Ageing elements: power that goes little by little, over many firings and the whole kiln."""

from math import erf, exp, sqrt

from analysis.causes.case import Case, Suspicion, backs, speaks_against
from analysis.causes.memory import Onset
from analysis.causes.odds import log_odds_of
from analysis.findings import Evidence
from analysis.measures import Estimate

WORTH_A_LINE = 0.03
"""Log power lost at which ageing is worth a line in the report (3 %)."""

WORTH_A_WARNING = 0.05
"""... and a message: far enough on the way to the 10 % at which elements are replaced to order a set."""

DUE = 0.08
"""Log power lost at which the set is due before long; how probable that is makes the finding's probability."""

_STILL_WORTH = 0.04
_ONSET = 0.015
_SURE = 0.85
_TIMES = 2
_TELL_APART = 0.04
"""What must be lost for certain: less is within a supply's wandering over months."""


def slow_loss(case: Case, sudden: float) -> Estimate | None:
    """Return the log power lost apart from sudden faults, as a positive number with its error.

    ``sudden`` (negative) is what a fault took that the condition's own histories do not hold.
    """
    level = case.condition.slow if case.condition.slow is not None else case.condition.level
    if level is None:
        return None
    return Estimate(-(level.value - (sudden if case.condition.slow is None else 0.0)), level.error)


def suspect(case: Case, sudden: float) -> list[Suspicion]:
    """Suspect ageing where the slow part of the loss is certain enough; a single slow firing never is."""
    loss = slow_loss(case, sudden)
    drift = case.condition.drift
    if loss is None or loss.value < WORTH_A_LINE or case.index < 5:
        return []
    sure = _certainty(loss)
    told = case.memory.ageing_told
    warn = sure > 0.6 and loss.value > _STILL_WORTH if told else times_seen(case, sudden) >= _TIMES
    log_odds = log_odds_of(max(0.62, _certainty(loss, DUE)) if warn else min(sure, 0.6))
    reference = {
        "nameplate": "its nameplate",
        "first firings": "its first logged firings",
        "after repair": "the first firings after the last repair",
    }[case.condition.reference]
    left = 100 * exp(-loss.value)
    evidence = [backs(f"The kiln still gives about {left:.0f} % of the power of {reference}.", log_odds)]
    if drift is not None and drift.value < 0:
        per_ten = 100 * (1 - exp(10 * drift.value))
        text = f"It went little by little, lately about {per_ten:.1f} % in ten firings, with no sudden step."
        if drift.value < -1.5 * drift.error:
            evidence.append(backs(text, 1.0))
        else:
            evidence.append(
                speaks_against("Lately the power has hardly changed, so the rate of ageing is uncertain.", 0.5)
            )
    uneven = _uneven(case)
    if uneven is not None:
        evidence.append(uneven)
    began = onset(case, sudden)
    return [
        Suspicion(
            "element_ageing",
            log_odds,
            since_firing=began.firing if began else None,
            since=began.started if began else None,
            info_only=not warn,
            evidence=tuple(evidence),
        )
    ]


def _certainty(loss: Estimate, more_than: float = _TELL_APART) -> float:
    """Return the probability that more than a given log power is gone."""
    z = (loss.value - more_than) / max(loss.error, 0.004)
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))


def times_seen(case: Case, sudden: float) -> int:
    """Return in how many firings running, of those that show power at all, the loss was sure and large enough."""
    loss = slow_loss(case, sudden)
    seen = case.memory.ageing_seen
    if loss is None or case.condition.basis in ("none", "kept pace"):
        return seen
    return min(seen + 1, _TIMES) if loss.value > WORTH_A_WARNING and _certainty(loss) > _SURE else 0


def onset(case: Case, sudden: float) -> Onset | None:
    """Return the firing from which the slow loss could first be seen, kept as long as it stays visible."""
    loss = slow_loss(case, sudden)
    before = case.memory.ageing_since
    if loss is None:
        return before
    if before is not None:
        return before if loss.value > _ONSET / 2 else None
    return Onset(case.index, case.started) if loss.value > max(_ONSET, loss.error) else None


def _uneven(case: Case) -> Evidence | None:
    levels = [z for z in case.condition.zone_levels if z is not None]
    if len(levels) < 2 or len(levels) != len(case.zones):
        return None
    values = [z.value for z in levels]
    spread = max(values) - min(values)
    if spread > 0.08:
        worst = case.zone_name(values.index(min(values)))
        return speaks_against(f"Zone {worst} lost {100 * (1 - exp(-spread)):.0f} % more than the best zone.", 0.5)
    return backs("All zones lost about alike, as elements of one age do.", 0.3)

"""What took the power: a broken element, circuit or line, the supply, or heat that leaks away.

One measured step (or one zone falling short) is weighed against every single fault of the kiln's own circuits, a
poor supply and a leak; they are rivals, so their odds share one piece of evidence.
"""

from dataclasses import dataclass
from datetime import datetime
from math import exp, log

from analysis.causes import mains
from analysis.causes.case import Case, Suspicion, backs, speaks_against
from analysis.causes.deficits import Deficit, sentence, zone_steps
from analysis.causes.odds import log_odds_of
from analysis.circuit_faults import FaultOdds, fault_odds, ln_likelihood, log_evidence
from analysis.findings import Cause, Evidence
from analysis.measures import Estimate

_FAULTS: dict[str, Cause] = {"open element": "open_element", "open circuit": "open_circuit", "lost line": "lost_phase"}
LEAST_STEP = -0.05
"""Log power steps smaller than this are no fault of a circuit (1 element of 18 is 5.7 %)."""

_SUPPLY_PRIOR = 0.6
"""A lasting low supply against a broken circuit before anything is measured (common practice, no source)."""

URGENT_STEP = -0.51
"""Four tenths of the power gone, or a zone dead: the next firing would stall."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A sudden loss of power as far as known: log odds that it is real, when, how much in all and by zone."""

    log_odds: float
    firing: int
    total: Estimate | None
    zones: tuple[Estimate | None, ...]


def loss_of(case: Case, found: list[Deficit]) -> Loss | None:
    """Return the sudden loss the condition or the zones show, None if neither shows one."""
    step = case.condition.step
    total, zones = None, tuple[Estimate | None, ...]()
    odds, firing = -9.0, case.index
    if step is not None and step.size.value < LEAST_STEP:
        odds, firing, total, zones = log_odds_of(step.probability), step.firing, step.size, step.zone_sizes
    worst = found[0] if found else None
    second = found[1] if len(found) > 1 else None
    if worst is not None and worst.log_odds - max(second.log_odds if second else 0.0, 0.0) > 2.0:
        apart = worst.log_odds - max(second.log_odds if second else 0.0, 0.0) - 3.0
        if apart > odds:
            odds = apart
        if not any(zones):
            zones = tuple(zone_steps(case, found))
    return None if odds < -2.0 else Loss(odds, firing, total, zones)


def suspect(case: Case, found: list[Deficit]) -> list[Suspicion]:
    """Return the rivals for a sudden loss of power, and for a rise of heat loss."""
    out = _leak(case)
    drop = mains.volts_drop(case)
    if drop is not None and -drop[0] > mains.LEAST_DROP and drop[1] < -3.0:
        evidence = (backs(mains.volts_sentence(case), 3.0),)
        out.append(Suspicion("low_supply", 3.0, power_step=drop[0], evidence=evidence))
    loss = loss_of(case, found)
    if loss is None:
        return out
    return out + _rivals(case, loss, found, volts_known=drop is not None or case.measures.supply_volts is not None)


def _rivals(case: Case, loss: Loss, found: list[Deficit], *, volts_known: bool) -> list[Suspicion]:
    """Share the odds that a loss is real among what could have made it."""
    odds = fault_odds(case.steps, loss.total, loss.zones)
    for_fault = log_evidence(case.steps, loss.total, loss.zones)
    for_supply = -50.0 if volts_known else log(_SUPPLY_PRIOR) + _supply_fit(loss)
    top = max(for_fault, for_supply)
    fault_weight, supply_weight = exp(for_fault - top), exp(for_supply - top)
    whole = fault_weight + supply_weight
    since = _date(case, loss.firing)
    out: list[Suspicion] = []
    share = fault_weight / whole if whole > 0 else 1.0
    groups: dict[Cause, list[FaultOdds]] = {}
    for item in odds:
        groups.setdefault(_FAULTS[item.step.fault.kind], []).append(item)
    evidence = _loss_evidence(case, loss, found)
    for cause, items in groups.items():
        part = share * sum(i.probability for i in items)
        if part < 0.02:
            continue
        best = items[0]
        out.append(
            Suspicion(
                cause,
                loss.log_odds + log(part),
                _common_zone(items),
                best.step.circuit if best.probability > 0.6 * sum(i.probability for i in items) else None,
                loss.firing,
                since,
                loss.total.value if loss.total else None,
                urgent=_urgent(case, loss, found),
                evidence=(*evidence, *_match(best, loss, part)),
            )
        )
    if 1.0 - share > 0.02:
        text = mains.guess_sentence(case, loss.total.value if loss.total else -0.1)
        extra = (
            backs(text, log_odds_of(1.0 - share))
            if share < 0.5
            else speaks_against("A broken circuit fits better.", 0.5)
        )
        out.append(
            Suspicion(
                "low_supply",
                loss.log_odds + log(1.0 - share),
                None,
                None,
                loss.firing,
                since,
                loss.total.value if loss.total else None,
                evidence=(*evidence, extra),
            )
        )
    return out


def _supply_fit(loss: Loss) -> float:
    """Return the log density of the measured step if the supply made it: every zone alike."""
    known = [z for z in loss.zones if z is not None]
    if loss.total is None and not known:
        return 0.0
    size = loss.total.value if loss.total is not None else sum(z.value for z in known) / len(known)
    ln = 0.0 if loss.total is None else mains.density(size, loss.total.error)
    return ln + sum(ln_likelihood(size, z) for z in known)


def _leak(case: Case) -> list[Suspicion]:
    """Suspect a leak of heat where the history with a sudden rise of loss fits best."""
    leak = case.condition.leak
    if leak < 0.1:
        return []
    log_odds = log_odds_of(leak)
    evidence: list[Evidence] = [
        backs(
            "The kiln loses more heat than before at the same temperature, while its climb for the load is unchanged.",
            log_odds,
        )
    ]
    balance = case.condition.balance
    if balance.loss_per_capacity is not None and balance.loss_per_capacity.value > 0.1:
        evidence.append(
            backs(
                f"It cools {100 * (exp(balance.loss_per_capacity.value) - 1):.0f} % faster than usual in this firing.",
                0.5,
            )
        )
    return [Suspicion("heat_leak", log_odds, evidence=tuple(evidence))]


def _date(case: Case, firing: int) -> datetime | None:
    step = case.condition.step
    if step is not None and step.firing == firing:
        return step.started
    return case.started if firing == case.index else None


def _common_zone(items: list[FaultOdds]) -> str | None:
    """Return the zone that carries most of a cause's odds, None if several share them."""
    whole = sum(i.probability for i in items)
    shares: dict[str | None, float] = {}
    for item in items:
        shares[item.step.zone] = shares.get(item.step.zone, 0.0) + item.probability
    zone, best = max(shares.items(), key=lambda pair: pair[1])
    return zone if best > 0.6 * whole else None


def _urgent(case: Case, loss: Loss, found: list[Deficit]) -> bool:
    """Whether the loss should stop the next firing: four tenths of the power, a dead zone, or a stalled firing."""
    big = loss.total is not None and loss.total.value < URGENT_STEP
    dead = bool(found) and found[0].dead
    return big or dead or case.condition.end == "stalled"


def _loss_evidence(case: Case, loss: Loss, found: list[Deficit]) -> tuple[Evidence, ...]:
    out = []
    if loss.total is not None:
        gone = 100 * (1 - exp(loss.total.value))
        when = "in this firing" if loss.firing == case.index else f"{case.index - loss.firing} firings ago"
        out.append(
            backs(f"About {gone:.0f} % of the kiln's power went at once, {when}, not little by little.", loss.log_odds)
        )
    if found and found[0].log_odds > 1.0:
        out.append(backs(sentence(case, found[0]), found[0].log_odds))
    if case.condition.short_c is not None and case.condition.short_c > 25.0:
        out.append(backs(f"The firing ended {{dc:{case.condition.short_c:.0f}}} short of its programme's peak.", 1.0))
    return tuple(out)


def _match(best: FaultOdds, loss: Loss, part: float) -> tuple[Evidence, ...]:
    """Return how the measured step compares with what this fault would do."""
    fault = best.step.fault
    what = {
        "open element": f"One open element in circuit {fault.circuit}",
        "open circuit": f"Circuit {fault.circuit} without power",
        "lost line": f"Supply line {fault.line} lost",
    }[fault.kind]
    want = 100 * exp(best.step.total)
    text = f"{what} would leave {want:.0f} % of the power"
    if loss.total is None:
        return (backs(f"{text}.", log_odds_of(part)),) if part > 0.5 else (speaks_against(f"{text}.", 0.3),)
    got = 100 * exp(loss.total.value)
    close = abs(best.step.total - loss.total.value) < 2.0 * (loss.total.error**2 + 0.04**2) ** 0.5
    text += f"; measured were {got:.0f} %."
    return (backs(text, max(log_odds_of(part), 0.2)),) if close else (speaks_against(text, 0.5),)

"""The sentences for a sudden loss of power, a poor supply and a leak: what speaks for each, in plain words."""

from collections.abc import Sequence
from math import exp

from analysis.causes import mains
from analysis.causes.case import Case, backs, speaks_against
from analysis.causes.deficits import Deficit, sentence
from analysis.causes.leaks import TAKES_MORE, FastCooling
from analysis.causes.memory import Lost
from analysis.causes.odds import log_odds_of
from analysis.circuit_faults import FaultOdds
from analysis.climb import NINETY
from analysis.cooling import surely_risen
from analysis.findings import Evidence
from analysis.measures import Estimate


def loss_evidence(case: Case, total: Estimate | None, firing: int, found: Sequence[Deficit]) -> tuple[Evidence, ...]:
    """Return what shows that power went at once: its size and date, the zone that fell short, the peak missed."""
    out = []
    if total is not None:
        gone = 100 * (1 - exp(total.value))
        ago = case.index - firing
        when = "in this firing" if ago == 0 else "one firing ago" if ago == 1 else f"{ago} firings ago"
        out.append(backs(f"About {gone:.0f} % of the kiln's power went at once, {when}, not little by little.", 2.0))
    if found and found[0].log_odds > 1.0:
        out.append(backs(sentence(case, found[0]), found[0].log_odds))
    short = case.condition.short_c
    if short is not None and short > 25.0:
        out.append(
            backs(f"The firing ended {{c:{case.firing.peak_c:.0f}}}, {{dc:{short:.0f}}} short of its peak.", 1.0)
        )
    return tuple(out)


def remembered_evidence(case: Case, kept: Lost) -> tuple[Evidence, ...]:
    """Return what stands for a loss of an earlier firing that nothing has cleared."""
    ago = case.index - kept.firing
    size = "" if kept.size is None else f" About {100 * (1 - exp(kept.size)):.0f} % of the power went then."
    when = "in this firing" if ago == 0 else "one firing ago" if ago == 1 else f"{ago} firings ago"
    text = f"It showed {when} and neither a repair nor a later firing has cleared it.{size}"
    return (backs(text, 1.0),)


def match(case: Case, best: Sequence[FaultOdds], total: Estimate | None, share: float) -> tuple[Evidence, ...]:
    """Return how the measured step compares with what the likeliest fault of a kind would do."""
    if not best:
        return ()
    step = best[0].step
    alike = [
        o.step.circuit
        for o in best
        if abs(o.step.total - step.total) < 0.02 and o.probability > 0.3 * best[0].probability
    ]
    names = [n for n in dict.fromkeys(alike) if n is not None]
    circuit = f"circuit {names[0]}" if len(names) == 1 else f"one of the circuits {', '.join(names)}"
    fault = step.fault
    if fault.zone is not None:
        circuit = f"zone {fault.zone}, all its circuits,"
    what = {
        "open element": f"One open element in {circuit}",
        "open circuit": f"{circuit[0].upper()}{circuit[1:]} without power",
        "lost line": "A lost supply line",
    }[fault.kind]
    text = f"{what} would leave {100 * exp(step.total):.0f} % of the power"
    if step.assumed:
        text += " (of two equal elements a zone, as the register lists no circuits)"
    if total is None:
        return (backs(f"{text}.", max(0.3, log_odds_of(share))),) if share > 0.4 else ()
    close = abs(step.total - total.value) < 2.0 * (total.error**2 + 0.04**2) ** 0.5
    text += f"; this kiln was left with about {100 * exp(total.value):.0f} %."
    del case
    return (backs(text, max(0.3, log_odds_of(share))),) if close else (speaks_against(text, 0.5),)


def supply_evidence(case: Case, step: float, *, by_volts: bool = False) -> tuple[Evidence, ...]:
    """Return what speaks for a poor supply: the volts of the log, or all zones weaker alike."""
    if by_volts:
        return (backs(mains.volts_sentence(case), 3.0),)
    return (backs(mains.guess_sentence(case, step), 0.5),)


def leak_evidence(case: Case, *, by_balance: bool, size: Estimate | None) -> tuple[Evidence, ...]:
    """Return what speaks for a leak of heat in the heat balance."""
    if not by_balance:
        return ()
    bent = next((s.bend for s in case.condition.stories if s.bend is not None), None)
    out = []
    if bent is not None and surely_risen(bent):
        text = (
            "With everything off it cools too fast while it is hot, compared with earlier firings: so does a kiln that "
            "loses heat by a gap, and nothing electrical can make it."
        )
        out.append(backs(text, 2.0))
    known = size is not None and size.value > NINETY * size.error
    if out and not known:  # no heating has shown how much more is lost, or that more is lost in the heating too
        habit = "A lid, vent or spy hole that is opened earlier in the cooling than it used to be does the same."
        return (*out, speaks_against(habit, 0.5))
    more = "more heat" if size is None or not known else f"about {100 * (exp(size.value) - 1):.0f} % more heat"
    text = f"The kiln loses {more} than before at the same temperature, while its power for the load is unchanged."
    out.append(backs(text, 1.5))
    loss = case.condition.balance.loss_per_capacity
    if loss is not None and loss.value > 0.1:
        out.append(backs(f"It cools {100 * (exp(loss.value) - 1):.0f} % faster than usual in this firing.", 0.5))
    return tuple(out)


def fast_cooling_evidence(case: Case, cools: FastCooling) -> tuple[Evidence, ...]:
    """Return what the cooling alone says of a leak."""
    name = case.zone_name(cools.zone)
    far = f", now by {{dc:{cools.below_c:.0f}}}" if cools.below_c > 1.0 else ""
    text = f"With everything off, zone {name} cools faster than the others compared with earlier firings{far}."
    if cools.work is not None:  # one that takes less of it is stacked lighter, and not told
        work = (
            "It takes more of the work near the peak too" if cools.work > TAKES_MORE else "It takes as much of the work"
        )
        return backs(text, cools.log_odds), backs(f"{work}: a zone stacked lighter would take less.", 0.7)
    habit = "A zone that is stacked lighter than it used to be, from that firing on, cools faster too."
    return backs(text, cools.log_odds), speaks_against(habit, 0.5)

"""Sudden losses of power as the histories, the zones and a failed firing tell them, and how far each is believed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from analysis.causes.case import Case
from analysis.causes.deficits import Deficit, zone_steps
from analysis.causes.odds import probability
from analysis.causes.stacking import explains_weakness
from analysis.condition import STRONGER_THAN_NEW, Story
from analysis.cooling import surely_risen
from analysis.measures import Estimate

LEAST_STEP, LEAST_ZONE_STEP = -0.08, -0.12
"""Log steps worth a message: of all zones alike (4 % of the volts; a supply wanders by 3 for days), and of one zone
alone (1 element of 8)."""

_SURE_OF_ZONE, _ENOUGH, _NO_SIGN = 2.0, 3, 1.0
_LEARNING_FIRINGS, _VAGUE, _SHOWS = 6, 0.12, -0.25
"""A loss in the first firings, of a level known so vaguely, or of a zone's power this large that does not show in its
work or lag, is believed less ..."""

_FAR_BEYOND = 2.5
"""... unless the loss is so many times what is not known of the level."""

_HEAVIER, _NO_LOAD = 0.3, -0.5
"""A zone that holds more ware than usual works more without being weaker, but not as if half its power were gone."""

_CLEAR, _CLEAR_GUESSED = (1.6, 2.0), (2.0, 3.0)
"""How many times its spread a step must be: barely and plainly clear, and with temperature alone."""

_FAR_SHORT_C, _FAILED_STEP, _FAILED_SURE, _FAILED = 60.0, -0.25, 2.5, 0.95


@dataclass(frozen=True, slots=True)
class Loss:
    """A sudden loss of power as one history tells it: how probable, when, how much in all and by zone.

    ``apart`` is the zone that falls short of the others by itself, where the loss rests on that; ``fault`` the step
    of the single circuit fault the history assumes (`analysis.condition.Story`), "" if it left the size open;
    ``supply`` says that the amps show the volts to be what fell.
    """

    probability: float
    firing: int
    started: datetime | None
    total: Estimate | None
    zones: tuple[Estimate | None, ...]
    apart: Deficit | None = None
    zone: int | None = None
    in_level: bool = True
    fault: str = ""
    supply: bool = False


def losses(case: Case, found: Sequence[Deficit]) -> list[Loss]:
    """Return the sudden losses that the living histories, or one zone's shortfall, speak of; most probable first."""
    out = [
        Loss(
            story.probability * credit_of(case, story, found),
            story.firing,
            story.started,
            story.size,
            story.zone_sizes,
            zone=story.zone,
            fault=story.fault,
            supply=story.kind == "supply",
            in_level=story.kind != "supply",
        )
        for story in case.condition.stories
        if story.firing is not None and _worth_a_word(story) and not _absurd(case)
    ]
    if sum(loss.probability for loss in out) < 0.5:
        out += _failed(case)
    apart = found[0] if found and found[0].sure > 0.0 else None
    if apart is not None:
        by_zone = probability(apart.sure)
        told = sum(loss.probability for loss in out)
        main = max(out, key=lambda loss: loss.probability, default=None)
        elsewhere = main is not None and _worst(main.zones) not in (None, apart.zone) and apart.sure > _SURE_OF_ZONE
        if by_zone > told + 0.2 or elsewhere:
            out = [replace(loss, probability=loss.probability * (1.0 - by_zone)) for loss in out]
            # what fell short in the firing before as well was not this firing's stacking
            began = case.index - (case.memory.zones[apart.zone].deficit > 0.0)
            started = case.started if began == case.index else None
            out.append(Loss(by_zone, began, started, None, tuple(zone_steps(case, found)), apart, in_level=False))
        elif main is not None and _worst(main.zones) == apart.zone:
            # Two independent signs of the same loss: the heat balance and the zone against the others.
            both = 1.0 - (1.0 - told) * (1.0 - by_zone)
            out = [replace(loss, probability=loss.probability * both / told) for loss in out]
    return sorted(out, key=lambda loss: -loss.probability)


def credit_of(case: Case, story: Story, found: Sequence[Deficit]) -> float:
    """Return how much a history is believed beyond its own probability: 1, or less where it rests on little.

    A change within the first firings cannot be told from learning what is usual; a size barely larger than its
    error, or within what the level itself is known to (no better than 12 %), can be no change at all; a zone that
    lost a quarter of its power lags or works more than the others; and one that holds more since then is not weaker.
    """
    credit = 1.0
    highest, slow = case.condition.level_high, case.condition.slow
    if highest is not None and slow is not None and highest < min(slow.value, 0.0) + LEAST_STEP:
        return credit  # however much of it is wear, far more is gone
    if story.firing is not None and story.firing < _LEARNING_FIRINGS:
        credit *= 0.3
    if story.bend is not None and surely_risen(story.bend):
        return credit  # seen by itself, whatever is known of its size
    change = story.loss_size if story.kind == "leak" else story.size
    if slow is not None and slow.error > _VAGUE and (change is None or abs(change.value) < _FAR_BEYOND * slow.error):
        credit *= 0.3
    clear = _clearness(case.condition.stories)
    barely, plainly = _CLEAR_GUESSED if case.measures.output == "none" else _CLEAR
    credit *= 0.3 if clear < barely else 0.6 if clear < plainly else 1.0
    if story.kind == "zone" and story.zone is not None:
        size = min((z.value for z in story.zone_sizes if z is not None), default=0.0)
        if size > _NO_LOAD and explains_weakness(case, story.zone, story.firing):
            credit *= _HEAVIER
        seen = next((d for d in found if d.zone == story.zone), None)
        known = len(case.memory.zones) > story.zone and case.memory.zones[story.zone].behind.count >= _ENOUGH
        if size < _SHOWS and known and seen is not None and seen.running <= 0.0 and seen.far < _NO_SIGN:
            credit *= 0.3
    return credit


def _clearness(stories: Sequence[Story]) -> float:
    """Return how many times its spread the change is, over all histories that tell of one (whatever its kind)."""
    told = []
    for story in stories:
        size = story.loss_size if story.kind == "leak" else story.size
        if story.kind in ("zone", "all", "leak", "supply") and size is not None:
            told.append((story.probability, abs(size.value), size.error))
    weight = sum(p for p, _, _ in told)
    if weight <= 0.0:
        return 0.0
    mean = sum(p * size for p, size, _ in told) / weight
    spread = (sum(p * (error**2 + (size - mean) ** 2) for p, size, error in told) / weight) ** 0.5
    return float(mean / max(spread, 1e-6))


def _failed(case: Case) -> list[Loss]:
    """Return the loss a failed firing shows by itself: flat out at its end, far short, and too weak against its heat.

    However few firings came before: this is not how a sound kiln with a usual load ends.
    """
    against = case.condition.balance.power_per_loss
    short = case.condition.short_c or 0.0
    if case.condition.end != "stalled" or short < _FAR_SHORT_C or against is None:
        return []
    if against.value > _FAILED_STEP or against.value > -_FAILED_SURE * against.error:
        return []
    weak = Estimate(against.value, max(against.error, 0.1))
    return [Loss(_FAILED, case.index, case.started, weak, (), in_level=False)]


def _worth_a_word(story: Story) -> bool:
    """Whether a history tells of a loss large enough to be more than the supply's wandering."""
    if story.kind == "zone":
        return min((z.value for z in story.zone_sizes if z is not None), default=0.0) < LEAST_ZONE_STEP
    return story.kind in ("all", "supply") and story.size is not None and story.size.value < LEAST_STEP


def _absurd(case: Case) -> bool:
    """Whether a history would have the kiln far stronger than new before the loss: it learned from too few firings."""
    return case.condition.slow is not None and case.condition.slow.value > STRONGER_THAN_NEW


def _worst(zones: Sequence[Estimate | None]) -> int | None:
    """Return the number of the zone that lost most, None where no zone stands out."""
    known = [(z.value, i) for i, z in enumerate(zones) if z is not None]
    if len(known) < 2:
        return None
    low, second = sorted(known)[:2]
    return low[1] if low[0] < second[0] - 0.1 else None

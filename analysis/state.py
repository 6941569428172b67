"""What is remembered of a kiln between firings, and how one more firing changes it.

KilnState is plain, small, JSON-able and bounded in size. ``update`` weighs one firing's heat balance under each
living history of the kiln (``analysis.histories``, ``analysis.power_filter``) and says what is now known: Condition.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from analysis.basis import shows_power
from analysis.beliefs import aged, first_beliefs, fresh_slot, quickened, resized
from analysis.causes.memory import CausesMemory
from analysis.condition import Condition
from analysis.findings import Reference
from analysis.firing import Firing
from analysis.grid import FloatArray
from analysis.habits import Asked, Habit, asked_everything, of_others, remembered
from analysis.histories import continuations, shown_by
from analysis.jumps import jump_size
from analysis.measures import Measures
from analysis.power_filter import Belief, Hypothesis, pack, prune, unpack
from analysis.programmes import MOST_PROGRAMMES, Programme, nearest, recognise
from analysis.renewal import Former, against, falls_short, former_of, kept, settled
from analysis.repairs import repaired
from analysis.state_vector import Layout, layout_of, whole_power
from analysis.summary import REFERENCE_FIRINGS, Known, condition_of, likely
from analysis.zones import rated_shares
from config.kiln import Kiln
from config.logbook import LogbookEntry

_SETTLING_FIRINGS = 4
"""Firings that showed power before a jump can be told from not knowing the kiln yet."""

_LONG_KNOWN = 12
"""Firings after which a kiln that always kept pace is known well enough by what its pace asked for: when such a kiln
falls behind at full output, something happened to it."""

_LOGGED_OTHERWISE, _RECENT = 3, 24
"""Logs running with another number of zones after which the kiln is logged otherwise for good, and its history begins
anew; and firings whose starts are remembered."""

_UNEVEN_C = -4.0
"""A zone this far below the mean of all throughout the heating has too little power, whatever else is not known yet."""

_COOLED_BLOCKS = 6
"""An hour of free cooling: enough to tell the wall's loss from the load."""


@dataclass(frozen=True, slots=True)
class KilnState:
    """The online state of one kiln.

    Attributes
    ----------
    firings, informed : how many have been seen, and how many of them showed power (not only a kept pace).
    hypotheses : the living histories with their weights (empty before the first measured firing).
    zones : how many zones they speak of (0 in a state of a version that always kept room for all programmes).
    reference, reference_firings : what power 1 means and how many firings it rests on so far (at most 8).
    former : what was 100 % before a new set that has not shown as much yet.
    programmes : programmes seen at this kiln.
    recent : start of each of the last 24 firings, oldest first (for dates of onset).
    asked : which earlier firings asked the kiln for everything it had, where no output is logged.
    in_step : how many more logs held a relay's state sampled in step with its cycle than anywhere in it, of the latest
        (``analysis.relay_samples``).
    set_firing : the firing that was the first of this set of elements, as far as the logbook tells.
    unlike : latest logs running that held another number of zones; each was judged by itself.
    amps_from : log level of the power, over the reference, when amps were logged first; None as long as none were.
    causes : what ``analysis.causes`` remembers.
    """

    firings: int = 0
    informed: int = 0
    hypotheses: tuple[Hypothesis, ...] = ()
    zones: int = 0
    reference: Reference = "first firings"
    reference_firings: int = 0
    former: Former | None = None
    programmes: tuple[Programme, ...] = ()
    recent: tuple[datetime | None, ...] = ()
    causes: CausesMemory = field(default_factory=CausesMemory)
    asked: tuple[Asked, ...] = ()
    in_step: int = 0
    set_firing: int = 0
    unlike: int = 0
    amps_from: float | None = None


def begin(kiln: Kiln) -> KilnState:
    """The state of a kiln of which no firing has been seen."""
    del kiln
    return KilnState()


def _referenced(layout: Layout, belief: Belief, shares: FloatArray, count: int, index: int) -> Belief:
    """Take this firing's level into the mean of the reference firings (``count`` before it).

    A sudden loss that a history tells of is no part of what its kiln gave when it was well.
    """
    if belief.story.standing + jump_size(layout, belief, shares, index) < 0.0:
        return belief
    level, gradient = whole_power(layout, belief.mean, shares)
    weight, at = 1.0 / (count + 1), layout.reference
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    mean[at] = (1.0 - weight) * belief.mean[at] + weight * level
    # the reference becomes a mean of itself and the level: on both sides of the covariance
    for side in (covariance, covariance.T):
        side[at] = (1.0 - weight) * side[at] + weight * (gradient @ side[: layout.zones])
    return belief.moved(mean, covariance)


def _level_of(layout: Layout, beliefs: Sequence[Belief], shares: FloatArray) -> float:
    """Return the log of the whole kiln's power over its reference in the likeliest history."""
    best = max(beliefs, key=lambda belief: belief.log_weight)
    return whole_power(layout, best.mean, shares)[0] - float(best.mean[layout.reference])


def _living(layout: Layout, state: KilnState) -> list[Belief]:
    """Return the histories left by earlier firings; first ones where there are none, or they speak of other zones."""
    beliefs = [unpack(hypothesis) for hypothesis in state.hypotheses]
    if not beliefs:
        return first_beliefs(layout)
    slots, odd = divmod(beliefs[0].mean.size - layout.wall_offset, 2)
    if (
        odd
        or slots < 0
        or (state.zones or layout.zones) != layout.zones
        or (not state.zones and slots != MOST_PROGRAMMES)
    ):
        return first_beliefs(layout)
    return beliefs if slots == layout.slots else [resized(layout, belief, slots) for belief in beliefs]


def _mends(entries: Sequence[LogbookEntry]) -> bool:
    """Whether work on the kiln may have changed what a programme asks of it."""
    return any(entry.what in ("replaced", "repaired") for entry in entries)


def update(
    kiln: Kiln, state: KilnState, firing: Firing, measures: Measures, entries: Sequence[LogbookEntry]
) -> tuple[KilnState, Condition]:
    """Take one firing into the kiln's state; ``entries`` are the logbook's since the previous firing.

    Pure: the new state and what is known of the kiln after this firing.
    """
    zones = len(measures.zone_offset_c) or state.zones or max(len(kiln.zones), 1)
    if zones != (state.zones or zones):
        if state.unlike + 1 < _LOGGED_OTHERWISE and not _mends(entries):
            _, alone = update(kiln, begin(kiln), firing, measures, ())
            recent = (*state.recent, firing.started)[-_RECENT:]
            waiting = replace(state, firings=state.firings + 1, unlike=state.unlike + 1, recent=recent)
            return waiting, replace(alone, index=state.firings)
        state = replace(begin(kiln), firings=state.firings, recent=state.recent, causes=state.causes)
    shares = np.asarray(rated_shares(kiln, zones))
    index = state.firings
    cooled = measures.heat is not None and measures.heat.cooling_blocks >= _COOLED_BLOCKS
    programmes, match = recognise(state.programmes, firing, index, cooled=cooled)
    layout = layout_of(zones, 1 + max(programme.slot for programme in programmes))
    beliefs = _living(layout, state)
    reference, counted = state.reference, state.reference_firings
    former, old = state.former, beliefs
    beliefs, new_set = repaired(kiln, layout, beliefs, entries)
    set_firing = index if new_set else state.set_firing
    if new_set:
        former = former_of(layout, old, reference, counted, index)
        reference, counted = "after repair", 0
    slot, guessed = match.programme.slot, measures.output == "none"
    if match.programme.fired <= 1:
        beside = nearest(programmes, match.programme)
        near = None if beside is None else beside.slot
        apart_c = 0.0 if beside is None else abs(beside.shape.peak_c - match.programme.shape.peak_c)
        beliefs = [
            fresh_slot(layout, belief, slot, cooled=cooled, guessed=guessed, near=near, apart_c=apart_c)
            for belief in beliefs
        ]
    earlier = () if _mends(entries) else state.asked
    if match.programme.fired <= 1:
        earlier = of_others(earlier, slot)
    habit = Habit(earlier, slot, None if match.short_c else asked_everything(measures))
    shown = shown_by(layout, measures, slot, shares, habit)
    before = aged(layout, quickened(layout, beliefs, index)) if index else beliefs
    branches = continuations(
        kiln,
        layout,
        before,
        shown,
        index,
        supply_known=measures.supply_volts is not None,
        settled=state.informed >= _SETTLING_FIRINGS or (index >= _LONG_KNOWN and counted >= REFERENCE_FIRINGS),
        uneven=min(measures.zone_offset_c, default=0.0) < _UNEVEN_C,
    )
    beliefs = prune([b.belief for b in branches], index)
    renewed = None
    amps_from = state.amps_from
    if measures.full_current is not None and (amps_from is None or counted < REFERENCE_FIRINGS):
        amps_from = _level_of(layout, before, shares) if counted >= REFERENCE_FIRINGS else 0.0
    if former is not None:
        renewed = against(former, layout, beliefs, shares)
        stalled = firing.end == "stalled"
        if falls_short(renewed, stalled=stalled):  # no new 100 %: something is not connected or not heating
            reference, counted = former.reference, REFERENCE_FIRINGS
            branches = [replace(b, belief=kept(layout, b.belief, former, renewed)) for b in likely(branches)]
            beliefs = [kept(layout, b, former, renewed) for b in beliefs]
            former = None
        elif settled(former, renewed, index):
            former = None
    if counted < REFERENCE_FIRINGS:
        branches = [replace(b, belief=_referenced(layout, b.belief, shares, counted, index)) for b in likely(branches)]
        beliefs = [_referenced(layout, b, shares, counted, index) for b in beliefs]
        counted += 1
    recent = (*state.recent, firing.started)[-_RECENT:]
    new_state = replace(
        state,
        firings=index + 1,
        informed=state.informed + shows_power(measures),
        hypotheses=tuple(pack(b) for b in beliefs),
        zones=zones if measures.zone_offset_c else state.zones,  # a log too short tells nothing of them
        reference=reference,
        reference_firings=counted,
        former=former,
        programmes=programmes,
        recent=recent,
        asked=remembered(earlier, habit, index),
        set_firing=set_firing,
        unlike=0,
        amps_from=amps_from,
    )
    age = index + 1 - set_firing
    known = Known(layout, shares, index, reference, counted, recent, match, age, amps_from)
    condition = condition_of(known, before, branches, measures, firing, informed=not shown.model.empty)
    return new_state, condition if renewed is None else replace(condition, renewed=renewed)

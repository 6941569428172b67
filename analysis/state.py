"""What is remembered of a kiln between firings, and how one more firing changes it.

KilnState is plain, small, JSON-able and bounded in size. ``update`` weighs one firing's heat balance under each
living history of the kiln (``analysis.power_filter``) and says what is now known: Condition.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from analysis.causes.memory import CausesMemory
from analysis.circuit_faults import PRIOR, fault_steps
from analysis.condition import Condition
from analysis.findings import Reference
from analysis.firing import Firing
from analysis.grid import FloatArray
from analysis.balance import KeptPace
from analysis.heat_model import FiringModel, Layout, factor_of, kept_margin, whole_power, zone_factor_of
from analysis.measures import Measures
from analysis.power_filter import (
    Belief,
    Hypothesis,
    JumpKind,
    Pace,
    Posterior,
    censored,
    gauss_newton,
    pack,
    prune,
    unpack,
)
from analysis.programmes import Programme, recognise
from analysis.repairs import repaired
from analysis.summary import REFERENCE_FIRINGS, condition_of
from analysis.zones import rated_shares
from config.kiln import Kiln
from config.logbook import LogbookEntry

_FIRST_WALL = (-1.2, 0.6)
_FIRST_CAPACITY = (-1.8, 0.8)
"""Log of A and C as shares of rated power, before any firing: 65-76 mm brick loses 0.4-0.6 of the rated power at
1200 deg C (facts: 65 mm, k 0.17 W/mK, 2.1 m2, 11.5 kW: 0.54), so A is about 0.3; a load climbs at 100 deg C per
hour for about a sixth of it. Wide enough for kilns twice as good or bad."""

_FIRST_DRIFT: dict[Pace, tuple[float, float, float]] = {
    "steady": (-0.0003, 0.0003, 0.65),
    "wearing": (-0.0025, 0.0015, 0.35),
}
"""Mean, spread and odds of the drift per firing. Elements lose 10 % in some 350 firings at cone 6 and below, in 35 to
80 at cone 10 or where something shortens their life (kiln makers' and technicians' figures): 0.0003 and 0.0013-0.003."""

_EXCHANGE = (0.8, 0.4)
"""Radiation between zones, 4 sigma T^3 times a cross-section of 0.2 m2 of fair emissivity at 1273 K, is 80-90 W per deg
C: 0.8 of 10 kW per 100 deg C."""

_SLOW_SUPPLY = 0.004
_SLOW_SUPPLY_KEPT = 0.96
"""A supply also drifts over weeks (season, neighbours): some 0.2 % in volts, half forgotten in 17 firings."""

_DRIFT_WALK = 1.0e-4
_LEVEL_WALK = 5.0e-4
_WALL_WALK = 5.0e-4
_CAPACITY_WALK = 0.01
_SHARE_WALK = 1.0e-3
"""Changes per firing that are neither ageing nor faults: brick and furniture age too, little by little."""

_ZONE_SHARE = 0.3
_WALL_OFFSET = 0.012
_WALL_OFFSET_UNCOOLED = 0.04
"""Programmes differ in what the wall model misses (vent, damp, humps of stored heat) by about a per cent; by more
where the log ends at the peak, as then only the curvature of the climb tells wall from load."""

_COOLED_BLOCKS = 6

_CAPACITY_OFFSET = 0.35
_DAY_LOAD = 0.35
"""Loads of one programme differ by 25-50 % from firing to firing (weighed loads of studios vary as much)."""

_DAY_SUPPLY = 0.0105
"""A supply wanders by about 0.4 % from firing to firing, so power by 0.9 %; the rest is the balance's own error."""

_DAY_SUPPLY_KNOWN = 0.006
_SHARE_ERROR = 0.05
"""How a load is stacked shifts the zones' shares of the work by some five per cent."""

_FAULT_ODDS = 0.004
_JUMP_ODDS = 0.002
_LEAK_ODDS = 0.002
_PASSING_ODDS = 0.003
_ODD_FIRING_ODDS = 0.003
"""Prior odds per firing: a single fault of elements, relays or lines every few years of use; some other sudden loss,
and a leak, half as often; a loose connection or a bad log as often. They set how much evidence a jump needs."""

_FAULT_SPREAD = 0.02
"""A single fault's step follows from the circuit's ohms, known to some 5 % each (wire tolerance)."""

_JUMP_SIZE = 0.5
_LEAK_SIZE = 0.25
_PASSING_SIZE = 0.2
_ODD_SCALE = 3.0

_SETTLING_FIRINGS = 2
"""Firings before a jump can be told from not knowing the kiln yet."""

_COUNTS = -4.0
"""Log weight below which a history is not branched again (2 % of the best)."""


@dataclass(frozen=True, slots=True)
class KilnState:
    """The online state of one kiln.

    Attributes
    ----------
    firings : how many have been seen.
    hypotheses : the living histories with their weights (empty before the first measured firing).
    reference, reference_firings : what power 1 means and how many firings it rests on so far (at most 8).
    programmes : programmes seen at this kiln.
    recent : start of each of the last 24 firings, oldest first (for dates of onset).
    causes : what ``analysis.causes`` remembers.
    """

    firings: int = 0
    hypotheses: tuple[Hypothesis, ...] = ()
    reference: Reference = "first firings"
    reference_firings: int = 0
    programmes: tuple[Programme, ...] = ()
    recent: tuple[datetime | None, ...] = ()
    causes: CausesMemory = field(default_factory=CausesMemory)


def begin(kiln: Kiln) -> KilnState:
    """The state of a kiln of which no firing has been seen."""
    del kiln
    return KilnState()


def _first_belief(layout: Layout, pace: Pace) -> Belief:
    mean = np.zeros(layout.size)
    spread = np.zeros(layout.size)
    spread[: layout.zones] = 1e-3
    mean[layout.drift], spread[layout.drift], odds = _FIRST_DRIFT[pace]
    spread[layout.slow_supply] = _SLOW_SUPPLY
    mean[layout.exchange], spread[layout.exchange] = _EXCHANGE
    mean[layout.wall], spread[layout.wall] = _FIRST_WALL
    mean[layout.capacity], spread[layout.capacity] = _FIRST_CAPACITY
    spread[layout.share : layout.share + layout.zones] = _ZONE_SHARE
    spread[layout.wall_offset : layout.capacity_offset] = _WALL_OFFSET
    spread[layout.capacity_offset :] = _CAPACITY_OFFSET
    story = Hypothesis(0.0, (), (), pace=pace)
    return Belief(float(np.log(odds)), mean, np.diag(spread**2), story)


def _fresh_slot(layout: Layout, belief: Belief, slot: int, spread: float) -> Belief:
    """Forget what was known of a programme slot: it is given to another programme."""
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    for at, size in ((layout.wall_offset + slot, spread), (layout.capacity_offset + slot, _CAPACITY_OFFSET)):
        mean[at] = 0.0
        covariance[at, :] = 0.0
        covariance[:, at] = 0.0
        covariance[at, at] = size**2
    return replace(belief, mean=mean, covariance=covariance)


def _aged(layout: Layout, belief: Belief) -> Belief:
    """The belief one firing later: every zone has drifted."""
    move = np.eye(layout.size)
    move[: layout.zones, layout.drift] = 1.0
    move[layout.slow_supply, layout.slow_supply] = _SLOW_SUPPLY_KEPT
    covariance = move @ belief.covariance @ move.T
    noise = np.zeros(layout.size)
    noise[: layout.zones] = _LEVEL_WALK
    noise[layout.drift] = _DRIFT_WALK
    noise[layout.slow_supply] = _SLOW_SUPPLY * np.sqrt(1.0 - _SLOW_SUPPLY_KEPT**2)
    noise[layout.wall] = _WALL_WALK
    noise[layout.capacity] = _CAPACITY_WALK
    noise[layout.share : layout.share + layout.zones] = _SHARE_WALK
    covariance[np.diag_indices(layout.size)] += noise**2
    return replace(belief, mean=move @ belief.mean, covariance=covariance)


def _model_of(layout: Layout, measures: Measures, slot: int, shares: FloatArray) -> FiringModel:
    """What this firing offers the filter."""
    factor = None if measures.heat is None else factor_of(measures.heat, shares)
    log_shares = None
    if len(measures.zone_share) == shares.size > 1 and min(measures.zone_share) > 0.0:
        logs = np.log(np.asarray(measures.zone_share))
        log_shares = logs - logs.mean()
    zone_factors = [None if zone is None else zone_factor_of(zone) for zone in measures.zone_heat]
    if len(zone_factors) != layout.zones:
        zone_factors = []
    return FiringModel(layout, slot, shares, factor, log_shares, _SHARE_ERROR, zone_factors)


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What one firing shows: its rows, and the pace it kept below full output."""

    model: FiringModel
    kept: KeptPace | None
    slot: int
    shares: FloatArray

    @property
    def empty(self) -> bool:
        """True if it shows nothing."""
        return self.model.empty and self.kept is None

    def blurred(self, scale: float) -> "Shown":
        """The same with larger errors, and no bound."""
        return Shown(self.model.blurred(scale), None, self.slot, self.shares)


def _weigh(layout: Layout, belief: Belief, shown: Shown, supply: float) -> Posterior:
    """Update a belief, augmented by the day's supply (standard error ``supply``) and load, by one firing."""
    size = layout.size
    mean = np.append(belief.mean, (0.0, 0.0))
    covariance = np.zeros((size + 2, size + 2))
    covariance[:size, :size] = belief.covariance
    covariance[size, size] = supply**2
    covariance[size + 1, size + 1] = _DAY_LOAD**2
    posterior = (
        Posterior(mean, covariance, 0.0, 0.0, 0)
        if shown.model.empty
        else gauss_newton(mean, covariance, shown.model)
    )
    if shown.kept is not None:
        margin, gradient = kept_margin(layout, posterior.mean, shown.slot, shown.shares, shown.kept)
        posterior = censored(posterior, margin, gradient)
    return posterior


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """One weighed continuation of a history: the updated belief, and the passing change of this firing alone."""

    belief: Belief
    passing: float = 0.0
    passing_error: float = 0.0


def _branch(layout: Layout, belief: Belief, posterior: Posterior, log_prior: float, *, passing: bool) -> Branch:
    size = layout.size
    updated = replace(
        belief,
        log_weight=belief.log_weight + log_prior + posterior.log_evidence,
        mean=posterior.mean[:size],
        covariance=posterior.covariance[:size, :size],
    )
    change = float(posterior.mean[layout.supply]) if passing else 0.0
    error = float(np.sqrt(posterior.covariance[layout.supply, layout.supply])) if passing else 0.0
    return Branch(updated, change, error)


def _jumps(kiln: Kiln, layout: Layout, belief: Belief, index: int) -> list[tuple[Belief, float]]:
    """Beliefs in which something changed just before this firing, with the log prior of each.

    First every single fault the circuits of the register allow, each with the step the network predicts; then
    a change of any size in one zone or in all; then a leak.
    """
    zones = layout.zones
    out: list[tuple[Belief, float]] = []
    before = tuple(float(x) for x in belief.mean[:zones])

    def story(kind: JumpKind, zone: int | None, fault: str = "") -> Hypothesis:
        return replace(belief.story, jump=kind, jump_firing=index, jump_zone=zone, before=before, fault=fault)

    def open_jump(kind: JumpKind, zone: int | None, direction: FloatArray, size: float, odds: float) -> None:
        covariance = belief.covariance + size**2 * np.outer(direction, direction)
        out.append((replace(belief, covariance=covariance, story=story(kind, zone)), float(np.log(odds))))

    for steps, share in _distinct_faults(kiln, zones):
        mean = belief.mean.copy()
        mean[:zones] += steps
        covariance = belief.covariance.copy()
        hit = np.flatnonzero(np.abs(steps) > 0.02)
        covariance[hit, hit] += _FAULT_SPREAD**2
        kind: JumpKind = "zone" if zones > 1 and hit.size == 1 else "all"
        told = story(kind, int(hit[0]) if kind == "zone" else None, ",".join(f"{x:.2f}" for x in steps))
        out.append((replace(belief, mean=mean, covariance=covariance, story=told), float(np.log(_FAULT_ODDS * share))))
    everything = np.zeros(layout.size)
    everything[:zones] = 1.0
    open_jump("all", None, everything, _JUMP_SIZE, _JUMP_ODDS)
    if zones > 1:
        for zone in range(zones):
            direction = np.zeros(layout.size)
            direction[zone] = 1.0
            open_jump("zone", zone, direction, _JUMP_SIZE, _JUMP_ODDS / zones)
    leak = np.zeros(layout.size)
    leak[layout.wall] = 1.0
    open_jump("leak", None, leak, _LEAK_SIZE, _LEAK_ODDS)
    return out


def _distinct_faults(kiln: Kiln, zones: int) -> list[tuple[FloatArray, float]]:
    """Steps (log, by zone) of the single faults the register allows, alike ones joined, with their share of odds."""
    if not kiln.circuits:
        return []
    found: list[tuple[FloatArray, float]] = []
    for step in fault_steps(kiln):
        by_zone = np.asarray(step.zones if zones > 1 else (step.total,))
        if by_zone.size != zones:
            continue
        odds = PRIOR[step.fault.kind]
        alike = next((n for n, (other, _) in enumerate(found) if np.abs(other - by_zone).max() < _FAULT_SPREAD), None)
        if alike is None:
            found.append((by_zone, odds))
        else:
            found[alike] = (found[alike][0], found[alike][1] + odds)
    total = sum(odds for _, odds in found) or 1.0
    return [(steps, odds / total) for steps, odds in found]


def _continue(
    kiln: Kiln, layout: Layout, belief: Belief, shown: Shown, index: int, *, supply: float, settled: bool
) -> list[Branch]:
    """Every continuation of one history through this firing that deserves weighing."""
    plain = _weigh(layout, belief, shown, supply)
    branches = [_branch(layout, belief, plain, 0.0, passing=False)]
    # rivals are weighed only where the firing surprises a history that counts
    if not settled or plain.surprise < plain.rows + 3.0 * np.sqrt(plain.rows) or belief.log_weight < _COUNTS:
        return branches
    for jumped, log_prior in _jumps(kiln, layout, belief, index):
        posterior = _weigh(layout, jumped, shown, supply)
        branches.append(_branch(layout, jumped, posterior, log_prior, passing=False))
    passing = _weigh(layout, belief, shown, _PASSING_SIZE)
    branches.append(_branch(layout, belief, passing, float(np.log(_PASSING_ODDS)), passing=True))
    odd = _weigh(layout, belief, shown.blurred(_ODD_SCALE), supply)
    branches.append(_branch(layout, belief, odd, float(np.log(_ODD_FIRING_ODDS)), passing=False))
    return branches


def _referenced(layout: Layout, belief: Belief, shares: FloatArray, count: int) -> Belief:
    """Take this firing's level into the mean of the reference firings (``count`` before it)."""
    _, gradient = whole_power(layout, belief.mean, shares)
    level, _ = whole_power(layout, belief.mean, shares)
    weight = 1.0 / (count + 1)
    move = np.eye(layout.size)
    move[layout.reference, layout.reference] = 1.0 - weight
    move[layout.reference, : layout.zones] = weight * gradient
    mean = belief.mean.copy()
    mean[layout.reference] = (1.0 - weight) * belief.mean[layout.reference] + weight * level
    return replace(belief, mean=mean, covariance=move @ belief.covariance @ move.T)


def update(
    kiln: Kiln, state: KilnState, firing: Firing, measures: Measures, entries: Sequence[LogbookEntry]
) -> tuple[KilnState, Condition]:
    """Take one firing into the kiln's state; ``entries`` are the logbook's since the previous firing.

    Pure: the new state and what is known of the kiln after this firing.
    """
    zones = max(len(measures.zone_offset_c), len(kiln.zones), 1)
    layout = Layout(zones)
    shares = np.asarray(rated_shares(kiln, zones))
    index = state.firings
    beliefs = [unpack(h) for h in state.hypotheses]
    if not beliefs or beliefs[0].mean.size != layout.size:
        beliefs = [_first_belief(layout, pace) for pace in _FIRST_DRIFT]
    reference, counted = state.reference, state.reference_firings
    beliefs, new_set = repaired(kiln, layout, beliefs, entries)
    if new_set:
        reference, counted = "after repair", 0
    cooled = measures.heat is not None and measures.heat.cooling_blocks >= _COOLED_BLOCKS
    programmes, programme, new_programme = recognise(state.programmes, firing, index, cooled=cooled)
    if new_programme:
        spread = _WALL_OFFSET if cooled else _WALL_OFFSET_UNCOOLED
        beliefs = [_fresh_slot(layout, belief, programme.slot, spread) for belief in beliefs]
    model = _model_of(layout, measures, programme.slot, shares)
    shown = Shown(model, measures.kept, programme.slot, shares)
    supply = _DAY_SUPPLY if measures.supply_volts is None else _DAY_SUPPLY_KNOWN
    aged = [_aged(layout, belief) for belief in beliefs] if index else beliefs
    settled = index >= 2
    if shown.empty:
        branches = [Branch(belief) for belief in aged]
    else:
        branches = [
            branch
            for belief in aged
            for branch in _continue(
                kiln, layout, belief, shown, index, supply=supply, settled=index >= _SETTLING_FIRINGS
            )
        ]
    beliefs = prune([b.belief for b in branches])
    informed = not model.empty
    if counted < REFERENCE_FIRINGS:
        branches = [replace(b, belief=_referenced(layout, b.belief, shares, counted)) for b in branches]
        beliefs = [_referenced(layout, b, shares, counted) for b in beliefs]
        counted += 1
    recent = (*state.recent, firing.started)[-24:]
    new_state = replace(
        state,
        firings=index + 1,
        hypotheses=tuple(pack(b) for b in beliefs),
        reference=reference,
        reference_firings=counted,
        programmes=programmes,
        recent=recent,
    )
    condition = condition_of(
        layout,
        shares,
        index,
        aged,
        branches,
        evidence_slot=programme.slot,
        measures=measures,
        firing=firing,
        reference=reference,
        counted=counted,
        recent=recent,
        programme=programme,
        new_programme=new_programme,
        informed=informed,
    )
    return new_state, condition

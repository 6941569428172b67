"""Rival histories of a kiln: what is believed at first, how a firing weighs on each, and what may have happened.

All priors of the filter stand here, each with the reason for its size. Errors and odds are in natural logarithms.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.balance import KeptPace
from analysis.grid import FloatArray
from analysis.heat_model import FiringModel, Layout, heat_rows, kept_margin, zone_rows
from analysis.jumps import jumps, share_strain, strained
from analysis.measures import Measures
from analysis.power_filter import Belief, Hypothesis, Pace, Posterior, censored, gauss_newton
from config.kiln import Kiln

_FIRST_WALL = (-1.2, 0.3)
_FIRST_CAPACITY = (-1.6, 0.5)
"""Log of A and C as shares of rated power, before any firing: 65-76 mm brick loses 0.4-0.6 of the rated power at
1200 deg C (facts: 65 mm, k 0.17 W/mK, 2.1 m2, 11.5 kW: 0.54), so A is about 0.3; a load climbs at 100 deg C per
hour for about a fifth of it. Wide enough for kilns half as good or bad again."""

_FIRST_DRIFT: dict[Pace, tuple[float, float, float]] = {
    "steady": (-0.0003, 0.0003, 0.65),
    "wearing": (-0.0025, 0.0015, 0.35),
}
"""Mean, spread and odds of the drift per firing. Elements lose 10 % in some 350 firings at cone 6 and below, in 35
to 80 at cone 10 or where something shortens their life: 0.0003 and 0.0013-0.003 (kiln makers' and technicians'
figures)."""

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

_ZONE_SHARE = 0.12
"""Zones are built to do their share of the work alike, within a tenth or so."""

_WALL_OFFSET = 0.012
_WALL_OFFSET_UNCOOLED = 0.07
"""Programmes differ in what the wall model misses (vent, damp, humps of stored heat) by about a per cent; by more
where the log ends at the peak, as then only the curvature of the climb tells wall from load."""


_CAPACITY_OFFSET = 0.35
_DAY_LOAD = 0.35
"""Loads of one programme differ by 25-50 % from firing to firing (weighed loads of studios vary as much)."""

_DAY_SUPPLY = 0.0105
"""A supply wanders by about 0.4 % from firing to firing, so power by 0.9 %; the rest is the balance's own error."""

_DAY_SUPPLY_KNOWN = 0.006
_SHARE_ERROR = 0.05
"""How a load is stacked shifts the zones' shares of the work by some five per cent."""

_PASSING_ODDS = 0.008
_ODD_FIRING_ODDS = 0.003
"""Prior odds per firing of a loose connection and of a bad log, beside those of ``analysis.jumps``."""

_PASSING_SIZE = 0.15
_ODD_SCALE = 3.0

_FIRST_JUMP = 4

_COUNTS = -4.0
"""Log weight below which a history is not branched again (2 % of the best)."""


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


def first_beliefs(layout: Layout) -> list[Belief]:
    """What is believed of a kiln of which nothing has been seen: it wears slowly, or fast."""
    return [_first_belief(layout, pace) for pace in _FIRST_DRIFT]


def fresh_slot(layout: Layout, belief: Belief, slot: int, *, cooled: bool) -> Belief:
    """Forget what was known of a programme slot: it is given to another programme."""
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    spread = _WALL_OFFSET if cooled else _WALL_OFFSET_UNCOOLED
    for at, size in ((layout.wall_offset + slot, spread), (layout.capacity_offset + slot, _CAPACITY_OFFSET)):
        mean[at] = 0.0
        covariance[at, :] = 0.0
        covariance[:, at] = 0.0
        covariance[at, at] = size**2
    return replace(belief, mean=mean, covariance=covariance)


def aged(layout: Layout, belief: Belief) -> Belief:
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


def shown_by(layout: Layout, measures: Measures, slot: int, shares: FloatArray) -> Shown:
    """What this firing offers the filter."""
    whole = None if measures.heat is None else heat_rows(measures.heat, shares)
    log_shares = None
    if len(measures.zone_share) == shares.size > 1 and min(measures.zone_share) > 0.0:
        logs = np.log(np.asarray(measures.zone_share))
        log_shares = logs - logs.mean()
    by_zone = [None if zone is None else zone_rows(zone) for zone in measures.zone_heat]
    if len(by_zone) != layout.zones:
        by_zone = []
    logged = measures.output in ("duty", "on-off")
    model = FiringModel(layout, slot, shares, whole, log_shares, _SHARE_ERROR, by_zone, output_is_data=logged)
    return Shown(model, measures.kept, slot, shares)


def _weigh(layout: Layout, belief: Belief, shown: Shown, supply: float) -> Posterior:
    """Update a belief, augmented by the day's supply (standard error ``supply``) and load, by one firing."""
    strain = share_strain(layout, belief)
    model = shown.model.share_blurred(float(np.hypot(1.0, strain / _SHARE_ERROR))) if strain > 0.0 else shown.model
    size = layout.size
    mean = np.append(belief.mean, (0.0, 0.0))
    covariance = np.zeros((size + 2, size + 2))
    covariance[:size, :size] = belief.covariance
    covariance[size, size] = supply**2
    covariance[size + 1, size + 1] = _DAY_LOAD**2
    posterior = Posterior(mean, covariance, 0.0, 0.0, 0) if model.empty else gauss_newton(mean, covariance, model)
    if shown.kept is not None:
        margin, gradient = kept_margin(layout, posterior.mean, shown.slot, shown.shares, shown.kept)
        posterior = censored(posterior, margin, gradient)
    return posterior


Passing = Literal["none", "passing", "odd"]


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """One weighed continuation of a history: the updated belief, and the passing change of this firing alone.

    ``load`` is the firing's heat capacity (log) against its programme's usual one.
    ``passing_kind``: "passing" for a change of power in this firing only (a loose connection), "odd" for a firing
    whose balance is taken with larger errors (a bad log).
    """

    belief: Belief
    passing: float = 0.0
    passing_error: float = 0.0
    passing_kind: Passing = "none"
    load: float = 0.0
    load_error: float = 0.0


def _branch(layout: Layout, belief: Belief, posterior: Posterior, log_prior: float, kind: Passing = "none") -> Branch:
    size = layout.size
    updated = replace(
        belief,
        log_weight=belief.log_weight + log_prior + posterior.log_evidence,
        mean=posterior.mean[:size],
        covariance=posterior.covariance[:size, :size],
    )
    load = float(posterior.mean[layout.load])
    load_error = float(np.sqrt(max(posterior.covariance[layout.load, layout.load], 0.0)))
    if kind != "passing":
        return Branch(updated, passing_kind=kind, load=load, load_error=load_error)
    error = float(np.sqrt(posterior.covariance[layout.supply, layout.supply]))
    change = min(float(posterior.mean[layout.supply]), 0.0)
    return Branch(updated, change, error, kind, load, load_error)


def _continue(
    kiln: Kiln, layout: Layout, belief: Belief, shown: Shown, index: int, supply: float, *, settled: bool, told: bool
) -> list[Branch]:
    """Every continuation of one history through this firing that deserves weighing."""
    plain = _weigh(layout, belief, shown, strained(layout, belief, shown.shares, index, supply))
    branches = [_branch(layout, belief, plain, 0.0)]
    # rivals are weighed only where the firing surprises a history that counts
    if (
        not told
        or index < _FIRST_JUMP
        or belief.log_weight < _COUNTS
        or plain.surprise < plain.rows + 3.0 * np.sqrt(plain.rows)
    ):
        return branches
    for jumped, log_prior in jumps(kiln, layout, belief, shown.shares, index, settled=settled):
        posterior = _weigh(layout, jumped, shown, strained(layout, jumped, shown.shares, index, supply))
        branches.append(_branch(layout, jumped, posterior, log_prior))
    passing = _weigh(layout, belief, shown, _PASSING_SIZE)
    branches.append(_branch(layout, belief, passing, float(np.log(_PASSING_ODDS)), "passing"))
    odd = _weigh(layout, belief, shown.blurred(_ODD_SCALE), supply)
    branches.append(_branch(layout, belief, odd, float(np.log(_ODD_FIRING_ODDS)), "odd"))
    return branches


def continuations(
    kiln: Kiln,
    layout: Layout,
    beliefs: Sequence[Belief],
    shown: Shown,
    index: int,
    *,
    supply_known: bool,
    settled: bool,
    uneven: bool,
) -> list[Branch]:
    """Every history continued through firing number ``index``, weighed (weights not normalised).

    ``settled`` says that the kiln is known well enough for sudden changes to be told, ``uneven`` that a zone stays
    behind the others so far that its own can be told anyway.
    """
    if shown.empty:
        return [Branch(belief) for belief in beliefs]
    supply = _DAY_SUPPLY_KNOWN if supply_known else _DAY_SUPPLY
    return [
        branch
        for belief in beliefs
        for branch in _continue(kiln, layout, belief, shown, index, supply, settled=settled, told=settled or uneven)
    ]

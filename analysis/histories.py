"""Rival histories of a kiln: how a firing weighs on each, and what may have happened in it.

Odds and spreads of a single day stand here, each with the reason for its size. Errors and odds are natural logarithms.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt
from typing import Literal

import numpy as np

from analysis.balance import KeptPace
from analysis.beliefs import COUNTS
from analysis.cooling import Told
from analysis.grid import FloatArray
from analysis.habits import Habit
from analysis.heat_model import Blur, Current, FiringModel, heat_rows, kept_margins, zone_rows
from analysis.jumps import jumps, loss_odds, share_strain, strained
from analysis.measures import Measures
from analysis.power_filter import Belief, Posteriors, censored, gauss_newton
from analysis.state_vector import Layout
from config.kiln import Kiln

_DAY_VOLTS = 0.008
"""Error of a current for the volts of the day, where they are not logged: supplies are known that wander by 1 to 2 % in
power from firing to firing, so by half of it in current."""

_DAY_GUESSED = 0.02
"""With temperature alone full output is a guess from the climb's shape, which leans from day to day. A
calibration on simulated kilns, not physics."""

_DAY_LOAD = 0.25
"""Heat capacities of one programme's loads, shelves and lining included, differ by 20-30 % from firing to firing (by
weight the ware alone differs by 25-50 %)."""


_HEAVY_LOAD, _HEAVY_ODDS = (0.6, 0.3), 0.06
"""One load in twenty or so is packed far denser than usual: log of its heat capacity over the usual, with its spread,
and its odds."""

_HEAVY_BLUR = 1.5
"""Factor on the errors of such a firing: dense ware follows the chamber late. A calibration, not physics."""

_DAY_SUPPLY = 0.0105
"""A supply wanders by about 0.4 % from firing to firing, so power by 0.9 %; the rest is the balance's own error."""

_DAY_SUPPLY_KNOWN = 0.006
_SHARE_ERROR = 0.05
"""How a load is stacked shifts the zones' shares of the work by some five per cent."""

_PASSING_ODDS, _CALM_PASSING_ODDS = 0.008, 0.004
_ODD_FIRING_ODDS, _ODD_GUESS_ODDS = 0.003, 0.08
"""Prior odds per firing of a loose connection (fewer where the climb does not swing) and of a bad log, beside those of
``analysis.jumps``; and that a firing logged with nothing but temperature is misread, as when it was at full output is
a guess from its shape."""

_PASSING_SIZE = 0.15
_MANY_TURNS = 5
"""Where amps are logged power does not pass away for one firing unseen: its climb must have turned this often."""

_ODD_SCALE = 3.0

_FIRST_JUMP, _FIRST_ODD = 4, 2
"""Firings from which on a jump may be told at all, and a log of temperature alone may be called odd."""

_GROSS = 40.0
"""Surprise (squared standard errors) that not knowing a kiln well yet does not explain."""


_NO_HABIT = Habit()


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What one firing shows: its rows, the pace it kept below full output, and the bend of its cooling."""

    model: FiringModel
    kept: KeptPace | None
    slot: int
    shares: FloatArray
    guessed: bool = False
    calm: bool = False
    unbroken: bool = False
    habit: Habit = _NO_HABIT
    bend: Told | None = None

    @property
    def empty(self) -> bool:
        """True if it shows nothing."""
        return self.model.empty and self.kept is None and self.bend is None


def shown_by(layout: Layout, measures: Measures, slot: int, shares: FloatArray, habit: Habit = _NO_HABIT) -> Shown:
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
    current = _current(measures)
    model = FiringModel(layout, slot, shares, whole, log_shares, _SHARE_ERROR, by_zone, current, output_is_data=logged)
    calm = max(measures.signs.swings, default=0) < _MANY_TURNS
    return Shown(
        model,
        measures.kept,
        slot,
        shares,
        guessed=measures.output == "none",
        calm=calm,
        unbroken=calm and current is not None,
        habit=habit,
        bend=None if measures.heat is None else measures.heat.bend,
    )


def _current(measures: Measures) -> Current | None:
    told = measures.full_current
    if told is None:
        return None
    if measures.supply_volts is not None:
        return Current(told.value, told.error, of_supply=0.0)
    return Current(told.value, hypot(told.error, _DAY_VOLTS), of_supply=0.5)


Passing = Literal["none", "passing", "odd"]


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """A belief to be weighed by this firing, with the day's standard error of the supply.

    ``blur`` takes the firing's errors wider; ``bound`` says whether a kept pace counts. ``log_prior`` and ``kind`` are
    those of the branch it makes.
    """

    belief: Belief
    supply: float
    log_prior: float = 0.0
    kind: Passing = "none"
    blur: float = 1.0
    bound: bool = True
    heavy: bool = False
    rival: bool = False


def _weigh(layout: Layout, asked: Sequence[_Asked], shown: Shown) -> Posteriors:
    """Update beliefs, each augmented by the day's supply and load, by one firing."""
    size, count = layout.size, len(asked)
    means = np.zeros((count, size + 2))
    covariances = np.zeros((count, size + 2, size + 2))
    means[:, :size] = [each.belief.mean for each in asked]
    covariances[:, :size, :size] = [each.belief.covariance for each in asked]
    covariances[:, size, size] = [each.supply**2 for each in asked]
    loads = [_HEAVY_LOAD if each.heavy else (0.0, _DAY_LOAD) for each in asked]
    means[:, size + 1] = [mean for mean, _ in loads]
    covariances[:, size + 1, size + 1] = [spread**2 for _, spread in loads]
    if shown.model.empty:
        posteriors = Posteriors(means, covariances, np.zeros(count), np.zeros(count), 0)
    else:
        strains = np.array([share_strain(layout, each.belief) for each in asked])
        blur = Blur(np.array([each.blur for each in asked]), np.hypot(1.0, strains / _SHARE_ERROR))
        posteriors = gauss_newton(means, covariances, shown.model, blur)
    if shown.kept is None:
        return posteriors
    margins, gradients = kept_margins(layout, posteriors.means, shown.slot, shown.shares, shown.kept)
    counts = np.array([each.bound for each in asked])
    return censored(posteriors, np.where(counts, margins, np.inf), gradients)


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


def _branches(
    layout: Layout, asked: Sequence[_Asked], posteriors: Posteriors, index: int, shown: Shown
) -> list[Branch]:
    """Return the branch that each asked belief becomes by its posterior."""
    means, covariances = posteriors.means, posteriors.covariances
    loads = means[:, layout.load].tolist()
    load_errors = np.sqrt(np.maximum(covariances[:, layout.load, layout.load], 0.0)).tolist()
    columns = zip(asked, means, covariances, posteriors.log_evidence.tolist(), loads, load_errors, strict=True)
    return [
        _branch(layout, each, mean, covariance, evidence, load, load_error, index, shown)
        for each, mean, covariance, evidence, load, load_error in columns
    ]


def _branch(
    layout: Layout,
    asked: _Asked,
    augmented: FloatArray,
    augmented_covariance: FloatArray,
    log_evidence: float,
    load: float,
    load_error: float,
    index: int,
    shown: Shown,
) -> Branch:
    size, belief, kind, story = layout.size, asked.belief, asked.kind, asked.belief.story
    weight = belief.log_weight + asked.log_prior + log_evidence
    weight += shown.habit.log_even if asked.rival else shown.habit.log_chance(story)
    if shown.bend is not None:
        evidence, bend = story.bend.weighed(shown.bend, asked.blur)
        weight += evidence
        story = story.bent(bend)
    mean, covariance = augmented[:size], augmented_covariance[:size, :size]
    if kind == "none" and story.jump_firing == index:
        weight += loss_odds(layout, story, mean, covariance)
    updated = Belief(weight, mean, covariance, story)
    if kind != "passing":
        return Branch(updated, passing_kind=kind, load=load, load_error=load_error)
    error = sqrt(float(augmented_covariance[layout.supply, layout.supply]))
    change = min(float(augmented[layout.supply]), 0.0)
    return Branch(updated, change, error, kind, load, load_error)


def _rivals(
    kiln: Kiln,
    layout: Layout,
    belief: Belief,
    shown: Shown,
    index: int,
    supply: float,
    load: float,
    *,
    settled: bool,
    uneven: bool,
) -> list[_Asked]:
    """Every other explanation of a firing that surprises this history: a jump, a passing change, an odd log.

    And a load far heavier than usual, where it already looks heavier (``load``, log over the usual).

    Of a kiln hardly known yet nothing is told but such a load, and that a log of temperature alone, which guesses, may
    be odd.
    """
    odds = _ODD_GUESS_ODDS if shown.guessed else _ODD_FIRING_ODDS
    odd = _Asked(belief, supply, log(odds), "odd", _ODD_SCALE, bound=False, rival=True)
    day = strained(layout, belief, shown.shares, index, supply)
    dense = _Asked(belief, day, log(_HEAVY_ODDS), blur=_HEAVY_BLUR, heavy=True, rival=True)
    heavy = [dense] if load > _DAY_LOAD else []
    if not (settled or uneven) or index < _FIRST_JUMP:
        return [odd, *heavy] if shown.guessed else heavy
    bent = shown.bend is not None and belief.story.bend.more(shown.bend)
    jumped = [
        _Asked(after, strained(layout, after, shown.shares, index, supply), log_prior, rival=True)
        for after, log_prior in jumps(
            kiln, layout, belief, shown.shares, index, settled=settled, amps=shown.model.tells_volts, bent=bent
        )
    ]
    # with unbroken amps it was not the elements' power that was less for once, whatever else it was
    kind: Passing = "odd" if shown.unbroken else "passing"
    passing = _Asked(belief, _PASSING_SIZE, log(_CALM_PASSING_ODDS if shown.calm else _PASSING_ODDS), kind, rival=True)
    return [*jumped, passing, odd, *heavy]


def _surprised(belief: Belief, surprise: float, rows: int, habit: Habit) -> bool:
    """True if the firing is unlike what a history that counts leads one to expect: rivals are worth weighing."""
    if belief.log_weight < COUNTS:
        return False
    return surprise >= rows + 3.0 * sqrt(rows) or habit.unlike(belief.story)


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
    supply = _DAY_GUESSED if shown.guessed else _DAY_SUPPLY_KNOWN if supply_known else _DAY_SUPPLY
    asked = [_Asked(belief, strained(layout, belief, shown.shares, index, supply)) for belief in beliefs]
    plain = _weigh(layout, asked, shown)
    branches = _branches(layout, asked, plain, index, shown)
    if index < _FIRST_ODD:
        return branches
    surprises, rows = plain.surprise.tolist(), plain.rows
    if shown.bend is not None:
        rows += 1
        far = [belief.story.bend.distance(shown.bend) for belief in beliefs]
        surprises = [surprise + each * each for surprise, each in zip(surprises, far, strict=True)]
    rivals = [
        rival
        for at, belief in enumerate(beliefs)
        if _surprised(belief, surprises[at], rows, shown.habit)
        for rival in _rivals(
            kiln,
            layout,
            belief,
            shown,
            index,
            supply,
            branches[at].load,
            settled=settled or (surprises[at] > rows + _GROSS and not shown.guessed),
            uneven=uneven,
        )
    ]
    if not rivals:
        return branches
    return branches + _branches(layout, rivals, _weigh(layout, rivals, shown), index, shown)

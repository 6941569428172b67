"""The kiln's condition after a firing: power with its uncertainty, slow drift, sudden steps, and what else moved.

Everything here is a natural logarithm of a ratio to the kiln's reference (0 = as the reference, -0.105 = 90 %),
with one standard error, so that drift and steps add up; ``findings.PowerRatio`` is what people are shown.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analysis.findings import Basis, End, Reference
from analysis.measures import Estimate

STRONGER_THAN_NEW = 0.15
"""A log level above new that no kiln has: the history behind it learned from too little."""


@dataclass(frozen=True, slots=True)
class Step:
    """The most probable recent sudden change of power: when, how likely, how large (log), and by zone."""

    firing: int
    started: datetime | None
    probability: float
    size: Estimate
    zone_sizes: tuple[Estimate | None, ...] = ()


StoryKind = Literal["none", "zone", "all", "leak", "supply", "passing", "odd"]


@dataclass(frozen=True, slots=True)
class Story:
    """One surviving history of the kiln and its probability.

    ``kind`` is its latest sudden change: none; power of one ``zone`` (number) or of all; a rise of heat loss; poorer
    volts (told apart where amps are logged); or, in this firing only, power that was passing(ly) lower, or a log whose
    balance is odd. ``size`` is the whole kiln's log power step, ``zone_sizes`` each zone's, ``loss_size`` that of the
    wall's loss; ``bend`` is how much more than before a leak the kiln's coolings bend (``analysis.cooling``). ``fault``
    holds the log steps by zone of the single circuit fault it assumes, comma separated, "" if the size was left open.
    """

    kind: StoryKind
    probability: float
    firing: int | None = None
    started: datetime | None = None
    zone: int | None = None
    fault: str = ""
    size: Estimate | None = None
    zone_sizes: tuple[Estimate | None, ...] = ()
    loss_size: Estimate | None = None
    bend: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Balance:
    """One firing's heat balance against what this kiln's earlier firings lead one to expect (log ratios).

    P full power, C heat capacity of load and lining, L heat loss at equal temperature. A leak raises ``loss`` and
    leaves ``power_per_capacity``; a heavy load lowers both ``power_per_capacity`` and ``loss_per_capacity``.
    ``load``: heat capacity of load and furniture against the usual of this programme, given everything else known.
    """

    power_per_capacity: Estimate | None = None
    loss_per_capacity: Estimate | None = None
    power_per_loss: Estimate | None = None
    load: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Condition:
    """State of the kiln after firing number ``index`` (from 0).

    Attributes
    ----------
    level, drift : whole-kiln log power ratio now, and its slow change per firing. ``level`` is None where too little
        is known (90 % interval wider than 0.12 without evidence of its own): then ``at_least`` may hold a bound.
    zone_levels : the same for each zone, None where a zone cannot be told apart.
    at_least : lower bound (log, 95 % one-sided) from a firing that kept pace, where ``power`` is None.
    power : this firing's own evidence (supply divided out where volts are known), None if it has none.
    step : a sudden change, if one is more likely than not among recent firings.
    level_low, level_high : 90 % interval of ``level`` (log; the mixture's own quantiles, not level +/- 1.645 error).
    programme, new_programme : name or made-up name, first time.
    leak : probability that heat loss rose suddenly within the last 20 firings (power per capacity unchanged).
    stories : the surviving histories, most probable first (probabilities sum to 1).
    slow : the level without the sudden changes that stand unrepaired: what ageing alone has done.
    renewed : log power over what was 100 % before, in the first firings after a new set; None at other times.
    renewed_firing : firing from which the power is back though no logbook entry says why, None if it is not.
    age_firings : firings that the set of elements has made in these logs.
    end, short_c : the firing's end and how far it stayed below its programme's peak, corrected from earlier firings.
    """

    index: int
    reference: Reference
    reference_firings: int
    basis: Basis
    level: Estimate | None
    drift: Estimate | None
    zone_levels: tuple[Estimate | None, ...]
    power: Estimate | None
    at_least: float | None
    balance: Balance
    step: Step | None
    level_low: float | None = None
    level_high: float | None = None
    programme: str = ""
    new_programme: bool = False
    leak: float = 0.0
    end: End = "complete"
    short_c: float | None = None
    stories: tuple[Story, ...] = ()
    slow: Estimate | None = None
    renewed: Estimate | None = None
    renewed_firing: int | None = None
    age_firings: int = 0

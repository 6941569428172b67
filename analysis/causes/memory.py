"""What the causes must remember of a kiln from firing to firing: CausesMemory (plain, small, bounded).

``Usual`` is what a measure usually is at this kiln: mean and spread of its first comparable firings, so that a slow
change stays visible against them. ``Standing`` is a finding that lasts until a repair or the evidence clears it.
"""

from dataclasses import dataclass
from datetime import datetime
from math import sqrt

from analysis.findings import Cause

USUAL_FIRINGS = 10
"""Firings that settle what is usual: as many as the power's reference, and two to spare for gaps."""

WORTH_KEEPING = -2.0
"""A suspicion below these log odds is forgotten."""


@dataclass(frozen=True, slots=True)
class Usual:
    """Running mean and sum of squares (Welford 1962) of a measure's first ``USUAL_FIRINGS`` values."""

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0

    def taken(self, value: float | None) -> "Usual":
        """Return this with one more value, or unchanged once enough are in."""
        if value is None or self.count >= USUAL_FIRINGS:
            return self
        count = self.count + 1
        off = value - self.mean
        mean = self.mean + off / count
        return Usual(count, mean, self.squares + off * (value - mean))

    def spread(self, least: float) -> float:
        """Return the standard deviation so far, not below ``least``."""
        return max(sqrt(self.squares / max(self.count - 1, 1)), least)

    def distance(self, value: float | None, least_spread: float, enough: int = 4) -> float | None:
        """Return how many spreads ``value`` lies above the usual; None before ``enough`` firings."""
        if value is None or self.count < enough:
            return None
        return (value - self.mean) / (self.spread(least_spread) * sqrt(1.0 + 1.0 / self.count))


@dataclass(frozen=True, slots=True)
class ZoneMemory:
    """One zone's usual measures, and the running sum by which its thermocouple's drift shows.

    ``share`` log of its duty over the zones' mean (``hot_share`` above 750 deg C), ``full`` time at full output above
    the others', ``behind`` deg C behind the hottest zone, ``swings`` times its climb fell and rose, ``cooling`` deg C
    off the mean in free cooling and ``tilt`` how much more so while hot; ``deficit``, ``leak`` and ``drift`` run on
    from firing to firing.
    """

    share: Usual = Usual()
    full: Usual = Usual()
    behind: Usual = Usual()
    cooling: Usual = Usual()
    tilt: Usual = Usual()
    hot_share: Usual = Usual()
    swings: Usual = Usual()
    deficit: float = 0.0
    leak: float = 0.0
    drift: float = 0.0
    drift_weight: float = 0.0
    drift_variance: float = 0.0
    drifted: bool = False

    @property
    def drift_c(self) -> float:
        """Running estimate of the couple's error at 1200 deg C, positive where it reads low."""
        return self.drift / self.drift_weight if self.drift_weight > 0.0 else 0.0

    @property
    def drift_spreads(self) -> float:
        """The same over its standard error."""
        return self.drift / sqrt(self.drift_variance) if self.drift_variance > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A lasting suspicion: its log odds after the last firing, where, and since when."""

    cause: Cause
    zone: str | None
    circuit: str | None
    log_odds: float
    since_firing: int
    since: datetime | None
    power_step: float | None = None
    quiet: int = 0


@dataclass(frozen=True, slots=True)
class Share:
    """One explanation of a loss with its share of the odds."""

    cause: Cause
    zone: str | None
    circuit: str | None
    probability: float
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Lost:
    """A sudden loss that stands: since when, its log size, the log level just after it, and what explains it.

    ``in_level`` is False where only the zones or a failed firing tell of it and the condition's level does not.
    """

    firing: int
    started: datetime | None
    size: float | None
    level: float | None
    shares: tuple[Share, ...]
    sound_firings: int = 0
    seen: int = 1
    in_level: bool = True


@dataclass(frozen=True, slots=True)
class Onset:
    """When something began: number and start of the firing."""

    firing: int
    started: datetime | None


@dataclass(frozen=True, slots=True)
class Repair:
    """The latest repair: the first firing after it, the part, and whether a firing proved full power or its lack.

    ``poor_volts`` says that until then the supply was held to be what took power.
    """

    firing: int
    part: str
    proved: bool = False
    short: bool = False
    poor_volts: bool = False


@dataclass(frozen=True, slots=True)
class CausesMemory:
    """Everything the causes carry over; a few hundred numbers at most.

    ``torn`` is how often the current usually turns between two levels, at a kiln of one zone whose amps are logged.
    """

    zones: tuple[ZoneMemory, ...] = ()
    volts: Usual = Usual()
    standing: tuple[Standing, ...] = ()
    ageing_told: bool = False
    ageing_since: Onset | None = None
    ageing_seen: int = 0
    repair: Repair | None = None
    lost: Lost | None = None
    leak_since: Onset | None = None
    torn: Usual = Usual()

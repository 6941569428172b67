"""What the causes must remember of a kiln from firing to firing: CausesMemory (plain, small, bounded).

``Usual`` is what a measure usually is at this kiln: mean and spread of its first comparable firings, so that a slow
change stays visible against them. ``Standing`` is a finding that lasts until a repair or the evidence clears it.
"""

from dataclasses import dataclass
from datetime import datetime
from math import sqrt

from analysis.findings import Cause
from analysis.measures import Estimate

USUAL_FIRINGS = 10
"""Firings that settle what is usual: as many as the power's reference, and two to spare for gaps."""

_SAME_PEAK_C = 40.0
"""How far from the first firing of its kind a firing's peak may be: bisque and glaze are 150 to 250 deg C apart."""

_MOST_PEAKS = 4

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
class Spreads:
    """How much a measure differs at a sound kiln: at least, from firing to firing (sd), and from peak to peak (sd)."""

    firings: float
    peaks: float


@dataclass(frozen=True, slots=True)
class UsualByPeak:
    """What a measure usually is in firings to about the same peak, each peak with a ``Usual`` of its own.

    How far apart the zones read while the kiln cools, and how they share the work, depends on how hot the kiln was and
    how deep the heat went into its walls: a studio that goes over from bisques to glazes has no drifting couple.
    """

    peaks_c: tuple[float, ...] = ()
    usuals: tuple[Usual, ...] = ()

    def count(self, peak_c: float) -> int:
        """Return how many firings to this peak tell what is usual."""
        number = self._nearest(peak_c)
        return 0 if number is None else self.usuals[number].count

    def expected(self, peak_c: float, spreads: Spreads, enough: int = 5) -> Estimate | None:
        """Return what a firing to this peak should show, its error that of one firing; None before ``enough`` firings.

        Firings to other peaks tell it to within ``spreads.peaks``, those to this peak the better the more there are.
        """
        own = self._nearest(peak_c)
        count = [usual.count for usual in self.usuals]
        if sum(count) < enough:
            return None
        if own is not None and count[own] >= enough:
            spread = self.usuals[own].spread(spreads.firings)
        else:
            free, squares = sum(n - 1 for n in count), sum(usual.squares for usual in self.usuals)
            spread = max(sqrt(squares / max(free, 1)), spreads.firings)
        mean, weight = 0.0, 0.0
        others = sum(n for i, n in enumerate(count) if i != own)
        if others:
            mean = sum(u.count * u.mean for i, u in enumerate(self.usuals) if i != own) / others
            weight = 1.0 / (spreads.peaks**2 + spread**2 / others)
        if own is not None:
            here = self.usuals[own].count / spread**2
            mean = (weight * mean + here * self.usuals[own].mean) / (weight + here)
            weight += here
        return Estimate(mean, sqrt(spread**2 + 1.0 / weight))

    def distance(self, value: float | None, peak_c: float, spreads: Spreads, enough: int = 5) -> float | None:
        """Return how many spreads ``value`` lies above what a firing to this peak should show; None if unknown."""
        expected = None if value is None else self.expected(peak_c, spreads, enough)
        return None if value is None or expected is None else (value - expected.value) / expected.error

    def taken(self, value: float | None, peak_c: float) -> "UsualByPeak":
        """Return this with the value of one more firing to this peak."""
        if value is None:
            return self
        number = self._nearest(peak_c)
        kept = list(zip(self.peaks_c, self.usuals, strict=True))
        if number is not None:
            peak_c, usual = kept.pop(number)
        else:
            usual = Usual()
            kept = kept[-_MOST_PEAKS + 1 :]
        kept.append((peak_c, usual.taken(value)))  # last of all: what has not been fired for longest makes room
        return UsualByPeak(tuple(peak for peak, _ in kept), tuple(usual for _, usual in kept))

    def _nearest(self, peak_c: float) -> int | None:
        far = [abs(each - peak_c) for each in self.peaks_c]
        return far.index(min(far)) if far and min(far) <= _SAME_PEAK_C else None


@dataclass(frozen=True, slots=True)
class ZoneMemory:
    """One zone's usual measures, and the running sum by which its thermocouple's drift shows.

    ``share`` log of its duty over the zones' mean (``hot_share`` above 750 deg C), ``full`` time at full output above
    the others', ``behind`` deg C behind the hottest zone, ``swings`` times its climb fell and rose, ``cooling`` deg C
    off the mean in free cooling, ``first_fall`` the same after its first 100 deg C and ``tilt`` how much more so while
    hot; ``falls`` the last firings' first falls, in spreads from the usual, and ``sharpest`` their sharpest fall while
    a leak is suspected; ``deficit``, ``leak`` and ``drift`` run on from firing to firing.
    """

    share: Usual = Usual()
    full: Usual = Usual()
    behind: Usual = Usual()
    cooling: UsualByPeak = UsualByPeak()
    first_fall: UsualByPeak = UsualByPeak()
    falls: tuple[float, ...] = ()
    sharpest: float = 0.0
    tilt: UsualByPeak = UsualByPeak()
    hot_share: UsualByPeak = UsualByPeak()
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
class Stacking:
    """Zones stacked otherwise than usual: for how many firings running, since which, and how.

    ``zones`` holds 1 for each zone that holds more, -1 for less, else 0; ``firings`` is 0 once it has become usual.
    """

    firings: int = 0
    since: int | None = None
    zones: tuple[int, ...] = ()


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

    ``torn`` is how often the current usually turns between two levels, at a kiln of one zone whose amps are logged;
    ``unasked`` the share of the full current that usually flows while no zone asks for heat; ``surely_lost`` says that
    power is lost, whatever took it.
    """

    zones: tuple[ZoneMemory, ...] = ()
    volts: Usual = Usual()
    standing: tuple[Standing, ...] = ()
    ageing_told: bool = False
    ageing_since: Onset | None = None
    ageing_seen: int = 0
    repair: Repair | None = None
    lost: Lost | None = None
    surely_lost: bool = False
    leak_since: Onset | None = None
    torn: Usual = Usual()
    unasked: Usual = Usual()
    stacking: Stacking = Stacking()

"""What one firing shows by itself: Measures."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with one standard error."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class BandClimb:
    """Climb in one temperature band: mid ``at_c``, rise in deg C per hour with error, share at full output."""

    at_c: float
    climb: Estimate
    full_share: float


@dataclass(frozen=True, slots=True)
class Trace:
    """A firing thinned for drawing: at most 300 points. ``output`` and ``set_point_c`` may be empty."""

    elapsed_s: tuple[float, ...]
    temperature_c: tuple[float, ...]
    set_point_c: tuple[float, ...] = ()
    output: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Measures:
    """One firing's measures; None where the log cannot show it. Reports may draw every public field."""

    duration_s: float
    peak_c: float
    sample_s: float
    trace: Trace
    bands: tuple[BandClimb, ...] = ()
    cooling_bands: tuple[BandClimb, ...] = ()
    hold_duty: float | None = None
    mean_duty: float | None = None
    zone_share: tuple[float, ...] = ()
    zone_spread_c: float | None = None
    overshoot_c: float | None = None
    lag_c: float | None = None
    supply_volts: float | None = None
    resistance_ohm: Estimate | None = None
    energy_kwh: float | None = None
    heat_no_demand_c: float | None = None
    spikes: int = 0
    load_class: str | None = None

"""What one firing shows by itself: Measures."""

from dataclasses import dataclass, field

import numpy as np

from analysis.balance import (
    HeatMoments,
    KeptPace,
    ZoneMoments,
    block_shares,
    blocks_of,
    heat_moments,
    kept_pace,
    zone_moments,
)
from analysis.climb import BandClimb, Estimate, climb_bands, cooling_bands
from analysis.demand import NoRise, heat_without_demand_c, no_rise, overshoot_c, worst_lag_c
from analysis.energy import energy_kwh, resistance_ohm, supply_volts
from analysis.firing import Firing, firing_of, short_firing
from analysis.full_output import Drive, drive_of
from analysis.grid import BoolArray, FloatArray, Grid, grid_of
from analysis.ranks import median
from analysis.reading.firing_log import FiringLog
from analysis.signs import Signs, signs_of
from analysis.zones import duty_shares, rated_shares, zone_offsets_c
from config.kiln import Kiln

__all__ = ["BandClimb", "Estimate", "HeatMoments", "KeptPace", "Measures", "NoRise", "Trace", "ZoneMoments", "measure"]


@dataclass(frozen=True, slots=True)
class Trace:
    """A firing thinned for drawing: at most 300 points. ``output`` and ``set_point_c`` may be empty."""

    elapsed_s: tuple[float, ...]
    temperature_c: tuple[float, ...]
    set_point_c: tuple[float, ...] = ()
    output: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Measures:
    """One firing's measures; None where the log cannot show it. Reports may draw every public field.

    Attributes
    ----------
    duration_s, peak_c, sample_s : length of the log, highest mean temperature, usual spacing of samples.
    bands, cooling_bands : climb while heated and rate of cooling with no output, in 25 deg C bands.
    hold_duty : mean output over the longest hold above 600 deg C.  mean_duty : over the whole heating.
    zone_share : each zone's mean output divided by the mean of all while they run together (1, 1, 1 = alike).
    zone_spread_c : median distance from hottest to coolest zone while heated.  zone_offset_c : each from the mean.
    overshoot_c : peak above the highest set point.  lag_c : 95th percentile behind the set point (slowest zone).
    supply_volts, resistance_ohm, energy_kwh : see ``analysis.energy``.
    heat_no_demand_c : largest rise with no output and the set point below (a welded contact).
    spikes : thermocouple samples taken out in reading.
    output : "duty" or "on-off" if logged, "inferred" from a set point, "none" (then full output may show in the shape
        of the climb).
    full_share : share of the heating time in which any zone was at full output, None where unknown.
    full_share_near_peak : the same over the last 100 deg C of the climb.
    zone_full_share : share of the heating time each zone was at full output.
    heat : moments of the heat balance (``analysis.balance``), None if under three usable blocks.
    zone_heat : the same for single zones at full output while another's output is unknown (logs without output).
    kept : the hardest half hour in which the kiln kept its programme below full output, None if it never did.
    signs : signs of faults other than lost power (``analysis.signs``).
    no_rise : longest stand of a zone at full output without warming (a dead circuit), None if under 20 min.
    """

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
    output: str = "none"
    full_share: float | None = None
    full_share_near_peak: float | None = None
    zone_full_share: tuple[float, ...] = ()
    zone_offset_c: tuple[float, ...] = ()
    heat: HeatMoments | None = None
    zone_heat: tuple[ZoneMoments | None, ...] = ()
    kept: KeptPace | None = None
    no_rise: NoRise | None = None
    signs: Signs = field(default_factory=Signs)


def _trace(grid: Grid, drive: Drive) -> Trace:
    stride = -(-grid.mid_s.size // 300)
    keep = slice(None, None, stride)

    def thin(values: np.ndarray | None) -> tuple[float, ...]:
        if values is None or not np.isfinite(values).any():
            return ()
        return plain(np.nan_to_num(values[keep], nan=0.0).mean(axis=1), 3)

    def plain(values: FloatArray, digits: int) -> tuple[float, ...]:
        numbers: list[float] = np.round(values, digits).tolist()
        return tuple(numbers)

    return Trace(
        elapsed_s=tuple(grid.mid_s[keep].tolist()),
        temperature_c=plain(grid.mean_c[keep], 1),
        set_point_c=thin(grid.set_point_c),
        output=thin(drive.output) if drive.logged else (),
    )


def _hold_duty(firing: Firing, grid: Grid, drive: Drive) -> float | None:
    if not drive.logged:
        return None
    holds = [s for s in firing.segments if s.kind == "hold" and s.from_c > 600.0 and s.end_s - s.start_s >= 600.0]
    if not holds:
        return None
    longest = max(holds, key=lambda s: s.end_s - s.start_s)
    inside = (grid.mid_s > longest.start_s) & (grid.mid_s < longest.end_s)
    duty = drive.output[inside]
    return float(np.nanmean(duty)) if np.isfinite(duty).any() else None


def _full_shares(grid: Grid, drive: Drive, peak_c: float) -> tuple[float | None, float | None, tuple[float, ...]]:
    if not drive.logged and grid.set_point_c is None and not drive.full.any():
        return None, None, ()
    full = drive.full[: drive.end]
    if not full.size:
        return None, None, ()
    near: BoolArray = np.asarray(grid.mean_c[: drive.end] > peak_c - 100.0)
    any_full: BoolArray = np.asarray(full.any(axis=1))
    zones: list[float] = full.mean(axis=0).tolist()
    return float(any_full.mean()), float(any_full[near].mean()) if near.any() else None, tuple(zones)


def measure(kiln: Kiln, log: FiringLog) -> tuple[Firing, Measures]:
    """Measure one firing. Pure and vectorised: a few milliseconds, whatever the sampling interval."""
    spikes = sum(spike.count for spike in log.spikes)
    sample_s = median(np.diff(log.elapsed_s)) if log.elapsed_s.size > 1 else 0.0
    grid = grid_of(log, kiln.volts)
    if grid is None:
        firing = short_firing(log)
        return firing, Measures(firing.duration_s, firing.peak_c, sample_s, Trace((), ()), spikes=spikes)
    drive = drive_of(grid)
    firing = firing_of(log, grid, drive)
    blocks = blocks_of(
        grid, drive, samples_per_bin=max(1.0, grid.step_s / max(sample_s, 1.0)), on_off=log.output_kind == "on-off"
    )
    full_share, near_peak, zone_full = _full_shares(grid, drive, firing.peak_c)
    duties = duty_shares(grid, drive)
    offsets = zone_offsets_c(grid, drive)
    heated = slice(0, max(drive.end, 1))
    free_rise = heat_without_demand_c(grid, drive)
    mean_output = drive.output[heated] if drive.logged else None
    return firing, Measures(
        duration_s=firing.duration_s,
        peak_c=firing.peak_c,
        sample_s=sample_s,
        trace=_trace(grid, drive),
        bands=climb_bands(grid, drive),
        cooling_bands=cooling_bands(grid, drive),
        hold_duty=_hold_duty(firing, grid, drive),
        mean_duty=None if mean_output is None or not np.isfinite(mean_output).any() else float(np.nanmean(mean_output)),
        zone_share=() if duties is None else tuple(float(x) for x in duties / duties.mean()),
        zone_spread_c=median(np.ptp(grid.zone_c[heated], axis=1)),
        overshoot_c=overshoot_c(grid),
        lag_c=worst_lag_c(grid, drive),
        supply_volts=supply_volts(log),
        resistance_ohm=resistance_ohm(log),
        energy_kwh=energy_kwh(kiln, grid, drive, rated_shares(kiln, grid.zone_c.shape[1])),
        heat_no_demand_c=free_rise,
        spikes=spikes,
        output=(log.output_kind or "duty") if drive.logged else ("none" if grid.set_point_c is None else "inferred"),
        full_share=full_share,
        full_share_near_peak=near_peak,
        zone_full_share=zone_full,
        zone_offset_c=tuple(float(x) for x in offsets),
        heat=heat_moments(blocks, welded=free_rise is not None and free_rise > 10.0),
        zone_heat=() if grid.zone_c.shape[1] == 1 else zone_moments(blocks),
        kept=None if drive.kept is None else kept_pace(blocks, block_shares(drive.kept)),
        no_rise=no_rise(grid, drive),
        signs=signs_of(log, grid, drive),
    )

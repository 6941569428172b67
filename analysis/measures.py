"""What one firing shows by itself: Measures."""

from dataclasses import dataclass, field, replace
from math import isnan

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
from analysis.climb import BandClimb, Estimate, bands_of
from analysis.current import TornCurrent, full_current, torn_current, unasked_current, wavering_current
from analysis.demand import NoRise, no_rise, worst_lag_c
from analysis.energy import energy_kwh, supply_volts
from analysis.firing import Firing, firing_of, short_firing
from analysis.full_output import Drive, drive_of
from analysis.grid import FloatArray, Grid, grid_of, over_zones
from analysis.ranks import median
from analysis.reading.firing_log import FiringLog
from analysis.signs import Signs, signs_of
from analysis.wall_heat import ROOM_C
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
    supply_volts, energy_kwh : see ``analysis.energy``.  full_current : see ``analysis.current`` (log of amps).
    spikes : thermocouple samples taken out in reading.
    output : "duty" or "on-off" if logged, "inferred" from a set point, "none" (then full output may show in the shape
        of the climb).
    full_share : share of the heating time in which any zone was at full output, None where unknown.
    zone_full_share : share of the heating time each zone was at full output.
    heat : moments of the heat balance (``analysis.balance``), None if under three usable blocks.
    zone_heat : the same for single zones at full output while another's output is unknown (logs without output).
    kept : the hardest half hour in which the kiln kept its programme below full output, None if it never did.
    signs : signs of faults other than lost power (``analysis.signs``).
    no_rise : longest stand of a zone at full output without warming (a dead circuit), None if under 20 min.
    torn_current : a current that comes and goes (``analysis.current``), None where none is logged or it does not.
    unasked_current : share of the full current that flows with no output, None where the log cannot show it.
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
    full_current: Estimate | None = None
    energy_kwh: float | None = None
    spikes: int = 0
    output: str = "none"
    full_share: float | None = None
    zone_full_share: tuple[float, ...] = ()
    zone_offset_c: tuple[float, ...] = ()
    heat: HeatMoments | None = None
    zone_heat: tuple[ZoneMoments | None, ...] = ()
    kept: KeptPace | None = None
    no_rise: NoRise | None = None
    torn_current: TornCurrent | None = None
    unasked_current: float | None = None
    signs: Signs = field(default_factory=Signs)


def _trace(grid: Grid, drive: Drive) -> Trace:
    stride = -(-grid.mid_s.size // 300)
    keep = slice(None, None, stride)

    def thin(values: np.ndarray | None) -> tuple[float, ...]:
        if values is None or not np.isfinite(values).any():
            return ()
        kept = values[keep]
        return plain(over_zones(np.where(np.isnan(kept), 0.0, kept)), 3)

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


def _mean_duty(output: FloatArray) -> float | None:
    mean = float(output.sum()) / output.size
    if isnan(mean):
        known = output[np.isfinite(output)]
        return float(known.mean()) if known.size else None
    return mean


def _full_shares(grid: Grid, drive: Drive) -> tuple[float | None, tuple[float, ...]]:
    full = drive.full[: drive.end]
    if not full.size or not (drive.logged or grid.set_point_c is not None or drive.full.any()):
        return None, ()
    zones = tuple(int(np.count_nonzero(of_zone)) / full.shape[0] for of_zone in full.T)
    return float(np.count_nonzero(full.any(axis=1)) / full.shape[0]), zones


def _room_c(log: FiringLog) -> float:
    """The room's temperature where it is logged, else an ordinary one."""
    if log.room_c is None:
        return ROOM_C
    known = log.room_c[np.isfinite(log.room_c)]
    return median(known) if known.size else ROOM_C


_UNEVEN_LINES = 0.02


def _full_current(kiln: Kiln, log: FiringLog, grid: Grid, drive: Drive) -> Estimate | None:
    """The current with everything closed, where the amps of every line are in the log."""
    supply = kiln.supply or ""
    if log.amps is None or (supply.startswith("three-phase") and log.amps.shape[1] < 3):
        return None
    told = full_current(log, grid, drive, kiln.volts)
    if told is None or supply != "three-phase delta":
        return told
    # two sides share a line, a third of a turn apart: with one side dead the lines' sum falls less than the power
    return Estimate(told.value, max(told.error, _UNEVEN_LINES))


def _with_every_output(log: FiringLog) -> FiringLog:
    """Return the log without its output where a zone's stands in no row: no balance holds with part of the heat.

    Then the set point or the climb shows when the zones are at full output, as in any log without output.
    """
    if log.output is None or np.isfinite(log.output).any(axis=0).all():
        return log
    return replace(log, output=None, output_kind=None)


def measure(kiln: Kiln, log: FiringLog) -> tuple[Firing, Measures]:
    """Measure one firing. Pure and vectorised: a few milliseconds, whatever the sampling interval."""
    log = _with_every_output(log)
    spikes = sum(spike.count for spike in log.spikes)
    sample_s = median(log.elapsed_s[1:] - log.elapsed_s[:-1]) if log.elapsed_s.size > 1 else 0.0
    grid = grid_of(log, kiln.volts, sample_s)
    if grid is None:
        firing = short_firing(log)
        return firing, Measures(firing.duration_s, firing.peak_c, sample_s, Trace((), ()), spikes=spikes)
    drive = drive_of(grid)
    firing = firing_of(log, grid, drive)
    blocks = blocks_of(
        grid,
        drive,
        samples_per_bin=max(1.0, grid.step_s / max(sample_s, 1.0)),
        on_off=log.output_kind == "on-off",
        room_c=_room_c(log),
    )
    full_share, zone_full = _full_shares(grid, drive)
    duties = duty_shares(grid, drive)
    offsets = zone_offsets_c(grid, drive)
    heated = slice(0, max(drive.end, 1))
    climbing, cooling = bands_of(grid, drive)
    signs = signs_of(log, grid, drive)
    # heat that the log's output knows nothing of: no balance holds, zones work as they must, amps are of what is stuck
    unasked = signs.ran_away
    return firing, Measures(
        duration_s=firing.duration_s,
        peak_c=firing.peak_c,
        sample_s=sample_s,
        trace=_trace(grid, drive),
        bands=climbing,
        cooling_bands=cooling,
        hold_duty=_hold_duty(firing, grid, drive),
        mean_duty=_mean_duty(drive.output[heated]) if drive.logged else None,
        zone_share=() if duties is None or unasked else tuple((duties / duties.mean()).tolist()),
        zone_spread_c=0.0 if grid.zone_c.shape[1] == 1 else median(np.ptp(grid.zone_c[heated], axis=1)),
        overshoot_c=None if firing.planned_peak_c is None else max(0.0, firing.peak_c - firing.planned_peak_c),
        lag_c=worst_lag_c(grid, drive),
        supply_volts=supply_volts(log, firing.heating_s),
        full_current=None if unasked else _full_current(kiln, log, grid, drive),
        energy_kwh=energy_kwh(kiln, grid, drive, rated_shares(kiln, grid.zone_c.shape[1])),
        spikes=spikes,
        output=(log.output_kind or "duty") if drive.logged else ("none" if grid.set_point_c is None else "inferred"),
        full_share=full_share,
        zone_full_share=zone_full,
        zone_offset_c=tuple(offsets.tolist()),
        heat=None if unasked else heat_moments(blocks),
        zone_heat=() if unasked or grid.zone_c.shape[1] == 1 else zone_moments(blocks),
        kept=None if unasked or drive.kept is None else kept_pace(blocks, block_shares(drive.kept)),
        no_rise=no_rise(grid, drive),
        torn_current=torn_current(log, grid, drive) or wavering_current(log, grid, drive),
        unasked_current=unasked_current(log, grid, drive),
        signs=signs,
    )

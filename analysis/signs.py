"""Signs of faults other than lost power that one firing's log can show by itself.

Power that comes and goes, heat that no one asked for, a zone left behind, thermocouples that jump or disagree
while the kiln cools: each is measured here without judging it; ``analysis.causes`` weighs them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.free_cooling import offsets_after_first_fall, offsets_at_marks
from analysis.full_output import FAR_BEHIND_C, Drive, rates_c_per_h
from analysis.grid import BoolArray, FloatArray, Grid, runs_of
from analysis.ranks import median, quantile
from analysis.reading.firing_log import FiringLog

_HOT_C, _COOL_C = (750.0, 2000.0), (300.0, 650.0)
_LEAST_DUTY, _MOST_DUTY, _TOGETHER_C, _ENOUGH_S = 0.03, 0.97, 12.0, 900.0
"""Zones run together while all are driven, none flat out, and they are within 12 deg C of each other."""

_SWING_C_PER_H = 60.0
"""A climb falling and rising by this much within minutes is no controller's doing above 250 deg C."""

_SWING_FROM_C = 250.0
_SLOW_CLIMB, _LITTLE_OUTPUT, _OVER_C, _OWN_DOING = 0.67, 0.3, 2.0, 0.3
"""Slow is under two thirds of the usual climb; where in three slow minutes of ten little heat is asked for, the swings
are the controller's own. A zone that follows its set point lies above it half of the time, by a degree or so."""

_AROUND_S = 1800.0
"""A set point that waits for a failing zone climbs now and then within half an hour."""

_STOPS_WITHIN_S = 600.0
LEAST_RISE_C, LEAST_ABOVE_C = 20.0, 20.0
"""Rise with no demand, and distance above the set point, that no overshoot of a sound kiln reaches."""

LEAST_RISE_UNSEEN_C = 35.0
"""The same where no set point is logged: a relay's sampled state can miss short pulses of heat."""

_STORED_BELOW_C, _STORED_ABOVE_C = 300.0, 100.0
_STORED_DIES_S, _STORED_TOLD_S, _CUT_C_PER_H = 4800.0, 3000.0, 150.0
"""A kiln hardly warm goes on warming after a pulse of heat, as coils and bricks give up what they hold; where a part of
the elements is dead and its controller was far behind, for an hour and by up to 80 deg C above the set point (a second
node model of kilns; no source). Such a rise dies away, by half in less than 55 minutes, while a closed contact's lasts
until it opens, and then ends at once."""

_FREE_RISE_C_PER_H = 20.0
_FREE_RISE_BINS = 3
_EVENLY = 0.15
_LENDS, _RUNS_AWAY_C, _LENT_BELOW_C = 0.1, 10.0, 700.0
"""Output from which a zone heats its neighbours. They can give no lead over themselves, but thermocouples that sit
unlike seem to show one of some degrees. Red hot, a zone without its own heat loses more than they can lend it."""

_AHEAD_C, _EARLY_C, _RUNS_C_PER_H, _TIMES_AS_FAST = 60.0, 400.0, 400.0, 3.0
"""A zone that leads all others by so much while the kiln is hardly warm, having climbed as at full output from cold
(fast programmes ask for some 300) and three times as fast as any other."""

_HELD_BINS = 3
_ABOVE_SET_POINT_C = 10.0
_FALLS_BACK_C_PER_H = -15.0
_SENSOR_WORDS = ("sensor", "thermocouple", "tc err", "tc fail", "probe", "fühler", "open couple")
_HOT_WORDS = ("over temp", "overtemp", "over-temp", "too hot", "übertemp")


@dataclass(frozen=True, slots=True)
class FreeHeat:
    """A zone that went on warming with no demand: by ``rise_c`` in ``minutes``, to ``above_c`` over its set point.

    ``even`` if it rose as fast at the end as at the beginning: along a programme, rather than with a constant power.
    """

    zone: int
    rise_c: float
    minutes: float
    above_c: float | None
    even: bool = False

    @property
    def beyond_overshoot(self) -> bool:
        """Whether no overshoot of a sound kiln goes so far."""
        if self.above_c is None:
            return self.rise_c >= LEAST_RISE_UNSEEN_C
        return self.above_c >= LEAST_ABOVE_C and self.rise_c >= LEAST_RISE_C


@dataclass(frozen=True, slots=True)
class Runaway:
    """A zone that ran away from the others in a kiln hardly warm, in a firing that ended there: by ``ahead_c``."""

    zone: int
    ahead_c: float


@dataclass(frozen=True, slots=True)
class Signs:
    """Signs of one firing; one entry for each zone where a tuple.

    Attributes
    ----------
    swings : times the climb fell and rose again by 60 deg C/h or more above 250 deg C and half the peak.
    dips_c : how far the zone fell behind its own climb in the third deepest of these.
    free_heat : the largest rise with no demand, None if there was none or the log cannot show it.
    runaway : where nothing but temperature is logged, a zone that ran away from the others and ended the firing.
    behind_zones_c : how far a zone lay behind the hottest one (95th percentile while heated).
    mostly_behind_c : the same, reached in three quarters of the heating (25th percentile).
    spikes, dropouts : thermocouple samples taken out in reading because they jumped or were missing or stuck.
    sensor_stop, hot_stop : the controller's own text says the sensor, or an excess temperature, stopped the firing.
    cooling_offset_c : each zone's reading less the mean of all at the marks of ``analysis.free_cooling``, zone after
        zone, None where the log does not reach.
    first_fall_c : the same once the kiln has cooled by its first 100 deg C; empty where unknown.
    hot_share, cool_share : natural log of each zone's duty over the mean of all while they run together, above
        750 deg C and from 300 to 650: a couple that reads wrong shifts the first, a weak zone both. Empty if unknown.
    """

    swings: tuple[int, ...] = ()
    dips_c: tuple[float, ...] = ()
    free_heat: FreeHeat | None = None
    runaway: Runaway | None = None
    behind_zones_c: tuple[float, ...] = ()
    mostly_behind_c: tuple[float, ...] = ()
    spikes: tuple[int, ...] = ()
    dropouts: tuple[int, ...] = ()
    sensor_stop: bool = False
    hot_stop: bool = False
    cooling_offset_c: tuple[tuple[float | None, ...], ...] = ()
    first_fall_c: tuple[float, ...] = ()
    hot_share: tuple[float, ...] = ()
    cool_share: tuple[float, ...] = ()

    @property
    def ran_away(self) -> bool:
        """Whether a zone was surely heated unasked: what the others did then, and the heat's balance, tell nothing."""
        return self.runaway is not None or (self.free_heat is not None and self.free_heat.beyond_overshoot)


def signs_of(log: FiringLog, grid: Grid, drive: Drive) -> Signs:
    """Measure the signs of one firing."""
    zones = grid.zone_c.shape[1]
    spikes, dropouts = [0] * zones, [0] * zones
    for spike in log.spikes:
        if 0 <= spike.zone < zones:
            (spikes if spike.kind == "spike" else dropouts)[spike.zone] += spike.count
    # a message is why the heat went off only if it did: a complaint in mid-firing that heats on stopped nothing
    last_s = float(grid.mid_s[max(drive.end, 1) - 1])
    text = " ".join(e.text.lower() for e in log.events if abs(e.elapsed_s - last_s) < _STOPS_WITHIN_S)
    rates = rates_c_per_h(grid, 1)
    hot_share, cool_share = _log_shares(grid, drive)
    swings, dips_c = _swings(grid, drive, rates)
    return Signs(
        swings=swings,
        dips_c=dips_c,
        free_heat=_free_heat(grid, drive, rates),
        runaway=_runaway(grid, drive, rates),
        behind_zones_c=_behind(grid, drive.end, 0.95),
        mostly_behind_c=_behind(grid, drive.end, 0.25),
        spikes=tuple(spikes),
        dropouts=tuple(dropouts),
        sensor_stop=any(word in text for word in _SENSOR_WORDS),
        hot_stop=any(word in text for word in _HOT_WORDS),
        cooling_offset_c=offsets_at_marks(grid, drive),
        first_fall_c=offsets_after_first_fall(grid, drive),
        hot_share=hot_share,
        cool_share=cool_share,
    )


def _log_shares(grid: Grid, drive: Drive) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the log share of the work of each zone while hot and while cool; empty under a quarter of an hour."""
    if not drive.logged or grid.zone_c.shape[1] < 2:
        return (), ()
    output = drive.output
    together = ((output > _LEAST_DUTY) & (output < _MOST_DUTY)).all(axis=1)
    together &= np.ptp(grid.zone_c, axis=1) < _TOGETHER_C
    together[drive.end :] = False

    def between(low_c: float, high_c: float) -> tuple[float, ...]:
        use = together & (grid.mean_c > low_c) & (grid.mean_c < high_c)
        if np.count_nonzero(use) * grid.step_s < _ENOUGH_S:
            return ()
        shares = output[use].mean(axis=0)
        logs: list[float] = np.round(np.log(shares / shares.mean()), 4).tolist()
        return tuple(logs)

    return between(*_HOT_C), between(*_COOL_C)


def _behind(grid: Grid, end: int, share: float) -> tuple[float, ...]:
    """Return how far each zone lay behind the hottest: what that ``share`` of the heated part keeps below."""
    if grid.zone_c.shape[1] == 1:
        return (0.0,)
    part = grid.zone_c[: max(end, 1)].T
    return tuple(round(quantile(behind, share), 1) for behind in part.max(axis=0) - part)


def count_swings(values: FloatArray, size: float) -> int:
    """Return how often a series (n,), n >= 1, turned by at least ``size`` (rises and falls each count once)."""
    if np.ptp(values) < size:
        return 0
    # only the bins where the series turns can count
    rises = values[1:] > values[:-1]
    at = np.flatnonzero(rises[1:] != rises[:-1]) + 1
    return count_turns((float(values[0]), *values[at].tolist(), float(values[-1])), size)


def count_turns(values: Sequence[float], size: float) -> int:
    """Return the same, looking at every one of a few values: a turn depends on the extreme since the last one."""
    turns, direction = 0, 0
    extreme = start = values[0]
    for value in values:
        if direction == 0 and abs(value - start) >= size:
            direction, extreme, turns = (1 if value > start else -1), value, 1
        elif direction * (value - extreme) > 0:
            extreme = value
        elif direction and abs(value - extreme) >= size:
            direction, extreme, turns = -direction, value, turns + 1
    return turns


def _not_asked(grid: Grid, drive: Drive) -> BoolArray | None:
    """Return where a zone's controller asks for little heat (bins, zones); None where no log tells."""
    if drive.logged:
        return drive.output < _LITTLE_OUTPUT
    return None if grid.set_point_c is None else grid.zone_c > grid.set_point_c + _OVER_C


def _swings(grid: Grid, drive: Drive, rates: FloatArray) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Count swings of each zone's climb in the hotter half of the heating, and the depth of the third deepest dip.

    None where its controller makes them: a switching one overshoots its line as much as it falls short, while a
    failing contact takes heat away only while heat is asked for.
    """
    mean = grid.mean_c
    top = int(np.argmax(mean[: max(drive.end, 1)]))
    use = mean[:top] > max(_SWING_FROM_C, 0.45 * float(mean[top]))
    if grid.gap.any():
        # The bin beside a gap spans it: its rate is an average over the unknown.
        edge = grid.gap.copy()
        edge[1:] |= grid.gap[:-1]
        edge[:-1] |= grid.gap[1:]
        use &= ~edge[:top]
    parts = rates[:top].T[:, use]
    if parts.shape[1] < 10:
        return tuple([0] * len(parts)), tuple([0.0] * len(parts))
    idle = _not_asked(grid, drive)
    wanted = None
    if grid.set_point_c is not None:
        wanted = _wanted_c_per_h(grid.set_point_c[:top], grid.zone_c[:top], grid.step_s)[use].T
    swings: list[int] = []
    dips_c: list[float] = []
    for zone, part in enumerate(parts):
        usual = quantile(part, 0.75)
        most = usual if wanted is None else np.fmin(wanted[zone], usual)
        slow = part < _SLOW_CLIMB * most
        asked = idle is None or (np.count_nonzero(idle[:top, zone][use] & slow) <= _OWN_DOING * np.count_nonzero(slow))
        dips_c.append(round(_third_largest(np.where(slow, most - part, 0.0)) * grid.step_s / 3600.0, 1))
        if not asked:
            swings.append(0)
            continue
        noise = 1.4826 * median(np.abs(part[1:] - part[:-1])) / 1.4142
        swings.append(count_swings(part, max(_SWING_C_PER_H, 5.0 * noise)))
    return tuple(swings), tuple(dips_c)


def _wanted_c_per_h(set_point_c: FloatArray, zone_c: FloatArray, step_s: float) -> FloatArray:
    """Return the fastest climb of set points (n, z), n >= 3, within half an hour either way; NaN where nothing tells.

    A slower part of the programme is no dip of the zone that follows it. One far behind wants all it can get, whatever
    the set point does: that may stand at the end of the segment already, or wait for the zone.
    """
    around = round(_AROUND_S / step_s)
    bins, zones = set_point_c.shape
    fastest = np.full((zones, bins + 2 * around), -np.inf).T
    within = (set_point_c[2:] - set_point_c[:-2]) * (1800.0 / step_s)
    fastest[around + 1 : around + bins - 1] = np.where(np.isnan(within), -np.inf, within)
    # the highest of one bin and the next, of those two and the next two, and so on: few steps for a wide window
    width = 1
    while width < 2 * around + 1:
        step = min(width, 2 * around + 1 - width)
        fastest = np.maximum(fastest[:-step], fastest[step:])
        width += step
    follows = np.isfinite(fastest) & (set_point_c - zone_c < FAR_BEHIND_C)
    return np.where(follows, np.maximum(fastest, 0.0), np.nan)


def _third_largest(missing: FloatArray) -> float:
    """Return the third largest sum over stretches of positive values (n,); 0 where there are fewer."""
    starts, _ = runs_of(missing > 0.0)
    if starts.size < 3:
        return 0.0
    sums = np.add.reduceat(np.maximum(missing, 0.0), starts)
    return float(np.sort(sums)[-3])


def _free_heat(grid: Grid, drive: Drive, rates: FloatArray) -> FreeHeat | None:
    """Find the largest rise of a zone with no output, or well above its set point and above the other zones."""
    if not drive.logged and grid.set_point_c is None:
        return None
    free: BoolArray = (rates > _FREE_RISE_C_PER_H) & (grid.mean_c > 100.0)[:, None] & ~grid.gap[:, None]
    if drive.logged or grid.set_point_c is None:
        free &= drive.off
    if not free.any():
        return None
    free &= grid.zone_c >= grid.zone_c.max(axis=1, keepdims=True) - 1.0
    if drive.logged:
        free &= ~_lent(grid, drive)
    above = None
    if grid.set_point_c is not None:
        point = _held(grid.set_point_c)
        above = grid.zone_c - point
        wanted = np.zeros_like(point)
        wanted[1:] = (point[1:] - point[:-1]) * 3600.0 / grid.step_s
        # Far above its set point a zone gets no heat and falls back towards it; one that keeps its distance is heated.
        free &= (above > _ABOVE_SET_POINT_C) & (rates - np.maximum(wanted, 0.0) > _FALLS_BACK_C_PER_H)
    best: FreeHeat | None = None
    for zone in np.flatnonzero(free.any(axis=0)).tolist():
        starts, stops = runs_of(free[:, zone])
        for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
            if stop - start < _FREE_RISE_BINS:
                continue
            over = None if above is None else float(np.nanmax(above[start:stop, zone]))
            cold = grid.zone_c[start, zone] < _STORED_BELOW_C and (over is None or over < _STORED_ABOVE_C)
            if cold and _dies_away(rates[:, zone], start, stop, grid.step_s):
                continue
            rise = float(grid.zone_c[stop - 1, zone] - grid.zone_c[start, zone])
            if best is None or rise > best.rise_c:
                minutes = (stop - start) * grid.step_s / 60.0
                best = FreeHeat(zone, rise, minutes, over, even=_even(rates[start:stop, zone]))
    return best


def _even(rates: FloatArray) -> bool:
    """Whether rates (n,) are much the same in the first and in the last quarter."""
    part = max(rates.size // 4, 1)
    early, late = float(rates[:part].mean()), float(rates[-part:].mean())
    return abs(late - early) < _EVENLY * early


def _dies_away(rates: FloatArray, start: int, stop: int, step_s: float) -> bool:
    """Whether a rise of a zone at ``rates`` (n,) may be stored heat on its way to its couple."""
    after = rates[stop : stop + 4]
    part = max((stop - start) // 4, 1)
    early, late = float(rates[start : start + part].mean()), float(rates[stop - part : stop].mean())
    if after.size and float(after.min()) < min(0.0, late - _CUT_C_PER_H):
        return False
    lasted_s = (stop - start) * step_s
    return bool(after.size and lasted_s < _STORED_TOLD_S) or late < early * np.exp(-0.75 * lasted_s / _STORED_DIES_S)


def _runaway(grid: Grid, drive: Drive, rates: FloatArray) -> Runaway | None:
    """Find a zone that pulls away from all others, where no demand is logged; None in a firing that got any farther.

    Zones that are dead stay behind too, but then the one that is not follows its programme.
    """
    zones = grid.zone_c.shape[1]
    if zones == 1 or drive.logged or grid.set_point_c is not None:
        return None
    heated = slice(0, max(drive.end, 1))
    if float(grid.mean_c[heated].max()) > _EARLY_C:
        return None
    ordered = np.sort(grid.zone_c[heated], axis=1)
    lead = ordered[:, -1] - ordered[:, -2]
    at = int(lead.argmax())
    if lead[at] < _AHEAD_C:
        return None
    zone = int(grid.zone_c[at].argmax())
    fastest = np.sort(rates[: at + 1], axis=0)[-min(3, at + 1)]  # what it kept up for a few minutes
    others = float(np.delete(fastest, zone).max())
    runs = fastest[zone] > max(_RUNS_C_PER_H, _TIMES_AS_FAST * others)
    return Runaway(zone, float(lead[at])) if runs else None


def _lent(grid: Grid, drive: Drive) -> BoolArray:
    """Where a zone (n, z) may owe its rise to heated neighbours: not hot yet, and hardly ahead of the hottest of them.

    A zone that loses less than the others, or holds less ware, needs no heat of its own while they lend it theirs. One
    whose contact is closed runs away from them.
    """
    zone_c: FloatArray = grid.zone_c
    count = zone_c.shape[1]
    lent = np.zeros((zone_c.shape[0], count), dtype=np.bool_)
    if count == 1:
        return lent
    for zone in range(count):
        others = np.delete(np.arange(count), zone)
        heated = (drive.output[:, others] > _LENDS).any(axis=1)
        near = zone_c[:, zone] < zone_c[:, others].max(axis=1) + _RUNS_AWAY_C
        lent[:, zone] = heated & near & (zone_c[:, zone] < _LENT_BELOW_C)
    return lent


def _held(values: FloatArray) -> FloatArray:
    """Return a logged set point with gaps of up to three bins filled by the value before them, shape (n, z)."""
    number = np.arange(values.shape[0])
    last = np.maximum.accumulate(np.where(np.isfinite(values[:, 0]), number, 0))
    held: FloatArray = np.where((number - last <= _HELD_BINS)[:, None], values[last], np.nan)
    return held

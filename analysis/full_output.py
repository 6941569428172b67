"""When each zone is known to be heating at full output or not at all, logged or inferred from the set point.

A controller that sees its zone fall several degrees behind the set point asks for everything it has; a zone
well above its set point gets nothing. In between the output is whatever the loop needs and cannot be known
without being logged.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.climb_shape import even_climb, overtaken, shape_of_climb
from analysis.grid import BoolArray, FloatArray, Grid, over_zones

BEHIND_C = 3.0
"""A kiln controller's proportional band is a few degrees, its integral takes up the rest: a zone this far behind over
ten minutes is at full output (of ten-minute means so far behind, 19 in 20 were, over 25 controllers tried)."""

FAR_BEHIND_C = 10.0
"""A zone this far behind asks for everything it has, whatever it does later (a contact may have opened in between)."""

ABOVE_C = 6.0
"""A zone this far above its set point is not heated (twice a band, as temperature readings jitter by a degree)."""

FULL_DUTY = 0.985
"""A logged duty from here up counts as full output (duties are often written in whole percent)."""

_FALLING_C_PER_H = -20.0

_SLOW_COOLING_FROM_C, _ROOM_C = 500.0, 20.0
_HELD_BACK_S, _KEEPS_RATE, SPEEDS_UP = 600.0, 0.93, 1.3
"""A cooling held back by heat is programmed above the first. Later on it is as fast as at first, but for the scatter of
the readings, and this much faster within ten minutes of the heat going off."""

_NEARLY_ALONE = 0.5
"""Share of its own rate of cooling, for how hot it is, below which a kiln is held rather than left alone."""

_SLOW_COOLING_BELOW_C = 350.0
"""Colder than this a closed kiln cools so slowly by itself that it cannot be told from one held by its controller."""


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """How hard each zone is driven. ``n`` bins, ``z`` zones.

    Attributes
    ----------
    output : shape (n, z), share of full output, NaN where not known.
    full, off : shape (n, z), zones at full output and without output.
    kept : shape (n, z), zones surely following their programme below full output, None where the output is logged.
    logged : True if the output stands in the log.
    end : first bin after the programme: from here on the kiln only cools (n if the log stops earlier).
    """

    output: FloatArray
    full: BoolArray
    off: BoolArray
    logged: bool
    end: int
    kept: BoolArray | None = None


@lru_cache(maxsize=4)  # by the grid itself, which never changes: several measures of a firing ask for the same rates
def rates_c_per_h(grid: Grid, half_width: int) -> FloatArray:
    """Rate of each zone's temperature over ``2 * half_width`` bins, deg C per hour, shape (n, z), not to be changed."""
    zone_c, width = grid.zone_c, 2 * half_width
    rates = np.empty_like(zone_c)
    rates[half_width:-half_width] = (zone_c[width:] - zone_c[:-width]) * (3600.0 / (width * grid.step_s))
    # at the ends the span is cut off at the first and at the last bin
    cut = np.arange(half_width, width)[:, None] * (grid.step_s / 3600.0)
    rates[:half_width] = (zone_c[half_width:width] - zone_c[0]) / cut
    rates[-half_width:] = (zone_c[-1] - zone_c[-width:-half_width]) / cut[::-1]
    rates.flags.writeable = False
    return rates


def _smooth(values: FloatArray) -> FloatArray:
    """Mean over five bins; NaN spreads."""
    bins = values.shape[0]
    total = np.zeros((bins + 5, values.shape[1]))
    total[3 : bins + 3] = values
    total[1:3], total[bins + 3 :] = values[0], values[-1]
    np.cumsum(total, axis=0, out=total)
    mean: FloatArray = (total[5:] - total[:-5]) / 5.0
    return mean


def programme_end(grid: Grid, rates: FloatArray) -> int:
    """First bin from which the whole kiln only cools: after the last bin in which it was heated or held.

    Controlled cooling counts as programme while the set point is still followed.
    """
    mean_rate = over_zones(rates)
    heated = mean_rate > _FALLING_C_PER_H
    # late in a natural cooling the rate itself is small: only bins near the temperature of the last climb count
    mean = grid.mean_c
    hottest_after = np.maximum.accumulate(mean[::-1])[::-1]
    heated &= (mean >= hottest_after - 12.0) & (mean > _SLOW_COOLING_BELOW_C)
    peak = int(mean.argmax())
    heated[peak:] &= ~_as_fast_as_alone(mean[peak:], -mean_rate[peak:])
    heated[peak] = True
    if grid.set_point_c is not None:
        lag = over_zones(np.where(np.isnan(grid.set_point_c), 1e3, grid.set_point_c) - grid.zone_c)
        heated |= (np.abs(lag) < 3.0) & (mean > 150.0)
    if grid.output is not None:
        heated |= (grid.output > 0.02).any(axis=1)
    end = heated.size - int(heated[::-1].argmax())
    return _held_back(grid, end) if grid.output is None and grid.set_point_c is None else end


def _as_fast_as_alone(mean_c: FloatArray, falls_c_per_h: FloatArray) -> BoolArray:
    """Whether a kiln past its peak (n,) cools as fast, for how hot it is, as where it surely cools by itself.

    A large kiln, densely packed, cools by less than 20 deg C per hour at 400 deg C with nothing switched on.
    """
    over_room = np.maximum(mean_c - _ROOM_C, 1.0)
    alone = falls_c_per_h > -_FALLING_C_PER_H
    if not alone.any():
        return alone
    usual = float(np.median(falls_c_per_h[alone] / over_room[alone]))
    natural: BoolArray = falls_c_per_h > _NEARLY_ALONE * usual * over_room
    return natural


def _held_back(grid: Grid, end: int) -> int:
    """End of the programme where nothing but temperature tells: after a cooling along a line, held back by heat.

    Left alone a kiln cools ever more slowly, as its wall gives back less and less heat. One that is held back keeps its
    rate, and cools at once much faster when the heat goes off.
    """
    hot = grid.mean_c[end:]
    cold = hot < _SLOW_COOLING_FROM_C
    hot = hot[: int(cold.argmax())] if cold.any() else hot
    width = max(round(_HELD_BACK_S / grid.step_s), 1)
    falls = (hot[:-width] - hot[width:])[width:]  # without the ten minutes in which heat is still on its way
    if falls.size < 3 * width:
        return end
    off = int((falls / (hot[2 * width :] - _ROOM_C)).argmax())
    if off < 2 * width:
        return end
    before = falls[: off - width]
    held_back = keeps_rate(before) and falls[off] > SPEEDS_UP * float(before.mean())
    return end + off + width if held_back else end


def keeps_rate(falls: FloatArray) -> bool:
    """Whether a cooling by ``falls`` (n,), n >= 2, from one time to the next is as fast later on as at first."""
    early, late = (float(part.mean()) for part in np.array_split(falls, 2))
    return late > _KEEPS_RATE * early


def drive_of(grid: Grid) -> Drive:
    """Find when each zone is at full output, off, or at a known output between.

    Without a logged output the set point tells, without that the shape of the climb (``analysis.climb_shape``).
    """
    rates = rates_c_per_h(grid, 2)
    end = programme_end(grid, rates)
    if grid.output is not None:
        output = grid.output
        return Drive(output, output >= FULL_DUTY, output <= 0.005, logged=True, end=end)
    after = np.zeros(grid.seen.shape, dtype=np.bool_)
    after[end:] = True
    output = np.full(grid.zone_c.shape, np.nan)
    off = after & (rates < 0.0)
    if grid.set_point_c is None:
        full, kept = shape_of_climb(grid, end)
    else:
        behind = grid.set_point_c - grid.zone_c
        # a set point may follow the kiln instead of leading it: only an even climb shows that there is power to spare
        even = even_climb(grid, end)
        unknown = np.isnan(behind)
        lag = _smooth(np.where(unknown, 0.0, behind))
        lag[unknown] = np.nan
        full = (lag >= BEHIND_C) & (rates > _FALLING_C_PER_H) & ~after & ~even
        near = full & (lag < FAR_BEHIND_C)
        if near.any():
            full &= ~(near & overtaken(grid, end))
        off |= lag <= -ABOVE_C
        kept = np.isfinite(lag) & even & ~full & ~after
    output[full] = 1.0
    output[off] = 0.0
    output[grid.gap] = np.nan
    return Drive(output, full & ~off, off, logged=False, end=end, kept=kept)

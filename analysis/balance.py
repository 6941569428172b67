"""The heat balance of a whole firing: output against heat into the wall and heat into the load.

At every moment the heat given is taken up by the wall and by what stands in the kiln:

    sum over zones of P_z u_z = A (q + gaps g) + C dT/dt

``u_z`` is a zone's share of full output, ``P_z`` its full power, ``q`` the flux into the wall
(``analysis.wall_heat``, in deg C), ``A`` = k0 * area / L the wall's conductance, ``g`` the flux that gaps radiate
(in the same units; it grows faster with the temperature, and follows it at once) and ``C`` the heat capacity of
ware, shelves and the wall's inner skin. Heating and cooling obey the same equation. One firing cannot give P, A
and C apart, only their ratios; so what is kept of a firing is the matrix of second moments of
(u_1 ... u_z, q, dT/dt, g), from which the kiln's state (``analysis.power_filter``) weighs its own estimates.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.clay_water import water_loss_per_h
from analysis.cooling import Told, bend_of
from analysis.full_output import SPEEDS_UP, Drive, keeps_rate, rates_c_per_h
from analysis.grid import BoolArray, FloatArray, Grid, over_zones, runs_of
from analysis.wall_heat import ROOM_C, flux_into_wall, flux_through_gaps

BLOCK_BINS = 5
"""Ten-minute blocks: long beside the control cycle and the thermocouple's lag, short beside a segment."""

FLUX_UNIT_C = 1000.0
RATE_UNIT_C_PER_H = 100.0

_CLAY_WATER_C = (450.0, 720.0)
"""Kaolin minerals give off their bound water between 400 and 700 deg C (Vaughan 1954), a heat sink no log shows."""

_MODEL_ERROR = 0.012
"""Error of the balance in a block, as a share of full output, above ``_CLAY_WATER_C`` and in cooling."""

_MODEL_ERROR_WARMING = 0.25
"""The same below: damp ware dries, and the ware lags the chamber while radiation is weak. The error is some 0.05 and
has one sign for hours, so that thirty blocks are worth hardly more than one."""

_MODEL_ERROR_CLAY_WATER = 0.03

_SLOW_SAMPLES, _BEAT = 4.0, 4.0
"""Fewer samples of a relay's state in two minutes are fewer than its cycles: the two beat against each other, and
neighbouring samples tell about the same."""

_GUESSED = 1.6
"""Factor on all errors where full output is a guess. A calibration, not physics: the least of those tried on simulated
kilns that raised no more false alarms."""

_COUNTED_AROUND = 3
"""Blocks on either side over which a relay's closed share is averaged: it changes over an hour, not in minutes."""

_LAG_ERROR = 0.10
"""Error where the rate changes, per 100 deg C per hour from one block to the next: ware and thermocouple follow the
chamber some minutes late, so the block misses part of C dT/dt (C is 0.1-0.3 in these units)."""

_NO_OUTPUT = 0.02
"""Mean output of a block below which it is one without: duties are written in whole percent."""

_LEVEL_C_PER_H, _FREE_FROM_C = 5.0, 450.0
"""Change of temperature that ten minutes hardly resolve; and the heat down to which a cooling tells of a firing: below,
the wall model's error lasts longest (300 and 600 deg C do about as well)."""

_TELLS_BLOCKS = 3
"""Blocks that show whether a cooling keeps its rate; the first may hold the last of the heating."""

_USUAL_WALL, _USUAL_CAPACITY = 0.30, 0.17
"""A and C of a usual kiln in these units, to tell which half hour was the hardest."""

_WATER_HEAT = 0.7
"""Spread of the heat of the early and of the late clay's water, in hours of full output for all of it: 60 kg of a body
with half kaolinite take 30 MJ, an hour of 8 kW; a light load takes a third of that, a packed kiln twice as much."""


@lru_cache
def _upper(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the upper triangle, row by row."""
    return np.triu_indices(size)


def _triangle_of(matrix: FloatArray) -> tuple[float, ...]:
    """Upper triangle of a symmetric matrix, row by row."""
    numbers: list[float] = matrix[_upper(matrix.shape[0])].tolist()
    return tuple(numbers)


def _matrix_of(triangle: tuple[float, ...], size: int) -> FloatArray:
    """Symmetric matrix (size, size) of its upper triangle."""
    upper = _upper(size)
    full = np.empty((size, size))
    full[upper] = full.T[upper] = triangle
    return full


@dataclass(frozen=True, slots=True)
class HeatMoments:
    """Weighted second moments of a firing's blocks in which every zone's output is known.

    Attributes
    ----------
    zones : number of zones z.
    moments : upper triangle, row by row, of the (z + 3, z + 3) matrix sum(w v v') with
        v = (u_1 ... u_z, q / 1000 deg C, dT/dt / 100 deg C per h, g / 1000 deg C) and w the block's inverse error
        variance.
    cooling_left : what no C / A takes off sum(w (A q + C dT/dt)^2) over the blocks without output, for A = 1; left out
        of the moments (see ``_of_ratio``).
    blocks, full_blocks, cooling_blocks : how many ten-minute blocks, of these with every zone at full output,
        and without any output.
    bend : how much too fast the kiln cools while hot (``analysis.cooling``), None where too little is left of it.
    """

    zones: int
    moments: tuple[float, ...]
    cooling_left: float
    blocks: int
    full_blocks: int
    cooling_blocks: int
    bend: Told | None = None

    def matrix(self) -> FloatArray:
        """The symmetric moment matrix, shape (z + 3, z + 3)."""
        return _matrix_of(self.moments, self.zones + 3)


@dataclass(frozen=True, slots=True)
class ZoneMoments:
    """Weighted second moments of the blocks in which this zone is at full output and must be judged by itself.

    Upper triangle of sum(w v v') with v = (u, q, dT/dt, g, exchange) for the zone alone, in the same units;
    ``exchange`` is what the warmer rest of the kiln gives it by radiation, (T - mean T) / 100 deg C times the cube of
    the absolute temperature over 1273 K.
    """

    moments: tuple[float, ...]
    blocks: int

    def matrix(self) -> FloatArray:
        """The symmetric moment matrix, shape (5, 5)."""
        return _matrix_of(self.moments, 5)


@dataclass(frozen=True, slots=True)
class KeptPace:
    """The hardest half hour in which every zone kept to its set point below full output: flux and rate as above.

    So the full power exceeds A (q + gaps g) + C dT/dt there: a lower bound. ``at_c`` is its temperature,
    ``through_gaps`` the flux g that gaps would radiate at it (nought in a record older than this field).
    """

    flux: float
    rate: float
    at_c: float
    through_gaps: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Ten-minute means. ``b`` blocks, ``z`` zones; ``output`` is NaN where unknown and is supply-corrected.

    ``mean_c`` and ``mean_rate_c_per_h`` (b,) are over the zones; ``water_per_h`` (b, 2) is ``analysis.clay_water``'s.
    """

    zone_c: FloatArray
    mean_c: FloatArray
    rate_c_per_h: FloatArray
    mean_rate_c_per_h: FloatArray
    flux_c: FloatArray
    output: FloatArray
    water_per_h: FloatArray
    error: FloatArray
    usable: BoolArray


_FIFTH = np.full(BLOCK_BINS, 1.0 / BLOCK_BINS)


def _block_means(values: FloatArray) -> FloatArray:
    """Means over blocks of bins, shape (b,) or (b, z), of ``values`` (n,) or (n, z).

    A product with fifths: numpy's own mean is slow along an axis as short as a block.
    """
    columns = values.T
    count = columns.shape[-1] // BLOCK_BINS
    cut = columns[..., : count * BLOCK_BINS].reshape(*columns.shape[:-1], count, BLOCK_BINS)
    means: FloatArray = (cut @ _FIFTH).T
    return means


def blocks_of(
    grid: Grid, drive: Drive, *, samples_per_bin: float = 10.0, on_off: bool = False, room_c: float = ROOM_C
) -> Blocks:
    """Average the grid into ten-minute blocks with the flux into each zone's wall, in a room of ``room_c``.

    ``on_off`` says that the output is a relay's state at the moment of each sample, which adds the scatter of
    counting: u (1 - u) / samples. Where nothing but temperature is logged full output is a guess from the climb's
    shape, and every error is larger.
    """
    zones = grid.zone_c.shape[1]
    flux = flux_into_wall(grid.zone_c, grid.step_s, room_c=room_c)
    output = drive.output if grid.supply is None else drive.output * grid.supply[:, None]
    water = water_loss_per_h(grid.mean_c, grid.step_s)
    # all columns at once, each quantity's zones side by side
    every = _block_means(np.hstack((grid.zone_c, rates_c_per_h(grid, 1), flux, output, water)))
    zone_c, rate, flux, mean_output = (every[:, at * zones : (at + 1) * zones] for at in range(4))
    mean_c, mean_rate = over_zones(zone_c), over_zones(rate)
    cold = mean_c < _CLAY_WATER_C[0]
    clay = (mean_rate > 0.0) & ~cold & (mean_c < _CLAY_WATER_C[1])
    error = np.where(cold, _MODEL_ERROR_WARMING, np.where(clay, _MODEL_ERROR_CLAY_WATER, _MODEL_ERROR))
    error[mean_rate < -5.0] = _MODEL_ERROR
    turns = np.zeros(mean_rate.size + 1)
    turns[1:-1] = np.abs(mean_rate[1:] - mean_rate[:-1]) / RATE_UNIT_C_PER_H
    turn = np.maximum(turns[:-1], turns[1:])
    error = np.hypot(error, _LAG_ERROR * turn)
    if on_off:
        error = np.sqrt(error**2 + _counting_variance(mean_output, drive.end // BLOCK_BINS, samples_per_bin))
    if not drive.logged and grid.set_point_c is None:
        error *= _GUESSED
    count = zone_c.shape[0]
    usable: BoolArray = np.ones(count, dtype=np.bool_)
    if grid.gap.any():
        usable &= ~np.any(grid.gap[: count * BLOCK_BINS].reshape(count, BLOCK_BINS), axis=1)
    if not grid.seen.all():
        # a zone never seen stands at the others' mean
        usable &= _block_means(grid.seen[:, grid.seen.any(axis=0)].astype(np.float64)).min(axis=1) > 0.15
    return Blocks(zone_c, mean_c, rate, mean_rate, flux, mean_output, every[:, -2:], error, usable)


def _counting_variance(output: FloatArray, end: int, samples_per_bin: float) -> FloatArray:
    """Variance (b,) of ten-minute outputs (b, z) that count how often a relay was found closed, blocks up to ``end``.

    The share that sets the scatter is taken over the hour or so around a block: by its own count a block in which the
    relay was always found closed by chance would seem exact, and full output be believed where there was none.
    """
    # better volts than the nameplate's make more than full output of a closed relay
    heated = np.clip(np.nan_to_num(over_zones(output[: end + 1]), nan=0.5), 0.0, 1.0)
    total = np.concatenate(([0.0], np.cumsum(heated)))
    at = np.arange(heated.size)
    low, high = np.maximum(at - _COUNTED_AROUND, 0), np.minimum(at + _COUNTED_AROUND + 1, heated.size)
    around = (total[high] - total[low]) / (high - low)
    samples = samples_per_bin * BLOCK_BINS * output.shape[1]
    share = (around * samples + 0.5) / (samples + 1.0)
    variance = np.zeros(output.shape[0])
    variance[: end + 1] = share * (1.0 - share) / samples
    return variance * (_BEAT if samples_per_bin < _SLOW_SAMPLES else 1.0)


def _second_moments(columns: list[FloatArray], water: FloatArray, error: FloatArray) -> tuple[float, ...]:
    """Upper triangle of sum(w v v') of some blocks' columns, each (b,) or (b, k).

    The unknown heats of the clay's ``water`` (b, 2) are integrated out under their own spread.
    """
    weighted = np.concatenate([c.reshape(error.size, -1) for c in (*columns, water)], axis=1) / error[:, None]
    matrix = weighted.T @ weighted
    along, own = matrix[:-2, -2:], matrix[-2:, -2:] + np.eye(2) / _WATER_HEAT**2
    return _triangle_of(matrix[:-2, :-2] - along @ np.linalg.solve(own, along.T))


def heat_moments(blocks: Blocks) -> HeatMoments | None:
    """Collect the moments of the blocks in which all zones' outputs are known; None if under three.

    Of the blocks without output only a free cooling while hot counts: what one that warms got is not what is logged.
    """
    output, mean_c, mean_rate = blocks.output, blocks.mean_c, blocks.mean_rate_c_per_h
    good = blocks.usable & np.isfinite(output).all(axis=1)
    # the first block holds the start of heating, whatever the wall did before
    good[:1] = False
    cooling = good & (output.max(axis=1) < _NO_OUTPUT)
    free = cooling & (mean_rate <= _LEVEL_C_PER_H) & (mean_c > _FREE_FROM_C) & ~_held_or_opened(mean_rate, cooling)
    good &= ~cooling | free
    at = np.flatnonzero(good)
    if at.size < 3:
        return None
    output, error, cooling = output[at], blocks.error[at], cooling[at]
    flux, rate = over_zones(blocks.flux_c[at]) / FLUX_UNIT_C, mean_rate[at] / RATE_UNIT_C_PER_H
    bend = bend_of(mean_c[at[cooling]], flux[cooling], rate[cooling])
    gaps = flux_through_gaps(mean_c[at]) / FLUX_UNIT_C
    flux, rate, gaps, left = _of_ratio(flux, rate, gaps, error, cooling)
    return HeatMoments(
        zones=output.shape[1],
        moments=_second_moments([output, flux, rate, gaps], blocks.water_per_h[at], error),
        cooling_left=left,
        blocks=int(at.size),
        full_blocks=int(np.count_nonzero(output.min(axis=1) > 0.9)),
        cooling_blocks=int(np.count_nonzero(cooling)),
        bend=bend,
    )


def _held_or_opened(rate_c_per_h: FloatArray, cooling: BoolArray) -> BoolArray:
    """Whether a block (b,) without logged output belongs to no free cooling: one that all at once speeds up.

    Left alone a kiln cools ever more slowly. If it kept its rate until then (or had hardly begun), it was held back by
    heat that the log does not show; if not, it was opened there, and its wall is another one from there on.
    """
    out = np.zeros(cooling.size, dtype=np.bool_)
    for start, stop in zip(*(ends.tolist() for ends in runs_of(cooling)), strict=True):
        falls = -rate_c_per_h[start:stop]
        faster = np.flatnonzero(falls[1:] > SPEEDS_UP * falls[:-1] + _LEVEL_C_PER_H) + 1
        begin = 0
        for at in faster.tolist():
            if at - begin >= _TELLS_BLOCKS and not keeps_rate(falls[begin:at]):
                out[start + at : stop] = True
                break
            begin = at
        out[start : start + begin] = True
    return out


def _of_ratio(
    flux: FloatArray, rate: FloatArray, gaps: FloatArray, error: FloatArray, cooling: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Return the flows (b,) with those of the cooling blocks as their best C / A makes them, and what that misses.

    With no output A q + C dT/dt = 0. That tells C / A and no more; but no wall and no load at all (A = C = 0) fit it
    best, so a cooling that the model misses by a little would speak for as little of both as can be. What goes through
    gaps bends a cooling, which is told by itself (``analysis.cooling``); here it only hastens it. Where no positive
    C / A fits, it tells nothing.
    """
    q, r = flux[cooling] / error[cooling], rate[cooling] / error[cooling]
    slope = min(float(q @ r) / max(float(r @ r), 1e-12), 0.0)
    left = float(((q - slope * r) ** 2).sum())
    if slope < 0.0:
        share = float((gaps[cooling] / error[cooling]) @ r) / float(r @ r)
        return np.where(cooling, slope * rate, flux), rate, np.where(cooling, share * rate, gaps), left
    flux, rate, gaps = (np.where(cooling, 0.0, flow) for flow in (flux, rate, gaps))
    return flux, rate, gaps, left


_ZONE_ERROR = 0.03
"""Error of one zone's balance in a block: what its neighbours give and take is only roughly known."""

_EXCHANGE_K = 1273.15

_BEHIND_OTHERS_C = 10.0
_STANDING_C_PER_H = 10.0
"""No zone with power of its own stands still below red heat at full output."""


def zone_moments(blocks: Blocks) -> tuple[ZoneMoments | None, ...]:
    """For each zone the moments of the blocks that tell of it alone; None under two.

    Those in which it is known to be at full output and another's output is not known, or in which it falls behind the
    others or stands still at full output (then a balance of the whole kiln says little about it).
    """
    output, mean_c = blocks.output, blocks.mean_c
    unknown = np.isnan(output).any(axis=1) & blocks.usable
    unknown[:1] = False
    out: list[ZoneMoments | None] = []
    for zone in range(output.shape[1]):
        behind = blocks.usable & (blocks.zone_c[:, zone] < mean_c - _BEHIND_OTHERS_C)
        standing = blocks.usable & (blocks.rate_c_per_h[:, zone] < _STANDING_C_PER_H)
        standing &= blocks.zone_c[:, zone] < _CLAY_WATER_C[0]
        full = np.flatnonzero((unknown | behind | standing) & (output[:, zone] > 0.95))
        if full.size < 2:
            out.append(None)
            continue
        cube = ((blocks.zone_c[full, zone] + 273.15) / _EXCHANGE_K) ** 3
        columns = [
            output[full, zone],
            blocks.flux_c[full, zone] / FLUX_UNIT_C,
            blocks.rate_c_per_h[full, zone] / RATE_UNIT_C_PER_H,
            flux_through_gaps(blocks.zone_c[full, zone]) / FLUX_UNIT_C,
            (blocks.zone_c[full, zone] - mean_c[full]) / 100.0 * cube,
        ]
        error = np.hypot(blocks.error[full], _ZONE_ERROR)
        out.append(ZoneMoments(_second_moments(columns, blocks.water_per_h[full], error), int(full.size)))
    return tuple(out)


def kept_pace(blocks: Blocks, kept_share: FloatArray) -> KeptPace | None:
    """Find the hardest three blocks running in which every zone kept its programme below full output.

    ``kept_share`` (b, z): share of each block in which a zone did. Only above the clay's water, where the balance
    holds to a few per cent.
    """
    mean_c = blocks.mean_c
    rate = blocks.mean_rate_c_per_h / RATE_UNIT_C_PER_H
    flux = over_zones(blocks.flux_c) / FLUX_UNIT_C
    kept = blocks.usable & (kept_share.min(axis=1) > 0.95) & (mean_c > 300.0) & (rate > -0.1) & (blocks.error < 0.08)
    load = _USUAL_WALL * flux + _USUAL_CAPACITY * rate
    if kept.size < 3:
        return None
    run = kept[:-2] & kept[1:-1] & kept[2:]
    if not run.any():
        return None
    mean_load = (load[:-2] + load[1:-1] + load[2:]) / 3.0
    at = int(np.argmax(np.where(run, mean_load, -np.inf)))
    flux_c, rate_c, at_c = (float(values[at : at + 3].sum()) / 3.0 for values in (flux, rate, mean_c))
    return KeptPace(flux_c, rate_c, at_c, float(flux_through_gaps(np.array([at_c]))[0]) / FLUX_UNIT_C)


def block_shares(flags: BoolArray) -> FloatArray:
    """Share of each block in which a flag of the grid's bins is set, shape (b, z)."""
    return _block_means(flags.astype(np.float64))

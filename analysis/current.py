"""What logged amps say of the elements: the current with everything closed, from firing to firing.

Amps are volts over ohms: as the elements age or one of them opens the current falls with the power, while a leak of
heat, a heavy load and a wrong thermocouple leave it alone, and a poor supply takes only half as much (in logs) from
the current as from the power.
"""

from dataclasses import dataclass

import numpy as np

from analysis.climb import Estimate
from analysis.full_output import Drive
from analysis.grid import BoolArray, FloatArray, Grid
from analysis.ranks import median, quantile
from analysis.reading.firing_log import FiringLog

_NO_CURRENT, _NEAR_TOP, _TOP = 0.03, 0.92, 0.99
_ON_THE_TOP = 0.7
"""A current read at a moment is nil or that of what is closed, mostly everything; one that is a mean over the time
between two rows lies anywhere between. So this share of all readings above nil near the highest tells the first."""

_BELOW_TOP, _SEEN_NOW_AND_THEN, _NEARLY_EMPTY = 0.80, 0.15, 0.2
"""Readings just below the highest, 80 to 92 %, are nearly missing where single circuits switch: one takes more than
that. Then the highest are everything's, even if they are but a seventh of all."""

_FEWEST_READINGS, _SLIPS = 20, 5
_LEAST_A = 1.0
"""No kiln draws as little."""

_LEAST_ERROR = 0.006
"""A clamp's own scatter averages out; what does not is its zero and the wire's ohms at another temperature (log)."""

_COUNTING = 2.0
"""Moments sampled at even steps tell less than as many drawn at random: their step beats against the relay's cycle."""

_ALIKE_CLOSED = 0.5
_SMALL_OUTPUT, _FAIR_OUTPUT, _WORST_FIT = 0.1, 0.25, 0.03

_MISSING, _ALIKE, _MOSTLY_ALIKE, _OFTEN_MISSING = 0.88, 0.04, 0.8, 0.04
"""A current that lacks a circuit is an eighth or more below the highest, and always about the same: four in five of the
low readings lie within 4 % of their middle. Fewer than one reading in 25 are a clamp's slips."""

_WHOLE, _SELDOM, _ABOVE_TOP = 0.95, 0.02, 1.06
"""Share of the top from which a mean lacks nothing: a duty's steps and a clamp's scatter make 2 or 3 %. Share of the
readings that may be slips, and how far the highest may lie above the top."""

_NOTHING_ASKED, _LITTLE_ASKED, _MUCH_ASKED = 0.03, 0.15, 0.8
_NEARLY_ALWAYS, _NOT_ALL = 0.1, 0.8
"""Nine readings in ten show a current that flows unasked, as it never stops. Where a little is asked for, a clamp that
reads in step with the relay may find it closed every time; then it finds everything closed, not a part."""


@dataclass(frozen=True, slots=True)
class TornCurrent:
    """A current that comes and goes between two levels within a firing: how often it turned, and the share missing."""

    turns: int
    missing: float


def torn_current(log: FiringLog, grid: Grid, drive: Drive) -> TornCurrent | None:
    """Find a current that loses a part and has it back while the kiln is heated; None if it does not.

    Only of a kiln of one zone, whose circuits are closed together: in others part of the current is a zone at rest.
    """
    if log.amps is None or log.zone_c.shape[1] > 1:
        return None
    amps: FloatArray = log.amps.sum(axis=1)
    closed: BoolArray = np.isfinite(amps) & (log.elapsed_s < drive.end * grid.step_s)
    if log.output is not None and log.output_kind == "on-off":
        closed &= log.output[:, 0] > 0.5
    if np.count_nonzero(closed) < _FEWEST_READINGS:
        return None
    top = _top(amps[closed])
    if top <= 0.0:
        return None
    flowing = amps[closed & (amps > _NO_CURRENT * top)] / top
    low = flowing < _MISSING
    if np.count_nonzero(low) < max(_OFTEN_MISSING * flowing.size, _FEWEST_READINGS):
        return None
    level = median(flowing[low])
    alike = np.abs(flowing - level) < _ALIKE
    if np.count_nonzero(alike) < _MOSTLY_ALIKE * np.count_nonzero(low):
        return None
    whole = flowing[alike | (flowing > _NEAR_TOP)] > _NEAR_TOP
    return TornCurrent(int(np.count_nonzero(whole[1:] != whole[:-1])), 1.0 - level)


def wavering_current(log: FiringLog, grid: Grid, drive: Drive) -> TornCurrent | None:
    """Find the same where amps are means over the time between rows: beside the output they lie anywhere below the top.

    Of a kiln of one zone with a duty in its log, or while it is known to be at full output.
    """
    if log.amps is None or log.zone_c.shape[1] > 1 or log.output_kind == "on-off":
        return None
    amps: FloatArray = log.amps.sum(axis=1)
    bins = np.minimum((log.elapsed_s / grid.step_s).astype(np.intp), grid.mid_s.size - 1)
    asked: FloatArray = drive.output[bins, 0] if log.output is None else log.output[:, 0]
    use: BoolArray = np.isfinite(amps) & (asked > _FAIR_OUTPUT) & (bins < drive.end)
    if np.count_nonzero(use) < _FEWEST_READINGS:
        return None
    shares = amps[use] / asked[use]
    top = quantile(shares, _NEAR_TOP)
    if top <= _LEAST_A or quantile(shares, _SELDOM) < _NO_CURRENT * top:
        return None  # no current at all while heat is asked for: readings at moments
    if quantile(shares, _TOP) > _ABOVE_TOP * top:
        return None  # more than is asked for: a contact that stays closed
    shares = shares / top
    missing = shares < _MISSING
    clear = shares[missing | (shares > _WHOLE)] > _WHOLE
    if np.count_nonzero(missing) < max(_OFTEN_MISSING * shares.size, _FEWEST_READINGS):
        return None
    return TornCurrent(int(np.count_nonzero(clear[1:] != clear[:-1])), 1.0 - median(shares[missing]))


def unasked_current(log: FiringLog, grid: Grid, drive: Drive) -> float | None:
    """Share of the current of everything closed that flows while no zone asks for heat; None where no log tells.

    Nil but for a clamp's zero and what else hangs on the supply, unless a contact stays closed. A contactor may cut
    the supply once the programme is over, so the heating and the time after it are looked at apart. Sampled states of
    relays do not tell what is asked for: they beat against the readings of the clamp.
    """
    if log.amps is None or log.output is None or log.output_kind != "duty":
        return None
    amps: FloatArray = log.amps.sum(axis=1)
    known: BoolArray = np.isfinite(amps)
    asked: FloatArray = log.output.max(axis=1)
    if np.count_nonzero(known & (asked > _MUCH_ASKED)) < _FEWEST_READINGS:
        return None  # what is everything's current?
    top = _top(amps[known])
    if top <= 0.0:
        return None
    heated: BoolArray = log.elapsed_s < drive.end * grid.step_s
    idle = known & (asked <= _NOTHING_ASKED)
    shares = [_floor(amps[idle & part]) / top for part in (heated, ~heated)]
    if log.output.shape[1] == 1:
        little = known & heated & (asked <= _LITTLE_ASKED)
        part = _floor(amps[little]) / top
        # amps that are means over the time between rows hold what was asked for
        shares.append(_floor(amps[little] / top - asked[little]) if part < _NOT_ALL else float("nan"))
    seen = [share for share in shares if np.isfinite(share)]
    return max(seen) if seen else None


def _floor(amps: FloatArray) -> float:
    """Return what nine readings in ten reach; NaN of too few."""
    return quantile(amps, _NEARLY_ALWAYS) if amps.size >= _FEWEST_READINGS else float("nan")


def _top(amps: FloatArray) -> float:
    """Return the highest current but for a hundredth of those that are any; 0 if none is.

    Not of all readings: where a relay is seldom found closed the highest hundredth of those is a clamp's noise.
    """
    highest = float(np.partition(amps, -_SLIPS)[-_SLIPS])
    flowing = amps[amps > _NO_CURRENT * highest]
    return quantile(flowing, _TOP) if highest > _LEAST_A else 0.0


def full_current(log: FiringLog, grid: Grid, drive: Drive, volts: float | None) -> Estimate | None:
    """Log of the amps with every circuit closed (at ``volts`` where volts are logged); None where they cannot be told.

    All lines together. One line of a three-phase supply tells of two thirds of the circuits and not by how much, so
    a single column is used only of a kiln on one phase: the caller says so by calling.
    """
    if log.amps is None:
        return None
    amps: FloatArray = log.amps.sum(axis=1)
    if log.volts is not None and volts:
        amps = amps * (volts / np.where(log.volts > 0.0, log.volts, np.nan))
    known: BoolArray = np.isfinite(amps)
    bins = np.minimum((log.elapsed_s / grid.step_s).astype(np.intp), grid.mid_s.size - 1)
    together: BoolArray = known.copy()
    if log.output is not None:
        # while one zone waits what flows is the others' alone
        asked = log.output if log.output_kind == "on-off" else drive.output[bins]
        together &= np.all(asked > _FAIR_OUTPUT, axis=1)
    if np.count_nonzero(together) < _FEWEST_READINGS:
        return None
    top = _top(amps[together])
    if top <= 0.0:
        return None
    flowing = together & (amps > _NO_CURRENT * top)
    near = flowing & (amps > _NEAR_TOP * top)
    count = np.count_nonzero(near)
    if count > max(_ON_THE_TOP * np.count_nonzero(flowing), _FEWEST_READINGS) or _stands_apart(amps[flowing], top):
        return _middle(amps[near])
    if log.output is not None:
        if log.output_kind == "duty":
            return _by_output(amps, known, bins, drive.output)
        return _by_time_on(amps[known & (bins < drive.end)], log.output[known & (bins < drive.end)])
    at_full = known & np.all(drive.full, axis=1)[bins]
    if np.count_nonzero(at_full) < _FEWEST_READINGS or median(amps[at_full]) < _NEAR_TOP * top:
        # nothing carries more than full output: then it was none
        return None
    return _middle(amps[at_full])


def _stands_apart(flowing: FloatArray, top: float) -> bool:
    """Whether readings at moments show the current of everything closed among those of single circuits.

    A zone that has lost power is always on, the others now and then: most readings are then of it alone. A mean over
    time would fill the room below the highest.
    """
    near = np.count_nonzero(flowing > _NEAR_TOP * top)
    below = np.count_nonzero((flowing > _BELOW_TOP * top) & (flowing <= _NEAR_TOP * top))
    return bool(near > max(_SEEN_NOW_AND_THEN * flowing.size, _FEWEST_READINGS) and below < _NEARLY_EMPTY * near)


def _middle(amps: FloatArray) -> Estimate | None:
    """Log of the median with its error."""
    middle = median(amps)
    if middle <= 0.0:
        return None
    spread = 1.4826 * median(np.abs(amps - middle)) / middle
    return Estimate(float(np.log(middle)), float(np.hypot(spread / np.sqrt(amps.size), _LEAST_ERROR)))


def _by_output(amps: FloatArray, known: BoolArray, bins: np.ndarray, output: FloatArray) -> Estimate | None:
    """Log of the current at full output from its mean in each bin over the zones' outputs there (least squares)."""
    count = np.bincount(bins[known], minlength=output.shape[0])
    means = np.bincount(bins[known], amps[known], minlength=output.shape[0]) / np.maximum(count, 1)
    use = (count > 0) & np.isfinite(output).all(axis=1) & (output.mean(axis=1) > _SMALL_OUTPUT)
    if np.count_nonzero(use) < _FEWEST_READINGS:
        return None
    rows, seen = output[use], means[use]
    normal = rows.T @ rows
    normal += 1e-3 * float(np.trace(normal)) / normal.shape[0] * np.eye(normal.shape[0])
    by_zone = np.linalg.solve(normal, rows.T @ seen)
    total = float(by_zone.sum())
    if total <= 0.0:
        return None
    scatter = float(np.sqrt(np.mean((seen - rows @ by_zone) ** 2)))
    ones = np.ones(normal.shape[0])
    error = scatter * float(np.sqrt(ones @ np.linalg.solve(normal, ones))) / total
    return Estimate(float(np.log(total)), float(np.hypot(error, _LEAST_ERROR))) if error < _WORST_FIT else None


def _by_time_on(amps: FloatArray, on: FloatArray) -> Estimate | None:
    """Log of the current at full output as mean amps over the share of moments at which the relays were closed.

    Only while the zones are closed for about as long: which zone draws how much is not known.
    """
    if amps.size < _FEWEST_READINGS:
        return None
    shares = np.nanmean(on, axis=0)
    if float(shares.min()) < _ALIKE_CLOSED * float(shares.max()):
        return None
    share = float(shares.mean())
    mean = float(amps.mean())
    if share <= _SMALL_OUTPUT or mean <= 0.0:
        return None
    error = _COUNTING * float(np.sqrt((1.0 - share) / (share * on.size)))
    return Estimate(float(np.log(mean / share)), float(np.hypot(error, _LEAST_ERROR)))

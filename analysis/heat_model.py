"""How one firing's heat balance depends on the kiln's state (``analysis.state_vector``): what the filter inverts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.balance import HeatMoments, KeptPace, ZoneMoments
from analysis.grid import FloatArray
from analysis.state_vector import Layout, whole_powers

LOAD_SLOPE = 0.02
"""A heavier load hides a little of its own heat in the wall's term (it warms late, like the brick): A seems to grow
by 2 % where the load's heat capacity doubles or so. The same in every kiln tried, within a third."""

INDEPENDENT_BLOCKS = 1.5
"""Errors of the balance last: a leaning ware stack or a wrong brick constant bends it for about an hour, so
neighbouring ten-minute blocks count as two for three."""

_ZONE_SHIFT = 0.045
"""How far one zone's share of the work shifts from firing to firing with the stacking of the load (log): in kilns with
logged output one zone's share against the mean shifts by 0.025 to 0.065."""

_ZONE_WORTH = 0.3
"""How far the worth of one zone's output may shift against another's within a firing (log): zones trade heat by
radiation and their programmes lag each other, which no balance of the whole kiln resolves."""

_THROUGH_GAPS = 0.03
"""How much of the rated power kilns lose through gaps differently from each other at 1200 deg C: a tenth of what a
usual wall conducts (`analysis.beliefs`). What only more than that would explain is noise of the firing."""


def _roots(matrix: FloatArray) -> FloatArray:
    """Rows R with R' R = ``matrix`` (symmetric, positive but for rounding)."""
    values, vectors = np.linalg.eigh(matrix)
    keep = values > 1e-9 * max(float(values[-1]), 1e-30)
    rows: FloatArray = (vectors[:, keep] * np.sqrt(values[keep])).T
    return rows


def _without_flows(matrix: FloatArray, powers: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the heat flows' own block, their best coefficients given the powers, and the form left of the powers."""
    flows = matrix[powers:, powers:].copy()
    flows.reshape(-1)[:: flows.shape[0] + 1] += 1e-9 * float(flows.diagonal().sum()) + 1e-12  # no flow: still cold
    along: FloatArray = np.asarray(np.linalg.solve(flows, matrix[powers:, :powers]), dtype=np.float64)
    left: FloatArray = matrix[:powers, :powers] - matrix[:powers, powers:] @ along
    left.reshape(-1)[:: powers + 1] += 1e-9 * float(matrix.diagonal().sum())
    return flows, along, left


def _least(form: FloatArray) -> float:
    """Return the least of a quadratic form of the powers over those that sum to one."""
    ones = np.ones(form.shape[0])
    return float(form[0, 0]) if form.shape[0] == 1 else 1.0 / float(ones @ np.linalg.solve(form, ones))


def _rows_of(matrix: FloatArray, powers: int, blocks: int, left: float = 0.0) -> FloatArray:
    """Rows that say what a quadratic form of residuals tells of its parameters, and nothing else.

    ``matrix`` = sum(w v v') with v = (outputs..., heat flows...), ``powers`` outputs first, then the flows into the
    wall, into the load and through gaps. Completing the square in the heat flows' coefficients leaves their estimate
    given the powers, and a form S of the powers alone; of that the part no choice of powers can remove,
    floor = min theta' S theta over sum(theta) = 1, is noise and is taken out. The noise sets the scale of the errors
    (per block, never below one, the expected error); for that what goes through gaps is held to what kilns lose so.
    ``left`` is noise that was taken out of the matrix before, for a first flow of coefficient 1.
    """
    flows, along, form = _without_flows(matrix, powers)
    ones = np.ones(powers)
    floor = _least(form)
    held = matrix.copy()
    held[powers + 2, powers + 2] += 1.0 / _THROUGH_GAPS**2
    noise = _least(_without_flows(held, powers)[2]) + left * float(along[0].mean()) ** 2
    scale = max(1.0, noise / max(blocks - matrix.shape[0] + 1, 1)) * INDEPENDENT_BLOCKS
    upper = np.linalg.cholesky(flows / scale).T
    given_powers = np.empty((flows.shape[0], matrix.shape[0]))
    given_powers[:, :powers], given_powers[:, powers:] = upper @ along, upper
    if powers == 1:
        return given_powers
    of_powers = _roots((form - floor * np.outer(ones, ones)) / scale)
    return np.vstack((given_powers, np.hstack((of_powers, np.zeros((of_powers.shape[0], flows.shape[0]))))))


def heat_rows(heat: HeatMoments, shares: FloatArray) -> FloatArray | None:
    """Turn a firing's moments into rows of unit variance over (P_1 .. P_z, -A, -C, -A gaps); None if no heat was given.

    What each zone's output is worth may shift a little from the others' (``_ZONE_WORTH``): integrated out first, like
    any unknown of a quadratic form.
    """
    matrix = heat.matrix()
    zones = heat.zones
    if float(matrix.diagonal()[:zones].sum()) <= 0.0:
        return None
    if zones > 1:
        contrasts = np.zeros((zones + 3, zones))
        contrasts[:zones] = np.diag(shares) - np.outer(shares, shares)
        along = matrix @ contrasts
        matrix = matrix - along @ np.linalg.solve(contrasts.T @ along + np.eye(zones) / _ZONE_WORTH**2, along.T)
    return _rows_of(matrix, zones, heat.blocks, heat.cooling_left)


def zone_rows(heat: ZoneMoments) -> FloatArray:
    """Rows of one zone's own balance over (P, -A, -C, -A gaps, -exchange); its worth shifts by ``_ZONE_SHIFT``."""
    matrix = heat.matrix()
    along = matrix[:, 0]
    matrix = matrix - np.outer(along, along) / (along[0] + 1.0 / _ZONE_SHIFT**2)
    return _rows_of(matrix, 1, heat.blocks)


@dataclass(frozen=True, slots=True, eq=False)
class Blur:
    """How much wider than usual the errors of a firing's rows are taken for each of m states.

    ``every`` (m,) is a factor for all rows, ``shares`` (m,) one more for those of the zones' shares. The current is
    widened by the cube of ``every``: where a log is taken to be odd its amps are as good as not told.
    """

    every: FloatArray
    shares: FloatArray


@dataclass(frozen=True, slots=True)
class Current:
    """The current with everything closed in one firing: its log, its error, and the supply's share in it.

    ``of_supply`` is 1/2 where no volts are logged (current goes with the volts, power with their square), else 0.
    """

    log_amps: float
    error: float
    of_supply: float


class FiringModel:
    """What one firing shows, as a function of the few entries of the state it depends on.

    Parameters
    ----------
    slot : the programme's slot.  shares : zones' shares of rated power.
    whole : rows of the whole kiln's heat balance (``heat_rows``), or None.
    log_shares : (z,) logs of the zones' mean output while they run together, less their mean, or None; a zone that
        must do the same work with less power runs longer.  share_error : their standard error.
    by_zone : rows of single zones' balances (``zone_rows``), or None for each.
    current : what the logged amps say, or None.
    output_is_data : True if the outputs are what was measured (logged); False if they are inferred and the
        temperatures are the data.

    Attributes
    ----------
    active : indices in the augmented state vector on which the rows depend.
    """

    def __init__(
        self,
        layout: Layout,
        slot: int,
        shares: FloatArray,
        whole: FloatArray | None,
        log_shares: FloatArray | None,
        share_error: float,
        by_zone: Sequence[FloatArray | None] = (),
        current: Current | None = None,
        *,
        output_is_data: bool = True,
    ) -> None:
        zones = layout.zones
        self._output_is_data = output_is_data
        self._zones, self._whole = zones, whole
        self._parts = shares
        self._by_zone = tuple(by_zone) if any(rows is not None for rows in by_zone) else ()
        at = [*range(zones), layout.wall, layout.capacity, layout.slow_supply]
        at += [layout.wall_offset + slot, layout.capacity_offset + slot, layout.supply, layout.load, layout.gaps]
        if log_shares is not None or self._by_zone:
            at += range(layout.share, layout.share + zones)
        self._current, self._at_current = current, len(at)
        if current is not None:
            at.append(layout.current)
        if self._by_zone:
            at.append(layout.exchange)
        self._log_shares: FloatArray | None = None
        self._share_rows: FloatArray | None = None
        if log_shares is not None:
            centre = (np.eye(zones) - 1.0 / zones) / share_error
            spare = np.zeros((zones, len(at) - 2 * zones - 8))
            self._share_rows = np.hstack((centre, np.zeros((zones, 8)), -centre, spare))
            self._log_shares = log_shares / share_error
        self.active = np.asarray(at)
        told = [rows for rows in (whole, self._share_rows, *self._by_zone) if rows is not None]
        self._count = sum(rows.shape[0] for rows in told) + int(current is not None)

    @property
    def empty(self) -> bool:
        """True if the firing shows nothing of the state."""
        return not self._count

    @property
    def tells_volts(self) -> bool:
        """True if a current without volts is logged: beside the heat it tells a poor supply from lost elements."""
        return self._current is not None and self._current.of_supply > 0.0

    def worth(self, starts: FloatArray) -> FloatArray:
        """Return the zones' powers over those as new (m, z) at m states' active entries ``starts`` (m, len(active))."""
        powers: FloatArray = np.exp(starts[:, : self._zones])
        return powers

    def rows(self, states: FloatArray, worth: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals (m, r) of unit variance at the active entries of m ``states`` and Jacobians (m, r, len(active)).

        The balance divided by the power, sum(w_z p_z u_z) / P - (A / P) (q + gaps g) - (C / P) dT/dt = 0: so no power
        is favoured for making every residual small. Errors are shares of the rated power; divided by P they grow as
        it falls, which is taken from ``worth`` (m, z), the powers expected before this firing.
        """
        zones = self._zones
        flows = states[:, zones : zones + 7] @ _BY_FLOWS.T
        gaps = states[:, zones + 7]
        residual = np.empty((states.shape[0], self._count))
        jacobian = np.zeros((states.shape[0], self._count, states.shape[1]))
        row = 0
        if self._whole is not None:
            row = self._whole.shape[0]
            parts = self._parts * np.exp(states[:, :zones])
            factors = np.empty((states.shape[0], zones + 3))
            factors[:, :zones], factors[:, zones : zones + 2] = parts, -np.exp(flows)
            factors[:, -1] = factors[:, zones] * gaps
            factors /= parts.sum(axis=1, keepdims=True)
            scale = (worth @ self._parts)[:, None]
            terms = self._whole * (factors * scale)[:, None, :]
            residual[:, :row] = terms.sum(axis=2)
            # every term is a ratio to the power: as a zone's power grows so does its own, and all of them shrink
            jacobian[:, :row, :zones] = terms[:, :, :zones] - residual[:, :row, None] * factors[:, None, :zones]
            jacobian[:, :row, zones : zones + 7] = terms[:, :, zones:] @ _BY_FLOWS_AND_GAP
            jacobian[:, :row, zones + 7] = self._whole[:, -1] * (factors[:, zones, None] * scale)
        if self._share_rows is not None and self._log_shares is not None:
            part = slice(row, row + zones)
            residual[:, part] = self._log_shares + states @ self._share_rows.T
            jacobian[:, part] = self._share_rows
            row += zones
        for zone, of_zone in enumerate(self._by_zone):
            if of_zone is not None:
                part = slice(row, row + of_zone.shape[0])
                row = part.stop
                at, power = zones + 8 + zone, states[:, zone, None]
                flow = -np.exp(flows + states[:, at, None] - power)
                lent = -np.exp(-power)
                through = flow[:, :1] * gaps[:, None]
                factors = np.hstack((np.ones_like(power), flow, through, lent * states[:, -1:])) * worth[:, zone, None]
                terms = of_zone * factors[:, None, :]
                residual[:, part] = terms.sum(axis=2)
                jacobian[:, part, zones : zones + 7] = terms[:, :, 1:4] @ _BY_FLOWS_AND_GAP
                jacobian[:, part, zones + 7] = of_zone[:, 3] * (flow[:, :1] * worth[:, zone, None])
                jacobian[:, part, zone] = terms[:, :, 0] - residual[:, part]
                jacobian[:, part, at] = terms[:, :, 1] + terms[:, :, 2] + terms[:, :, 3]
                jacobian[:, part, -1] = of_zone[:, 4] * (lent * worth[:, zone, None])
        if self._current is not None:
            parts = self._parts * np.exp(states[:, :zones])
            whole = parts.sum(axis=1)
            at_supply, told = zones + 2, self._current
            carried = np.log(whole) + told.of_supply * states[:, at_supply] + states[:, self._at_current]
            residual[:, -1] = (carried - told.log_amps) / told.error
            jacobian[:, -1, :zones] = parts / (whole[:, None] * told.error)
            jacobian[:, -1, at_supply] = told.of_supply / told.error
            jacobian[:, -1, self._at_current] = 1.0 / told.error
        return residual, jacobian

    def accuracy(self, blur: Blur) -> FloatArray:
        """One over the factor (m, r) by which each row's error is wider than its own."""
        accuracy: FloatArray = np.repeat(1.0 / blur.every[:, None], self._count, axis=1)
        if self._share_rows is not None:
            row = 0 if self._whole is None else self._whole.shape[0]
            accuracy[:, row : row + self._zones] /= blur.shares[:, None]
        if self._current is not None:
            accuracy[:, -1] /= blur.every**2
        return accuracy

    def log_volumes(self, worth: FloatArray, blur: Blur) -> FloatArray:
        """Logs (m,) of the change of volume from data to residuals: errors grow where power is expected to be low.

        Only where outputs are the data: an inferred output is known, and the temperatures' errors do not depend on it.
        Plus whatever ``blur`` widens (the rows of the shares say one thing less than they are: shares sum to one).
        """
        volumes: FloatArray = -np.log(blur.every) * self._count
        if self._share_rows is not None:
            volumes -= np.log(blur.shares) * (self._zones - 1)
        if self._current is not None:
            volumes -= 2.0 * np.log(blur.every)
        if self._output_is_data and self._whole is not None:
            volumes += self._whole.shape[0] * np.log(worth @ self._parts)
        return volumes


# ln A and ln C as felt in one firing, by (A, C, slow supply, offset in A, offset in C, day's supply, day's load): a
# better supply makes both look smaller, as they are measured in outputs
_BY_FLOWS = np.array([[1.0, 0.0, -1.0, 1.0, LOAD_SLOPE, -1.0, LOAD_SLOPE], [0.0, 1.0, -1.0, 0.0, 1.0, -1.0, 1.0]])
_BY_FLOWS_AND_GAP = np.vstack((_BY_FLOWS, _BY_FLOWS[:1]))


def kept_margins(
    layout: Layout, states: FloatArray, slot: int, shares: FloatArray, kept: KeptPace
) -> tuple[FloatArray, FloatArray]:
    """Margin of the full power over what the hardest kept half hour asked for (m,), log, with gradients (m, n)."""
    wholes, by_zone = whole_powers(layout, states, shares)
    at_wall, at_capacity = layout.wall_offset + slot, layout.capacity_offset + slot
    extra = states[:, at_capacity] + states[:, layout.load]
    conducted = np.exp(states[:, layout.wall] + states[:, at_wall] + LOAD_SLOPE * extra)
    wall = conducted * (kept.flux + kept.through_gaps * states[:, layout.gaps])
    capacity = kept.rate * np.exp(states[:, layout.capacity] + extra)
    asked = np.maximum(wall + capacity, 1e-3)
    gradients = np.zeros(states.shape)
    gradients[:, : layout.zones] = by_zone
    gradients[:, layout.slow_supply] = gradients[:, layout.supply] = 1.0
    gradients[:, layout.wall] = gradients[:, at_wall] = -wall / asked
    gradients[:, layout.gaps] = -conducted * kept.through_gaps / asked
    gradients[:, layout.capacity] = -capacity / asked
    gradients[:, at_capacity] = gradients[:, layout.load] = -(LOAD_SLOPE * wall + capacity) / asked
    return wholes + states[:, layout.slow_supply] + states[:, layout.supply] - np.log(asked), gradients

"""How one firing's heat balance depends on the kiln's hidden state: the equation the filter inverts.

The state vector of a kiln with z zones, all natural logarithms:

    0 .. z-1    power of each zone over its power as first seen
    z           drift: change of every zone's power per firing
    z+1         conductance A of the wall, in units of the rated power per 1000 deg C of ``flux``
    z+2         heat capacity C of a usual load, in units of the rated power per 100 deg C per hour
    z+3         reference: mean of the whole kiln's log power over its reference firings
    z+4         slow part of the supply: seasons, a new neighbour on the same transformer
    z+5         exchange of heat between zones, in units of the rated power per 100 deg C
    z+6         current with everything closed, as first seen (log of amps)
    z+7 ..      share of work of each zone (z entries), then for each programme seen its offset in A, then in C

and, for one firing only, the day's supply and the day's load (both log).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import exp, log

import numpy as np

from analysis.balance import HeatMoments, KeptPace, ZoneMoments
from analysis.grid import FloatArray

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


@dataclass(frozen=True)
class Layout:
    """Where each quantity stands in the state vector of a kiln with ``zones`` zones and ``slots`` programme slots."""

    zones: int
    slots: int

    @cached_property
    def drift(self) -> int:
        """Index of the drift."""
        return self.zones

    @cached_property
    def wall(self) -> int:
        """Index of the wall's conductance."""
        return self.zones + 1

    @cached_property
    def capacity(self) -> int:
        """Index of the heat capacity."""
        return self.zones + 2

    @cached_property
    def reference(self) -> int:
        """Index of the reference."""
        return self.zones + 3

    @cached_property
    def share(self) -> int:
        """First index of the zones' shares of work."""
        return self.zones + 7

    @cached_property
    def exchange(self) -> int:
        """Index of the exchange between zones (not a logarithm)."""
        return self.zones + 5

    @cached_property
    def current(self) -> int:
        """Index of the current with everything closed."""
        return self.zones + 6

    @cached_property
    def slow_supply(self) -> int:
        """Index of the slow part of the supply."""
        return self.zones + 4

    @cached_property
    def wall_offset(self) -> int:
        """First index of the programmes' offsets in the wall's conductance."""
        return 2 * self.zones + 7

    @cached_property
    def capacity_offset(self) -> int:
        """First index of the programmes' offsets in heat capacity."""
        return self.wall_offset + self.slots

    @cached_property
    def size(self) -> int:
        """Length of the state vector."""
        return self.capacity_offset + self.slots

    @cached_property
    def supply(self) -> int:
        """Index of the day's supply in the vector augmented for one firing."""
        return self.size

    @cached_property
    def load(self) -> int:
        """Index of the day's load in the augmented vector."""
        return self.size + 1


@lru_cache(maxsize=64)
def layout_of(zones: int, slots: int) -> Layout:
    """Return the layout of a state; one of each is enough, as it only says where things stand."""
    return Layout(zones, slots)


def whole_power(layout: Layout, mean: FloatArray, shares: FloatArray) -> tuple[float, FloatArray]:
    """Log of the whole kiln's power over that as first seen, and its gradient with respect to the zones' logs."""
    parts = [share * exp(at) for share, at in zip(shares.tolist(), mean[: layout.zones].tolist(), strict=True)]
    total = sum(parts)
    return log(total), np.array([part / total for part in parts])


def log_power(zones: Sequence[float], shares: FloatArray) -> float:
    """The same log from the zones' logs alone (a few numbers: arrays would take longer)."""
    return log(sum(share * exp(at) for share, at in zip(shares.tolist(), zones, strict=True)))


def whole_powers(layout: Layout, means: FloatArray, shares: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same for m states at once (m, n): logs (m,) and gradients (m, z)."""
    parts = shares * np.exp(means[:, : layout.zones])
    total = parts.sum(axis=1, keepdims=True)
    return np.log(total[:, 0]), parts / total


def _roots(matrix: FloatArray) -> FloatArray:
    """Rows R with R' R = ``matrix`` (symmetric, positive but for rounding)."""
    values, vectors = np.linalg.eigh(matrix)
    keep = values > 1e-9 * max(float(values[-1]), 1e-30)
    rows: FloatArray = (vectors[:, keep] * np.sqrt(values[keep])).T
    return rows


def _rows_of(matrix: FloatArray, powers: int, blocks: int, left: float = 0.0) -> FloatArray:
    """Rows that say what a quadratic form of residuals tells of its parameters, and nothing else.

    ``matrix`` = sum(w v v') with v = (outputs..., heat flows...), ``powers`` outputs first. Completing the square in
    the heat flows' coefficients leaves their estimate given the powers, and a form S of the powers alone; of that the
    part no choice of powers can remove, floor = min theta' S theta over sum(theta) = 1, is noise: it sets the scale of
    the errors (per block, never below one, the expected error) and is taken out. ``left`` is noise that was taken out
    of the matrix before, for a first flow of coefficient 1.
    """
    flows = matrix[powers:, powers:].copy()
    flows.reshape(-1)[:: flows.shape[0] + 1] += 1e-9 * float(flows.diagonal().sum()) + 1e-12  # no flow: still cold
    along = np.linalg.solve(flows, matrix[powers:, :powers])
    schur = matrix[:powers, :powers] - matrix[:powers, powers:] @ along
    schur.reshape(-1)[:: powers + 1] += 1e-9 * float(matrix.diagonal().sum())
    ones = np.ones(powers)
    floor = float(schur[0, 0]) if powers == 1 else 1.0 / float(ones @ np.linalg.solve(schur, ones))
    noise = floor + left * float(along[0].mean()) ** 2
    scale = max(1.0, noise / max(blocks - matrix.shape[0] + 1, 1)) * INDEPENDENT_BLOCKS
    upper = np.linalg.cholesky(flows / scale).T
    given_powers = np.empty((flows.shape[0], matrix.shape[0]))
    given_powers[:, :powers], given_powers[:, powers:] = upper @ along, upper
    if powers == 1:
        return given_powers
    of_powers = _roots((schur - floor * np.outer(ones, ones)) / scale)
    return np.vstack((given_powers, np.hstack((of_powers, np.zeros((of_powers.shape[0], flows.shape[0]))))))


def heat_rows(heat: HeatMoments, shares: FloatArray) -> FloatArray | None:
    """Turn a firing's moments into rows of unit variance over (P_1 .. P_z, -A, -C); None where no heat was given.

    What each zone's output is worth may shift a little from the others' (``_ZONE_WORTH``): integrated out first, like
    any unknown of a quadratic form.
    """
    matrix = heat.matrix()
    zones = heat.zones
    if float(matrix.diagonal()[:zones].sum()) <= 0.0:
        return None
    if zones > 1:
        contrasts = np.zeros((zones + 2, zones))
        contrasts[:zones] = np.diag(shares) - np.outer(shares, shares)
        along = matrix @ contrasts
        matrix = matrix - along @ np.linalg.solve(contrasts.T @ along + np.eye(zones) / _ZONE_WORTH**2, along.T)
    return _rows_of(matrix, zones, heat.blocks, heat.cooling_left)


def zone_rows(heat: ZoneMoments) -> FloatArray:
    """Rows of one zone's own balance over (P, -A, -C, -exchange); its worth shifts by ``_ZONE_SHIFT`` each firing."""
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
        at += [layout.wall_offset + slot, layout.capacity_offset + slot, layout.supply, layout.load]
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
            spare = np.zeros((zones, len(at) - 2 * zones - 7))
            self._share_rows = np.hstack((centre, np.zeros((zones, 7)), -centre, spare))
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

        The balance divided by the power, sum(w_z p_z u_z) / P - (A / P) q - (C / P) dT/dt = 0: so no power is favoured
        for making every residual small. Errors are shares of the rated power; divided by P they grow as it falls,
        which is taken from ``worth`` (m, z), the powers expected before this firing.
        """
        zones = self._zones
        flows = states[:, zones : zones + 7] @ _BY_FLOWS.T
        residual = np.empty((states.shape[0], self._count))
        jacobian = np.zeros((states.shape[0], self._count, states.shape[1]))
        row = 0
        if self._whole is not None:
            row = self._whole.shape[0]
            parts = self._parts * np.exp(states[:, :zones])
            factors = np.empty((states.shape[0], zones + 2))
            factors[:, :zones], factors[:, zones:] = parts, -np.exp(flows)
            factors /= parts.sum(axis=1, keepdims=True)
            terms = self._whole * (factors * (worth @ self._parts)[:, None])[:, None, :]
            residual[:, :row] = terms.sum(axis=2)
            # every term is a ratio to the power: as a zone's power grows so does its own, and all of them shrink
            jacobian[:, :row, :zones] = terms[:, :, :zones] - residual[:, :row, None] * factors[:, None, :zones]
            jacobian[:, :row, zones : zones + 7] = terms[:, :, zones:] @ _BY_FLOWS
        if self._share_rows is not None and self._log_shares is not None:
            part = slice(row, row + zones)
            residual[:, part] = self._log_shares + states @ self._share_rows.T
            jacobian[:, part] = self._share_rows
            row += zones
        for zone, of_zone in enumerate(self._by_zone):
            if of_zone is not None:
                part = slice(row, row + of_zone.shape[0])
                row = part.stop
                at, power = zones + 7 + zone, states[:, zone, None]
                flow = -np.exp(flows + states[:, at, None] - power)
                lent = -np.exp(-power)
                factors = np.hstack((np.ones_like(power), flow, lent * states[:, -1:])) * worth[:, zone, None]
                terms = of_zone * factors[:, None, :]
                residual[:, part] = terms.sum(axis=2)
                jacobian[:, part, zones : zones + 7] = terms[:, :, 1:3] @ _BY_FLOWS
                jacobian[:, part, zone] = terms[:, :, 0] - residual[:, part]
                jacobian[:, part, at] = terms[:, :, 1] + terms[:, :, 2]
                jacobian[:, part, -1] = of_zone[:, 3] * (lent * worth[:, zone, None])
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


def kept_margins(
    layout: Layout, states: FloatArray, slot: int, shares: FloatArray, kept: KeptPace
) -> tuple[FloatArray, FloatArray]:
    """Margin of the full power over what the hardest kept half hour asked for (m,), log, with gradients (m, n)."""
    wholes, by_zone = whole_powers(layout, states, shares)
    at_wall, at_capacity = layout.wall_offset + slot, layout.capacity_offset + slot
    extra = states[:, at_capacity] + states[:, layout.load]
    wall = kept.flux * np.exp(states[:, layout.wall] + states[:, at_wall] + LOAD_SLOPE * extra)
    capacity = kept.rate * np.exp(states[:, layout.capacity] + extra)
    asked = np.maximum(wall + capacity, 1e-3)
    gradients = np.zeros(states.shape)
    gradients[:, : layout.zones] = by_zone
    gradients[:, layout.slow_supply] = gradients[:, layout.supply] = 1.0
    gradients[:, layout.wall] = gradients[:, at_wall] = -wall / asked
    gradients[:, layout.capacity] = -capacity / asked
    gradients[:, at_capacity] = gradients[:, layout.load] = -(LOAD_SLOPE * wall + capacity) / asked
    return wholes + states[:, layout.slow_supply] + states[:, layout.supply] - np.log(asked), gradients

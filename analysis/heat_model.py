"""How one firing's heat balance depends on the kiln's hidden state: the equation the filter inverts.

The state vector of a kiln with z zones, all natural logarithms:

    0 .. z-1    power of each zone over its power as first seen
    z           drift: change of every zone's power per firing
    z+1         conductance A of the wall, in units of the rated power per 1000 deg C of ``flux``
    z+2         heat capacity C of a usual load, in units of the rated power per 100 deg C per hour
    z+3         reference: mean of the whole kiln's log power over its reference firings
    z+4         slow part of the supply: seasons, a new neighbour on the same transformer
    z+5         exchange of heat between zones, in units of the rated power per 100 deg C
    z+6 ..      share of work of each zone (z entries), then for each programme slot its offset in A, then in C

and, for one firing only, the day's supply and the day's load (both log).
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from analysis.balance import HeatMoments, KeptPace, ZoneMoments
from analysis.grid import FloatArray
from analysis.programmes import MOST_PROGRAMMES

LOAD_SLOPE = 0.02
"""A heavier load hides a little of its own heat in the wall's term (it warms late, like the brick): A seems to grow
by 2 % where the load's heat capacity doubles or so. The same in every kiln tried, within a third."""

INDEPENDENT_BLOCKS = 1.5
"""Errors of the balance last: a leaning ware stack or a wrong brick constant bends it for about an hour, so
neighbouring ten-minute blocks count as one in five."""


_ZONE_SHIFT = 0.04
"""How far one zone's share of the work shifts from firing to firing with the stacking of the load (log)."""

_ZONE_WORTH = 0.15
"""How far the worth of one zone's output may shift against another's within a firing (log): zones trade heat by
radiation and their programmes lag each other, which no balance of the whole kiln resolves."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each quantity stands in the state vector of a kiln with ``zones`` zones."""

    zones: int

    @property
    def drift(self) -> int:
        """Index of the drift."""
        return self.zones

    @property
    def wall(self) -> int:
        """Index of the wall's conductance."""
        return self.zones + 1

    @property
    def capacity(self) -> int:
        """Index of the heat capacity."""
        return self.zones + 2

    @property
    def reference(self) -> int:
        """Index of the reference."""
        return self.zones + 3

    @property
    def share(self) -> int:
        """First index of the zones' shares of work."""
        return self.zones + 6

    @property
    def exchange(self) -> int:
        """Index of the exchange between zones (not a logarithm)."""
        return self.zones + 5

    @property
    def slow_supply(self) -> int:
        """Index of the slow part of the supply."""
        return self.zones + 4

    @property
    def wall_offset(self) -> int:
        """First index of the programmes' offsets in the wall's conductance."""
        return 2 * self.zones + 6

    @property
    def capacity_offset(self) -> int:
        """First index of the programmes' offsets in heat capacity."""
        return self.wall_offset + MOST_PROGRAMMES

    @property
    def size(self) -> int:
        """Length of the state vector."""
        return self.capacity_offset + MOST_PROGRAMMES

    @property
    def supply(self) -> int:
        """Index of the day's supply in the vector augmented for one firing."""
        return self.size

    @property
    def load(self) -> int:
        """Index of the day's load in the augmented vector."""
        return self.size + 1


def whole_power(layout: Layout, mean: FloatArray, shares: FloatArray) -> tuple[float, FloatArray]:
    """Log of the whole kiln's power over that as first seen, and its gradient with respect to the zones' logs."""
    parts = shares * np.exp(mean[: layout.zones])
    total = float(parts.sum())
    return float(np.log(total)), parts / total


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """A firing's moments as rows: ``root`` (r, z + 2) with root' root = moments / scale.

    ``floor`` is the squared residual that no power, wall or load can remove: it says nothing of the state.
    """

    root: FloatArray
    floor: float


def factor_of(heat: HeatMoments, shares: FloatArray) -> Factor | None:
    """Turn moments into independent rows scaled by how well the balance holds in this firing.

    The best balance with the zones' powers free (their weighted sum being 1) leaves 1 / (e' M^-1 e), e being 1 for
    outputs and 0 for flux and rate: the minimum of a quadratic form on a plane. Per block that is the scale, never
    below one, the expected error; so a firing that fits badly counts for less. None where no heat was given.
    """
    matrix = heat.matrix()
    size = heat.zones + 2
    if float(np.trace(matrix[: heat.zones, : heat.zones])) <= 0.0:
        return None
    ones = np.zeros(size)
    ones[: heat.zones] = 1.0
    ridge = 1e-9 * float(np.trace(matrix)) * np.eye(size)
    residual = 1.0 / float(ones @ np.linalg.solve(matrix + ridge, ones))
    scale = max(1.0, residual / max(heat.blocks - size + 1, 1)) * INDEPENDENT_BLOCKS
    if heat.zones > 1:
        contrasts = np.zeros((size, heat.zones))
        contrasts[: heat.zones] = np.diag(shares) - np.outer(shares, shares)
        along = matrix @ contrasts / scale
        inner = contrasts.T @ along + np.eye(heat.zones) / _ZONE_WORTH**2
        matrix = matrix - scale * along @ np.linalg.solve(inner, along.T)
        residual = 1.0 / float(ones @ np.linalg.solve(matrix + ridge, ones))
    values, vectors = np.linalg.eigh(matrix / scale)
    keep = values > 1e-9 * values[-1]
    return Factor((vectors[:, keep] * np.sqrt(values[keep])).T, residual / scale)


def zone_factor_of(heat: ZoneMoments) -> Factor:
    """Rows of one zone's own balance: its worth may be off by ``_ZONE_SHIFT`` in this firing, integrated out."""
    matrix = heat.matrix()
    ones = np.array([1.0, 0.0, 0.0, 0.0])
    ridge = 1e-9 * float(np.trace(matrix)) * np.eye(4)
    residual = 1.0 / float(ones @ np.linalg.solve(matrix + ridge, ones))
    scale = max(1.0, residual / max(heat.blocks - 3, 1)) * INDEPENDENT_BLOCKS
    matrix = matrix / scale
    along = matrix[:, 0]
    matrix = matrix - np.outer(along, along) / (along[0] + 1.0 / _ZONE_SHIFT**2)
    values, vectors = np.linalg.eigh(matrix)
    keep = values > 1e-9 * values[-1]
    floor = 1.0 / float(ones @ np.linalg.solve(matrix + ridge / scale, ones))
    return Factor((vectors[:, keep] * np.sqrt(values[keep])).T, floor)


class FiringModel:
    """What one firing shows, as a function of the few entries of the state it depends on.

    Parameters
    ----------
    slot : the programme's slot.  shares : zones' shares of rated power.  factor : the heat balance, or None.
    log_shares : (z,) logs of the zones' mean output while they run together, less their mean, or None; a zone that
        must do the same work with less power runs longer.  share_error : their standard error.

    Attributes
    ----------
    active : indices in the augmented state vector on which the rows depend.
    floor : squared residual beyond any state's reach.
    """

    def __init__(
        self,
        layout: Layout,
        slot: int,
        shares: FloatArray,
        factor: Factor | None,
        log_shares: FloatArray | None,
        share_error: float,
        zone_factors: Sequence[Factor | None] = (),
    ) -> None:
        zones = layout.zones
        self._zones, self._shares, self._factor = zones, shares, factor
        self._zone_factors = tuple(zone_factors) if any(f is not None for f in zone_factors) else ()
        at = [*range(zones), layout.wall, layout.capacity, layout.slow_supply]
        at += [layout.wall_offset + slot, layout.capacity_offset + slot, layout.supply, layout.load]
        self._log_shares = log_shares
        self._share_rows: FloatArray | None = None
        if log_shares is not None or self._zone_factors:
            at += range(layout.share, layout.share + zones)
        if self._zone_factors:
            at.append(layout.exchange)
        if log_shares is not None:
            centre = (np.eye(zones) - 1.0 / zones) / share_error
            self._share_rows = np.hstack((centre, np.zeros((zones, 7)), -centre, np.zeros((zones, len(at) - 2 * zones - 7))))
            self._log_shares = log_shares / share_error
        self.active = np.asarray(at)
        self.floor = sum(f.floor for f in (factor, *self._zone_factors) if f is not None)
        # d ln(A/P) and d ln(C/P) by (A, C, slow supply, offset in A, offset in C, supply, load)
        self._by_wall = np.array([1.0, 0.0, -1.0, 1.0, LOAD_SLOPE, -1.0, LOAD_SLOPE])
        self._by_capacity = np.array([0.0, 1.0, -1.0, 0.0, 1.0, -1.0, 1.0])

    @property
    def empty(self) -> bool:
        """True if the firing shows nothing of the state."""
        return self._factor is None and self._share_rows is None and not self._zone_factors

    def rows(self, state: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals (r,) of unit variance at the active entries ``state`` and their Jacobian (r, len(active)).

        With everything divided by the whole power P: sum(w_z p_z u_z) / P - (A / P) q - (C / P) dT/dt = 0.
        """
        zones = self._zones
        residuals: list[FloatArray] = []
        jacobians: list[FloatArray] = []
        if self._factor is not None:
            parts = self._shares * np.exp(state[:zones])
            total = parts.sum()
            gradient = parts / total
            whole = float(np.log(total))
            others = state[zones : zones + 7]
            wall = float(np.exp(self._by_wall @ others - whole))
            capacity = float(np.exp(self._by_capacity @ others - whole))
            theta = np.append(gradient, (-wall, -capacity))
            slope = np.zeros((zones + 2, state.size))
            slope[:zones, :zones] = np.diag(gradient) - np.outer(gradient, gradient)
            slope[zones, :zones] = wall * gradient
            slope[zones, zones : zones + 7] = -wall * self._by_wall
            slope[zones + 1, :zones] = capacity * gradient
            slope[zones + 1, zones : zones + 7] = -capacity * self._by_capacity
            residuals.append(self._factor.root @ theta)
            jacobians.append(self._factor.root @ slope)
        if self._share_rows is not None and self._log_shares is not None:
            residuals.append(self._log_shares + self._share_rows @ state)
            jacobians.append(self._share_rows)
        for zone, factor in enumerate(self._zone_factors):
            if factor is not None:
                theta, slope = self._zone_theta(state, zone)
                residuals.append(factor.root @ theta)
                jacobians.append(factor.root @ slope)
        if len(residuals) == 1:
            return residuals[0], jacobians[0]
        return np.concatenate(residuals), np.concatenate(jacobians)

    def _zone_theta(self, state: FloatArray, zone: int) -> tuple[FloatArray, FloatArray]:
        """One zone's balance divided by its own power: 1 = its share of (A q + C dT/dt) + exchange."""
        zones = self._zones
        others = state[zones : zones + 7]
        at = zones + 7 + zone
        wall = float(np.exp(self._by_wall @ others + state[at] - state[zone]))
        capacity = float(np.exp(self._by_capacity @ others + state[at] - state[zone]))
        lent = float(np.exp(-state[zone]))
        exchange = float(state[-1]) * lent
        theta = np.array([1.0, -wall, -capacity, -exchange])
        slope = np.zeros((4, state.size))
        slope[1:, zone] = wall, capacity, exchange
        slope[1, zones : zones + 7] = -wall * self._by_wall
        slope[2, zones : zones + 7] = -capacity * self._by_capacity
        slope[1:3, at] = -wall, -capacity
        slope[3, -1] = -lent
        return theta, slope

    def blurred(self, scale: float) -> "FiringModel":
        """The same firing with every error larger by ``scale``."""
        other = copy(self)
        if self._factor is not None:
            other._factor = Factor(self._factor.root / scale, self._factor.floor / scale**2)
        other._zone_factors = tuple(
            None if f is None else Factor(f.root / scale, f.floor / scale**2) for f in self._zone_factors
        )
        other.floor = sum(f.floor for f in (other._factor, *other._zone_factors) if f is not None)
        if self._share_rows is not None and self._log_shares is not None:
            other._share_rows = self._share_rows / scale
            other._log_shares = self._log_shares / scale
        return other


def kept_margin(
    layout: Layout, state: FloatArray, slot: int, shares: FloatArray, kept: KeptPace
) -> tuple[float, FloatArray]:
    """Log of the full power over what the hardest kept half hour asked for, with its gradient (augmented state).

    The kiln did it below full output, so the margin is positive.
    """
    whole, by_zone = whole_power(layout, state, shares)
    extra = state[layout.capacity_offset + slot] + state[layout.load]
    wall = kept.flux * float(np.exp(state[layout.wall] + state[layout.wall_offset + slot] + LOAD_SLOPE * extra))
    capacity = kept.rate * float(np.exp(state[layout.capacity] + extra))
    asked = max(wall + capacity, 1e-3)
    gradient = np.zeros(state.size)
    gradient[: layout.zones] = by_zone
    gradient[[layout.slow_supply, layout.supply]] = 1.0
    gradient[[layout.wall, layout.wall_offset + slot]] = -wall / asked
    gradient[layout.capacity] = -capacity / asked
    gradient[[layout.capacity_offset + slot, layout.load]] = -(LOAD_SLOPE * wall + capacity) / asked
    return whole + float(state[layout.slow_supply] + state[layout.supply]) - float(np.log(asked)), gradient

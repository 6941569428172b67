"""Where each quantity of a kiln's hidden state stands, and the whole kiln's power in it.

The state vector of a kiln with z zones, all natural logarithms:

    0 .. z-1    power of each zone over its power as first seen
    z           drift: change of every zone's power per firing
    z+1         conductance A of the wall, in units of the rated power per 1000 deg C of ``flux``
    z+2         heat capacity C of a usual load, in units of the rated power per 100 deg C per hour
    z+3         reference: mean of the whole kiln's log power over its reference firings
    z+4         slow part of the supply: seasons, a new neighbour on the same transformer
    z+5         exchange of heat between zones, in units of the rated power per 100 deg C
    z+6         current with everything closed, as first seen (log of amps)
    z+7         heat radiated through gaps, as a share of what the wall conducts at 1200 deg C
    z+8 ..      share of work of each zone (z entries), then for each programme seen its offset in A, then in C

and, for one firing only, the day's supply and the day's load (both log).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import exp, log

import numpy as np

from analysis.grid import FloatArray


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
        return self.zones + 8

    @cached_property
    def gaps(self) -> int:
        """Index of the heat radiated through gaps (not a logarithm)."""
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
        return 2 * self.zones + 8

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

"""The kiln's body: brick with heat soaking in and out, the load, radiation between them, and what gets lost.

For each zone there is one load node and ``BRICK_NODES`` nodes through the wall, from the hot face to the shell.
Every step solves the linearised heat balance of all nodes at once (implicit Euler), which is stable however strong
radiation is at peak.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SIGMA = 5.670374e-8  # Stefan-Boltzmann, W/m2K4
KELVIN = 273.15
BRICK_NODES = 9

# Group 23 insulating brick (makers' data sheets): W/mK at the mean temperature, kg/m3, J/kgK.
BRICK_K_AT_C = np.array([20.0, 400.0, 600.0, 800.0, 1000.0, 1250.0])
BRICK_K = np.array([0.10, 0.13, 0.145, 0.17, 0.19, 0.22])
BRICK_DENSITY = 550.0
BRICK_CP = 1050.0

# Clay losing its bound water: 450 to 650 C, about 0.4 MJ for each kg of body with 40 % kaolinite (from memory).
WATER_FROM_C, WATER_TO_C, WATER_J_PER_KG = 450.0, 650.0, 0.4e6

WALL_SHARE = 0.45  # of an element's heat that goes to the groove around it, the rest shines on the load
WALL_VIEW = 0.40  # load to wall, emissivities and view together
NEIGHBOUR_VIEW = 0.15  # load to load of the next zone, past shelves
ELEMENT_EMISSIVITY = 0.7

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Body:
    """Geometry of a round kiln: metres, square metres. ``element_m2`` is the wire's surface in each zone."""

    inner_radius_m: float
    height_m: float
    brick_m: float
    zones: int
    element_m2: float
    opening_m2: float

    @property
    def end_m2(self) -> float:
        """Inner area of the lid, and of the floor."""
        return float(np.pi * self.inner_radius_m**2)

    def wall_m2(self) -> FloatArray:
        """Inner wall area of each zone, top first; the end zones carry the lid and the floor."""
        side = 2.0 * np.pi * self.inner_radius_m * self.height_m / self.zones
        area = np.full(self.zones, side)
        area[0] += self.end_m2
        area[-1] += self.end_m2
        return area


@dataclass(frozen=True, slots=True)
class Load:
    """What is in the kiln: kilograms of ware and of shelves and posts; raw ware still holds its bound water."""

    ware_kg: float
    furniture_kg: float
    raw: bool

    def heat_capacity(self, load_c: FloatArray, share: FloatArray) -> FloatArray:
        """Apparent heat capacity by zone in J/K. Specific heat rises from 0.85 to about 1.1 kJ/kgK (handbooks)."""
        specific = 850.0 + 0.2 * load_c
        capacity = (self.ware_kg + self.furniture_kg) * share * specific
        if self.raw:
            middle, width = 0.5 * (WATER_FROM_C + WATER_TO_C), (WATER_TO_C - WATER_FROM_C) / 4.0
            bell = np.exp(-0.5 * ((load_c - middle) / width) ** 2) / (width * np.sqrt(2.0 * np.pi))
            capacity = capacity + self.ware_kg * share * WATER_J_PER_KG * bell
        return capacity


class Chamber:
    """A kiln with its load, from ``start_c`` throughout. Temperatures in deg C, zones from the top."""

    def __init__(self, body: Body, load: Load, share: FloatArray, *, start_c: float, room_c: float) -> None:
        self.body, self.load, self.share, self.room_c = body, load, share, room_c
        self.load_c = np.full(body.zones, start_c)
        self.brick_c = np.full((body.zones, BRICK_NODES), start_c)
        self.element_c = np.full(body.zones, start_c)
        depth_m = np.linspace(0.0, body.brick_m, BRICK_NODES)
        self._dx_m = body.brick_m / (BRICK_NODES - 1)
        growth = 1.0 + depth_m / body.inner_radius_m  # a round wall grows outward
        self._area_m2 = body.wall_m2()[:, None] * growth[None, :]
        cells = np.ones(BRICK_NODES)
        cells[[0, -1]] = 0.5
        self._brick_j_per_k = BRICK_DENSITY * BRICK_CP * self._area_m2 * self._dx_m * cells
        nodes = body.zones * (BRICK_NODES + 1)
        self._load_at = np.arange(body.zones) * (BRICK_NODES + 1)
        self._brick_at = self._load_at[:, None] + 1 + np.arange(BRICK_NODES)[None, :]
        self._nodes = nodes

    def step(self, watts: FloatArray, seconds: float, *, venting_w_per_k: float = 0.0) -> None:
        """Let ``seconds`` pass with ``watts`` into each zone's elements."""
        matrix = np.zeros((self._nodes, self._nodes))
        right = np.zeros(self._nodes)
        load_at, brick_at = self._load_at, self._brick_at
        load_k, face_k = self.load_c + KELVIN, self.brick_c[:, 0] + KELVIN

        def couple(one: NDArray[np.int_], other: NDArray[np.int_], w_per_k: FloatArray) -> None:
            np.add.at(matrix, (one, one), w_per_k)
            np.add.at(matrix, (other, other), w_per_k)
            np.add.at(matrix, (one, other), -w_per_k)
            np.add.at(matrix, (other, one), -w_per_k)

        wall = WALL_VIEW * SIGMA * self.body.wall_m2() * (load_k**2 + face_k**2) * (load_k + face_k)
        couple(load_at, brick_at[:, 0], wall)
        if self.body.zones > 1:
            upper, lower = load_k[:-1], load_k[1:]
            between = NEIGHBOUR_VIEW * SIGMA * self.body.end_m2 * (upper**2 + lower**2) * (upper + lower)
            couple(load_at[:-1], load_at[1:], between)
        middle_c = 0.5 * (self.brick_c[:, :-1] + self.brick_c[:, 1:])
        conductance = np.interp(middle_c, BRICK_K_AT_C, BRICK_K) / self._dx_m
        conductance = conductance * 0.5 * (self._area_m2[:, :-1] + self._area_m2[:, 1:])
        couple(brick_at[:, :-1].ravel(), brick_at[:, 1:].ravel(), conductance.ravel())

        shell_k, room_k = self.brick_c[:, -1] + KELVIN, self.room_c + KELVIN
        outside = 6.0 + 0.8 * SIGMA * (shell_k**2 + room_k**2) * (shell_k + room_k)
        self._lose(matrix, right, brick_at[:, -1], outside * self._area_m2[:, -1])
        opening = self.body.opening_m2 * SIGMA * (load_k**2 + room_k**2) * (load_k + room_k)
        self._lose(matrix, right, load_at, opening + venting_w_per_k / self.body.zones)

        capacity = np.zeros(self._nodes)
        capacity[load_at] = self.load.heat_capacity(self.load_c, self.share)
        capacity[brick_at] = self._brick_j_per_k
        now = np.zeros(self._nodes)
        now[load_at], now[brick_at] = self.load_c, self.brick_c
        matrix[np.arange(self._nodes), np.arange(self._nodes)] += capacity / seconds
        right += capacity / seconds * now
        right[load_at] += (1.0 - WALL_SHARE) * watts
        right[brick_at[:, 0]] += WALL_SHARE * watts
        after = np.linalg.solve(matrix, right)
        self.load_c, self.brick_c = after[load_at], after[brick_at]
        self._heat_elements(watts)

    def _lose(self, matrix: FloatArray, right: FloatArray, at: NDArray[np.int_], w_per_k: FloatArray) -> None:
        matrix[at, at] += w_per_k
        right[at] += w_per_k * self.room_c

    def _heat_elements(self, watts: FloatArray) -> None:
        """Set the wire temperature at which it sheds ``watts`` by radiation (its own heat is negligible)."""
        around = 0.5 * ((self.load_c + KELVIN) ** 4 + (self.brick_c[:, 0] + KELVIN) ** 4)
        own = watts / (ELEMENT_EMISSIVITY * SIGMA * self.body.element_m2)
        self.element_c = (around + own) ** 0.25 - KELVIN

    def at_thermocouples_c(self) -> FloatArray:
        """What the thermocouple tips settle to: they see the wall, the load and a little of the elements."""
        fourth = (
            0.48 * (self.brick_c[:, 0] + KELVIN) ** 4
            + 0.49 * (self.load_c + KELVIN) ** 4
            + 0.03 * (self.element_c + KELVIN) ** 4
        )
        return np.asarray(fourth**0.25 - KELVIN)

"""A plain kiln for the tests of power: brick by finite differences, a proportional-integral controller, a programme.

Written apart from ``analysis`` (which uses the analytic response of a wall), so that it can judge it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pytest

from analysis.reading.firing_log import FiringLog

NODES = 10
ROOM_C = 20.0


@dataclass(frozen=True)
class TestKiln:
    """A kiln of ``zones`` alike zones; powers are shares of the rated power, heat in hours of it."""

    __test__ = False

    zones: int = 1
    wall: float = 0.30  # share of full power lost at a steady 1000 deg C through brick of constant conductivity
    capacity: float = 0.17  # share of full power that climbs the load 100 deg C per hour
    diffusion_per_s: float = 7.0e-5  # diffusivity over the square of the thickness
    rise_per_c: float = 1.2e-3


def simulate(
    kiln: TestKiln = TestKiln(),
    *,
    power: Sequence[float] = (1.0,),
    load: float = 1.0,
    leak: float = 1.0,
    gap: float = 0.0,
    ramps: Sequence[tuple[float, float, float]] = ((120.0, 600.0, 0.0), (160.0, 1100.0, 0.0), (60.0, 1200.0, 15.0)),
    cooling_h: float = 6.0,
    step_s: float = 20.0,
    every: int = 3,
    output: bool = True,
    set_point: bool = True,
    noise_c: float = 0.3,
    seed: int = 0,
    start_c: float = ROOM_C,
) -> FiringLog:
    """Fire a kiln along ``ramps`` (deg C per h, to deg C, hold in minutes) and log it every ``every`` steps.

    A ramp of a negative rate is a programmed cooling. ``leak`` multiplies what goes through the wall; through a ``gap``
    that share of the steady loss at 1000 deg C is radiated (the fourth power of the absolute temperature).
    One that starts at ``start_c`` above the room's temperature has a steady flux through its wall.
    """
    rng = np.random.default_rng(seed)
    powers = np.broadcast_to(np.asarray(power, dtype=float), (kiln.zones,)).copy()
    room_theta = ROOM_C + 0.5 * kiln.rise_per_c * ROOM_C**2
    spacing = 1.0 / NODES
    start_theta = start_c + 0.5 * kiln.rise_per_c * start_c**2
    depth = (np.arange(NODES) + 0.5) * spacing
    brick = np.tile(start_theta + (room_theta - start_theta) * depth, (kiln.zones, 1))
    temperature = np.full(kiln.zones, start_c)
    integral = np.zeros(kiln.zones)
    point, segment, hold, off_s = start_c, 0, 0.0, 0.0
    rows = []
    time = 0.0
    n = 0
    while off_s < cooling_h * 3600.0 and time < 40 * 3600.0:
        heating = segment < len(ramps)
        if heating:
            rate, target, minutes = ramps[segment]
            behind = point - temperature.min()
            if rate < 0.0 and point > target:
                point = max(target, point + rate * step_s / 3600.0)
            elif point < target:
                if behind < 15.0:
                    point = min(target, point + rate * step_s / 3600.0)
            elif rate < 0.0 or temperature.min() >= target - 3.0:
                hold += step_s
                if hold >= minutes * 60.0:
                    segment, hold = segment + 1, 0.0
            error = point - temperature
            # the integral waits while the output is at its stop, as in any controller
            asked = 0.15 * error + integral
            integral += np.where((asked > 0.0) & (asked < 1.0), 0.0006 * error * step_s, 0.0)
            duty = np.clip(0.15 * error + integral, 0.0, 1.0)
        else:
            duty = np.zeros(kiln.zones)
            off_s += step_s
        theta = temperature + 0.5 * kiln.rise_per_c * temperature**2
        padded = np.hstack((theta[:, None], brick, np.full((kiln.zones, 1), room_theta)))
        # half a cell to the faces, whole cells between nodes
        gaps = np.array([0.5, *([1.0] * (NODES - 1)), 0.5]) * spacing
        flow = -np.diff(padded, axis=1) / gaps
        brick = brick + kiln.diffusion_per_s * step_s * (flow[:, :-1] - flow[:, 1:]) / spacing
        lost = leak * kiln.wall / 1000.0 * flow[:, 0]
        lost += gap * kiln.wall * ((temperature + 273.15) / 1273.15) ** 4
        traded = 0.5 * (temperature.mean() - temperature) / 100.0
        temperature = temperature + (duty * powers - lost + traded) / (kiln.capacity * load) * 100.0 * step_s / 3600.0
        if n % every == 0:
            rows.append((time, *(temperature + rng.normal(0.0, noise_c, kiln.zones)), point, *duty))
        time += step_s
        n += 1
    table = np.array(rows)
    z = kiln.zones
    return FiringLog(
        elapsed_s=table[:, 0],
        zone_c=np.round(table[:, 1 : 1 + z], 1),
        set_point_c=np.repeat(table[:, 1 + z : 2 + z], z, axis=1) if set_point else None,
        output=np.round(table[:, 2 + z :], 2) if output else None,
        zone_names=tuple(str(n + 1) for n in range(z)),
        output_kind="duty" if output else None,
    )


@pytest.fixture(scope="session")
def fire() -> Callable[..., FiringLog]:
    """The simulator."""
    return simulate


@pytest.fixture(scope="session")
def test_kiln() -> type[TestKiln]:
    """The kiln's type, to change its build."""
    return TestKiln

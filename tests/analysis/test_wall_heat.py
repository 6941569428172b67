"""Heat flowing into the brick."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.wall_heat import RATE_PER_S, flux_into_wall


def test_a_wall_held_hot_for_a_day_conducts_at_its_steady_rate() -> None:
    temperature = np.concatenate(([20.0], np.full(900, 1000.0)))
    flux = flux_into_wall(temperature, 120.0, rise_per_c=0.0)
    assert flux[-1] == pytest.approx(980.0, rel=1e-6)


def test_conductivity_that_rises_with_temperature_adds_its_integral() -> None:
    temperature = np.concatenate(([0.0], np.full(900, 1000.0)))
    flux = flux_into_wall(temperature, 120.0, rise_per_c=1.2e-3)
    assert flux[-1] == pytest.approx(1000.0 * (1.0 + 0.5 * 1.2), rel=1e-6)


def test_the_brick_gives_heat_back_while_the_chamber_cools() -> None:
    heating = np.linspace(20.0, 1200.0, 240)
    cooling = np.linspace(1200.0, 400.0, 120)
    flux = flux_into_wall(np.concatenate((heating, cooling)), 120.0)
    at_600_up = flux[int(np.argmin(np.abs(heating - 600.0)))]
    at_600_down = flux[240 + int(np.argmin(np.abs(cooling - 600.0)))]
    assert at_600_down < 0.6 * at_600_up


def test_a_faster_climb_drives_more_heat_into_the_wall_at_the_same_temperature() -> None:
    slow = flux_into_wall(np.linspace(20.0, 900.0, 400), 120.0)[-1]
    fast = flux_into_wall(np.linspace(20.0, 900.0, 100), 120.0)[-1]
    assert fast > 1.1 * slow


@given(st.lists(st.floats(0.0, 1300.0), min_size=10, max_size=60), st.floats(0.1, 3.0))
def test_without_rising_conductivity_flux_is_linear_in_temperature(values: list[float], factor: float) -> None:
    temperature = np.asarray(values)
    one = flux_into_wall(temperature, 120.0, rise_per_c=0.0, room_c=0.0)
    scaled = flux_into_wall(factor * temperature, 120.0, rise_per_c=0.0, room_c=0.0)
    assert np.allclose(scaled, factor * one, atol=1e-6 * (1.0 + np.abs(one).max()))


def test_a_kiln_loaded_while_still_warm_loses_what_its_whole_history_says() -> None:
    """The log of a second firing knows only its first temperature, 100 deg C; the wall remembers the first firing."""
    first = np.concatenate((np.linspace(22.0, 1220.0, 300), np.geomspace(1220.0, 100.0, 900)))
    second = np.linspace(100.0, 1220.0, 300)
    remembered = flux_into_wall(np.concatenate((first, second)), 120.0)[first.size :]
    alone = flux_into_wall(second, 120.0)
    np.testing.assert_allclose(alone[60:], remembered[60:], rtol=0.03)
    assert alone[-1] == pytest.approx(remembered[-1], rel=0.002)


def test_a_thinner_wall_settles_sooner() -> None:
    temperature = np.concatenate(([20.0], np.full(60, 1000.0)))
    usual = flux_into_wall(temperature, 120.0, rise_per_c=0.0)[-1]
    thin = flux_into_wall(temperature, 120.0, rate_per_s=2.0 * RATE_PER_S, rise_per_c=0.0)[-1]
    assert usual > thin > 980.0 - 1e-6


def test_several_zones_at_once_give_each_zones_own_flux() -> None:
    zones = np.column_stack((np.linspace(20.0, 1200.0, 200), np.linspace(20.0, 900.0, 200)))
    together = flux_into_wall(zones, 120.0)
    for zone in range(2):
        np.testing.assert_allclose(together[:, zone], flux_into_wall(zones[:, zone], 120.0), rtol=1e-12, atol=1e-9)

"""The wall's response against published values of the slab problem.

Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), art. 3.4: a slab at zero whose faces are brought to V
and kept at 0. The flux entering, over k V / L, is 1 + 2 sum exp(-n^2 pi^2 Fo). Its early limit is that of the half
space, 1 / sqrt(pi Fo) (art. 2.4), and it is within 1 % of the steady state from Fo = ln(200) / pi^2 on.

And what gaps radiate against the law of Stefan and Boltzmann with the constant of CODATA 2018, 5.670374419e-8 W/m2K4.
"""

import math

import numpy as np
import pytest

from analysis.wall_heat import flux_into_wall, flux_through_gaps

RATE = 1.0e-4


def entering(fourier: float) -> float:
    """Flux at a Fourier number after a step of 1000 deg C, over its steady value."""
    seconds = fourier * math.pi**2 / RATE
    step = seconds / 400.0
    temperature = np.concatenate(([0.0], np.full(402, 1000.0)))
    flux = flux_into_wall(temperature, step, rate_per_s=RATE, rise_per_c=0.0)
    # the step lies between bins 0 and 1, so bin n shows the response at (n - 1/2) steps
    return float(0.5 * (flux[400] + flux[401])) / 1000.0


@pytest.mark.parametrize("fourier", [0.005, 0.01, 0.02, 0.05])
def test_early_flux_is_that_of_a_half_space(fourier: float) -> None:
    assert entering(fourier) == pytest.approx(1.0 / math.sqrt(math.pi * fourier), rel=0.01)


def test_flux_is_within_one_per_cent_of_steady_from_ln_200_over_pi_squared() -> None:
    assert entering(math.log(200.0) / math.pi**2) == pytest.approx(1.01, abs=0.001)


def test_the_trade_check_of_a_65_mm_wall_is_reproduced() -> None:
    """65 mm brick, k 0.17 W/mK, 1200 against 80 deg C conducts 2.9 kW/m2; 2.1 m2 are 54 % of 11.5 kW."""
    temperature = np.concatenate(([80.0], np.full(3000, 1200.0)))
    flux = flux_into_wall(temperature, 120.0, rise_per_c=0.0, room_c=80.0)[-1]
    watts_per_m2 = 0.17 / 0.065 * flux
    assert watts_per_m2 == pytest.approx(2930.0, rel=0.02)
    assert watts_per_m2 * 2.1 / 11500.0 == pytest.approx(0.54, abs=0.01)


STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2K4, CODATA 2018


def radiated_w_per_m2(temperature_c: float) -> float:
    """A black body at the temperature, facing a room of 22 deg C."""
    return STEFAN_BOLTZMANN * ((temperature_c + 273.15) ** 4 - 295.15**4)


@pytest.mark.parametrize("temperature_c", [300.0, 600.0, 1000.0, 1300.0])
def test_gaps_radiate_with_the_fourth_power_of_the_absolute_temperature(temperature_c: float) -> None:
    hot, at = flux_through_gaps(np.array([1200.0, temperature_c]))
    assert at / hot == pytest.approx(radiated_w_per_m2(temperature_c) / radiated_w_per_m2(1200.0), rel=1e-9)


def test_a_slit_of_half_a_millimetre_round_a_lid_of_60_cm_loses_a_twentieth_of_five_kilowatts() -> None:
    slit_m2 = 0.0005 * math.pi * 0.60
    assert slit_m2 * radiated_w_per_m2(1200.0) == pytest.approx(0.05 * 5000.0, rel=0.02)

"""The wall's response against published values of the slab problem.

Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), art. 3.4: a slab at zero whose faces are brought to V
and kept at 0. The flux entering, over k V / L, is 1 + 2 sum exp(-n^2 pi^2 Fo). Its early limit is that of the half
space, 1 / sqrt(pi Fo) (art. 2.4), and it is within 1 % of the steady state from Fo = ln(200) / pi^2 on.
"""

import math

import numpy as np
import pytest

from analysis.wall_heat import flux_into_wall

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

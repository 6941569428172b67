"""The clay's water against published temperatures of its loss.

Kaolin minerals lose their bound water between 400 and 700 deg C (Vaughan, Clay Minerals Bulletin 1954). Kissinger's
condition (Anal. Chem. 29, 1957, 1702): the loss is fastest where E b / (R T^2) = k, so it moves up with the rate.
"""

import numpy as np
import pytest

from analysis.clay_water import water_loss_per_h


def climb(rate_c_per_h: float) -> tuple[np.ndarray, np.ndarray]:
    hours = 1200.0 / rate_c_per_h
    temperature = np.linspace(20.0, 1220.0, int(hours * 60.0))
    return temperature, water_loss_per_h(temperature, 60.0)


EARLY, LATE = 0, 1


@pytest.mark.parametrize("rate", [60.0, 100.0, 150.0])
@pytest.mark.parametrize("clay", [EARLY, LATE])
def test_nearly_all_water_leaves_between_400_and_700(rate: float, clay: int) -> None:
    temperature, losses = climb(rate)
    loss = losses[:, clay]
    inside = (temperature > 400.0) & (temperature < 700.0)
    assert loss[inside].sum() > 0.97 * loss.sum()
    assert loss.sum() / 60.0 == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize(("clay", "fastest_c"), [(EARLY, 550.0), (LATE, 610.0)])
def test_the_loss_is_fastest_at_550_or_610_for_100_degrees_an_hour_and_later_for_faster_climbs(
    clay: int, fastest_c: float
) -> None:
    def fastest(rate_c_per_h: float) -> float:
        temperature, loss = climb(rate_c_per_h)
        return float(temperature[int(loss[:, clay].argmax())])

    assert fastest(100.0) == pytest.approx(fastest_c, abs=4.0)
    assert fastest(50.0) < fastest_c < fastest(200.0)

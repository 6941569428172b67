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


@pytest.mark.parametrize("rate", [60.0, 100.0, 150.0])
def test_nearly_all_water_leaves_between_400_and_700(rate: float) -> None:
    temperature, loss = climb(rate)
    inside = (temperature > 400.0) & (temperature < 700.0)
    assert loss[inside].sum() > 0.97 * loss.sum()
    assert loss.sum() / 60.0 == pytest.approx(1.0, abs=0.04)


def test_the_loss_is_fastest_at_600_for_100_degrees_an_hour_and_later_for_faster_climbs() -> None:
    temperature, loss = climb(100.0)
    assert temperature[int(loss.argmax())] == pytest.approx(600.0, abs=4.0)
    slow, fast = climb(50.0), climb(200.0)
    assert slow[0][int(slow[1].argmax())] < 600.0 < fast[0][int(fast[1].argmax())]

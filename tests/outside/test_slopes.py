"""Slopes: Sen's published example anchors a general library, and that library our climb in bands."""

import numpy as np
import pytest

from analysis.climb import bands_of
from analysis.full_output import Drive
from analysis.grid import Grid

stats = pytest.importorskip("scipy.stats")

# Sen, J. Am. Stat. Assoc. 63 (1968) 1379: slope 4, 93 % interval 26/7 to 35/8 (the interval as recomputed by two
# test suites that quote it: the one printed in the paper rests on slips in its list of slopes).
SEN_T = [1, 2, 3, 4, 10, 12, 18]
SEN_Y = [9, 15, 19, 20, 45, 55, 78]


def test_the_library_s_slope_is_sen_s():
    found = stats.theilslopes(SEN_Y, SEN_T, 0.93)
    assert found.slope == pytest.approx(4.0)
    assert (found.low_slope, found.high_slope) == pytest.approx((26 / 7, 35 / 8))


def made(mid_s: np.ndarray, read_c: np.ndarray) -> tuple[Grid, Drive]:
    """One zone at full output all the time."""
    some = np.ones((mid_s.size, 1), dtype=bool)
    grid = Grid(120.0, mid_s, read_c[:, None], some, None, None, None, np.zeros(mid_s.size, dtype=bool))
    return grid, Drive(some.astype(float), some, ~some, logged=True, end=mid_s.size)


@pytest.mark.parametrize("rate_c_per_h", [20.0, 60.0, 150.0])
def test_the_climb_in_a_band_agrees_with_the_library_s_slope_within_its_own_error(rate_c_per_h):
    random = np.random.default_rng(1968)
    step_s = 120.0
    mid_s = np.arange(step_s / 2, 200.0 / rate_c_per_h * 3600.0, step_s)
    true_c = 1000.0 + rate_c_per_h * mid_s / 3600.0
    read_c = np.round(true_c + random.normal(0.0, 0.5, mid_s.size))
    bands, _ = bands_of(*made(mid_s, read_c))
    assert len(bands) == 8
    for band in bands:
        inside = np.floor(read_c / 25.0) * 25.0 + 12.5 == band.at_c
        slope = stats.theilslopes(read_c[inside], mid_s[inside] / 3600.0).slope
        assert band.climb.value == pytest.approx(slope, abs=3.0 * band.climb.error)
        assert band.climb.value == pytest.approx(rate_c_per_h, abs=4.0 * band.climb.error)

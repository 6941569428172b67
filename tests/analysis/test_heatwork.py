"""Heat-work: a slower climb to the same peak fires ware harder."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.heatwork import CONES, LastClimb, equivalents_c, heat_work, last_climb, more_than_planned_c


def firing(rate, peak, hold_min, *, sample_s=30.0, noise=0.0, seed=1):
    """A firing at ``rate`` deg C/h over its last 150 deg C, held, then cooling at 300 deg C/h."""
    up = np.arange(peak - 150.0, peak, rate * sample_s / 3600.0)
    hold = np.full(int(hold_min * 60 / sample_s), peak)
    down = np.arange(peak, peak - 200.0, -300.0 * sample_s / 3600.0)
    temp = np.concatenate([up, hold, down])
    temp = np.round(temp + np.random.default_rng(seed).normal(0, noise, temp.size)) if noise else temp
    return np.arange(temp.size) * sample_s, temp


@pytest.mark.parametrize(("rate", "peak", "hold"), [(60.0, 1222.0, 0.0), (100.0, 1063.0, 20.0), (25.0, 1240.0, 60.0)])
def test_the_last_climb_is_read_from_noisy_whole_degrees(rate, peak, hold):
    found = last_climb(*firing(rate, peak, hold, noise=0.6))
    assert found.peak_c == pytest.approx(peak, abs=2.5)
    assert found.rate_c_per_h == pytest.approx(rate, rel=0.04)
    assert found.hold_h == pytest.approx(hold / 60, abs=0.12)


def test_a_firing_that_never_climbed_a_hundred_degrees_has_no_heat_work():
    time, temp = firing(60.0, 1000.0, 0.0)
    assert last_climb(time[-100:], temp[-100:]) is None
    assert heat_work(LastClimb(400.0, 60.0, 0.0)) is None


def test_a_slower_kiln_over_fires_at_the_same_peak():
    assert more_than_planned_c(1222.0, 30.0, 60.0) == pytest.approx(19, abs=3)
    assert more_than_planned_c(1222.0, 60.0, 60.0) == pytest.approx(0.0, abs=0.5)
    assert more_than_planned_c(1222.0, 110.0, 60.0) < -8


def test_a_hold_of_an_hour_and_a_half_bends_the_next_cone():
    assert heat_work(LastClimb(1222.0, 60.0, 0.0)).cone == "6"
    assert heat_work(LastClimb(1222.0, 60.0, 1.5)).cone == "7"


@given(peak=st.floats(700.0, 1300.0), rate=st.floats(15.0, 250.0), hold=st.floats(0.0, 5.0))
def test_more_heat_never_means_a_lower_cone(peak, rate, hold):
    base = heat_work(LastClimb(peak, rate, hold))
    for more in (
        LastClimb(peak + 10, rate, hold),
        LastClimb(peak, rate * 0.8, hold),
        LastClimb(peak, rate, hold + 0.5),
    ):
        assert CONES.index(heat_work(more).cone) >= CONES.index(base.cone)


@given(rate=st.floats(10.0, 300.0))
def test_cones_stay_in_order_at_every_rate(rate):
    table = equivalents_c(rate)
    assert np.all(np.diff(table[np.isfinite(table)]) > 0)

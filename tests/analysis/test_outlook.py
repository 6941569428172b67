"""Firings left: an interval that grows with what is not known."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.measures import Estimate
from analysis.outlook import firings_left, margin_from_climb, margin_from_duty, outlook

LIMIT = math.log(0.90)


def test_a_steady_well_known_drift_gives_about_the_straight_line_answer():
    left = firings_left(Estimate(-0.06, 0.004), Estimate(-0.002, 0.0002), LIMIT, 30)
    assert left.middle == pytest.approx((0.06 - LIMIT - 0.12) / 0.002, abs=8)
    assert left.low < left.middle < left.high


def test_no_drift_means_no_end_in_sight():
    left = firings_left(Estimate(-0.01, 0.005), Estimate(0.0, 0.0003), LIMIT, 40)
    assert left.high is None
    assert left.low > 50


def test_past_the_threshold_nothing_is_left():
    assert firings_left(Estimate(-0.20, 0.01), Estimate(-0.002, 0.0005), LIMIT, 60).middle == 0.0


@given(level=st.floats(-0.1, 0.0), drift=st.floats(0.0005, 0.01), error=st.floats(0.0001, 0.002))
def test_the_interval_is_in_order_and_faster_drift_never_lasts_longer(level, drift, error):
    slow = firings_left(Estimate(level, 0.01), Estimate(-drift, error), LIMIT, 30)
    fast = firings_left(Estimate(level, 0.01), Estimate(-2 * drift, error), LIMIT, 30)
    ranked = [slow.low, slow.middle, slow.high]
    known = [x for x in ranked if x is not None]
    assert known == sorted(known)
    assert fast.low is not None
    assert slow.low is None or fast.low <= slow.low


def test_less_certain_drift_widens_the_interval():
    sure = firings_left(Estimate(-0.05, 0.005), Estimate(-0.002, 0.0001), LIMIT, 30)
    unsure = firings_left(Estimate(-0.05, 0.005), Estimate(-0.002, 0.001), LIMIT, 30)
    assert unsure.low < sure.low
    assert unsure.high is None or unsure.high > sure.high


def test_margins_follow_from_the_heat_balance():
    # With losses at 60 % of new power (climb / cooling = 2 / 3), the peak is just held at 60 % of the power.
    assert math.exp(margin_from_climb(60.0, 90.0, 0.0)) == pytest.approx(0.6)
    assert math.exp(margin_from_climb(60.0, 90.0, 60.0)) == pytest.approx(1.0)
    assert math.exp(margin_from_duty(0.7)) == pytest.approx(0.7)
    assert margin_from_duty(0.0) is None


def test_the_outlook_says_nothing_without_level_or_drift():
    assert outlook(None, Estimate(-0.001, 0.0005), threshold=0.9, age_firings=20) is None
    full = outlook(
        Estimate(-0.05, 0.01),
        Estimate(-0.002, 0.0004),
        threshold=0.9,
        age_firings=40,
        ramp_margin=-0.1,
        peak_margin=-0.3,
    )
    assert full.firings_left < full.programme_firings_left < full.peak_firings_left

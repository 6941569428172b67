"""Heat-work: a slower climb to the same peak fires ware harder."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.heatwork import (
    CONES,
    LastClimb,
    equivalents_c,
    heat_work,
    last_climb,
    more_than_planned_c,
    of_firing,
)
from analysis.reading import read_log


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
    table = np.array(equivalents_c(rate))
    assert np.all(np.diff(table[np.isfinite(table)]) > 0)


def log_of(asked_c_per_h, reached_c_per_h, *, peak=1222.0, stopped_c=None, set_point=True):
    """A two-zone log whose set point climbs to ``peak`` at one rate and waits there, the kiln at another."""
    begin, step_h = peak - 200.0, 0.5 / 60.0
    hours = np.arange(0.0, (peak - begin) / reached_c_per_h, step_h)
    asked = np.minimum(peak, begin + asked_c_per_h * hours)
    kiln = np.minimum(stopped_c or peak, begin + reached_c_per_h * hours)
    down = kiln[-1] - 200.0 * np.arange(step_h, 0.6, step_h)
    asked = np.concatenate([asked, np.full(down.size, 20.0)])
    kiln = np.concatenate([kiln, down])
    rows = [
        f"{60.0 * step_h * i:.1f},{t - 4:.1f},{t + 4:.1f}" + (f",{s:.1f}" if set_point else "")
        for i, (t, s) in enumerate(zip(kiln, asked, strict=True))
    ]
    text = "minutes,top C,bottom C" + (",set point C" if set_point else "") + "\n" + "\n".join(rows) + "\n"
    return read_log(text.encode(), name="2026-03-02.csv").firings[0]


def test_a_kiln_that_falls_behind_its_programme_over_fires_and_it_is_said_by_how_much():
    work = of_firing(log_of(100.0, 40.0))
    assert work.rate_c_per_h == pytest.approx(40.0, rel=0.05)
    assert work.planned_c_per_h == pytest.approx(100.0, rel=0.05)
    # Cone 6 by the chart: 1222 at 60, 1243 at 150, 1185 at 15 deg C/h, interpolated in the logarithm of the rate.
    by_chart = np.interp(np.log([40.0, 100.0]), np.log([15.0, 60.0, 150.0]), [1185.0, 1222.0, 1243.0])
    assert work.more_than_planned_c == pytest.approx(by_chart[1] - by_chart[0], abs=4.0)


def test_a_kiln_that_keeps_its_programme_gets_what_was_planned():
    assert of_firing(log_of(100.0, 99.0)).more_than_planned_c == pytest.approx(0.0, abs=1.0)


def test_a_firing_stopped_short_was_not_over_fired_for_its_pace():
    work = of_firing(log_of(100.0, 40.0, stopped_c=1170.0))
    assert work is not None
    assert work.more_than_planned_c is None


def test_without_a_set_point_the_plan_is_not_known():
    work = of_firing(log_of(100.0, 40.0, set_point=False))
    assert work.rate_c_per_h == pytest.approx(40.0, rel=0.05)
    assert (work.planned_c_per_h, work.more_than_planned_c) == (None, None)


def test_a_set_point_that_jumps_to_the_peak_is_no_plan_of_a_pace():
    assert of_firing(log_of(5000.0, 40.0)).more_than_planned_c is None

"""Signs of faults other than lost power: what counts as one, and what a controller does by itself."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.full_output import drive_of
from analysis.grid import FloatArray, grid_of
from analysis.reading.firing_log import Event, FiringLog
from analysis.signs import Signs, count_swings, count_turns, signs_of

RAMPS = ((150.0, 600.0, 0.0), (150.0, 1150.0, 10.0))


def signs(log: FiringLog) -> Signs:
    grid = grid_of(log, 240.0)
    assert grid is not None
    return signs_of(log, grid, drive_of(grid))


@pytest.fixture(scope="module")
def log(fire: Callable[..., FiringLog]) -> FiringLog:
    return fire(ramps=RAMPS, cooling_h=1.0)


def swinging(log: FiringLog, depth_c: float, minutes: float) -> FloatArray:
    """The zone's temperature with dips of ``depth_c``, one every ``minutes``, while it heats."""
    phase = (log.elapsed_s / 60.0 / minutes) % 1.0
    hot = (log.zone_c[:, 0] > 600.0) & (log.zone_c[:, 0] < 1140.0)
    dip: FloatArray = np.where(hot, depth_c * np.minimum(phase, 1.0 - phase) * 2.0, 0.0)
    return log.zone_c - dip[:, None]


def test_a_contact_that_fails_for_minutes_leaves_its_zone_behind_again_and_again(log: FiringLog) -> None:
    assert signs(log).swings[0] < 5
    failing = signs(replace(log, zone_c=swinging(log, 25.0, 25.0)))
    assert failing.swings[0] >= 8
    assert failing.dips_c[0] > 10.0


def test_a_switching_controller_swings_the_climb_without_the_zone_falling_behind(log: FiringLog) -> None:
    assert signs(replace(log, zone_c=swinging(log, 4.0, 7.0))).dips_c[0] < 10.0


def test_a_climb_that_slows_where_no_heat_was_asked_for_is_the_controller_s_own(log: FiringLog) -> None:
    dipping = replace(log, zone_c=swinging(log, 25.0, 25.0))
    assert dipping.output is not None
    slow = np.gradient(dipping.zone_c[:, 0], dipping.elapsed_s) * 3600.0 < 75.0
    idle = replace(dipping, output=np.where(slow, 0.0, dipping.output[:, 0])[:, None])
    assert signs(idle).swings == (0,)


def test_a_message_of_the_sensor_stops_a_firing_only_if_the_heat_went_off(log: FiringLog) -> None:
    assert log.output is not None
    end_s = float(log.elapsed_s[log.output[:, 0] > 0.02][-1])
    said = "ERR 3 sensor check"
    assert not signs(replace(log, events=(Event(0.5 * end_s, said),))).sensor_stop
    assert not signs(replace(log, events=(Event(end_s + 3000.0, said),))).sensor_stop
    assert signs(replace(log, events=(Event(end_s, said),))).sensor_stop


@given(st.lists(st.integers(-6, 6), min_size=1, max_size=40), st.integers(1, 6))
def test_only_the_bins_where_a_series_turns_need_be_looked_at(values: list[int], size: int) -> None:
    series = [float(value) for value in values]
    assert count_swings(np.array(series), float(size)) == count_turns(series, float(size))


def test_a_slower_part_of_the_programme_is_no_dip_of_the_zone(fire: Callable[..., FiringLog]) -> None:
    """A climb of 150 deg C per hour, then of 60, read in whole degrees: the zone keeps to its set point throughout."""
    log = fire(ramps=((150.0, 900.0, 0.0), (60.0, 1150.0, 10.0)), cooling_h=1.0)
    jittery = replace(log, zone_c=log.zone_c + np.random.default_rng(1).normal(0.0, 1.5, log.zone_c.shape))
    assert signs(replace(jittery, set_point_c=None)).dips_c[0] > 10.0  # from the climb alone it cannot be told
    assert signs(jittery).dips_c[0] < 5.0


def test_a_set_point_that_stands_at_the_end_of_its_segment_hides_no_dip(log: FiringLog) -> None:
    """Heating "as fast as it can": half an hour after the jump the set point climbs no more, the zone still should."""
    target = np.where(log.zone_c < 300.0, 300.0, float(log.zone_c.max()))
    assert signs(replace(log, set_point_c=target)).dips_c[0] < 10.0
    assert signs(replace(log, zone_c=swinging(log, 25.0, 25.0), set_point_c=target)).dips_c[0] > 10.0


def warming(
    from_c: float, rise_c: float, dies_s: float, until_s: float = 5400.0, then_c_per_h: float = 0.0
) -> FiringLog:
    """A zone brought to ``from_c``, then left alone: it rises on towards ``rise_c`` more, dying away in ``dies_s``.

    Meanwhile its set point creeps on below it; after ``until_s`` the zone cools by so much.
    """
    time = np.arange(0.0, 3 * 3600.0, 60.0)
    alone = np.maximum(time - 1800.0, 0.0)
    soaked = rise_c * (1.0 - np.exp(-np.minimum(alone, until_s) / dies_s))
    cooled = then_c_per_h * np.maximum(alone - until_s, 0.0) / 3600.0
    zone = 20.0 + (from_c - 20.0) * np.minimum(time / 1800.0, 1.0) + soaked - cooled
    point = np.where(alone > 0.0, from_c - 20.0 + 15.0 * alone / 3600.0, 20.0 + (from_c - 40.0) * time / 1800.0)
    output = np.where(alone > 0.0, 0.0, 1.0)
    return FiringLog(time, zone[:, None], point[:, None], output[:, None], ("1",), output_kind="duty")


def test_heat_stored_in_a_kiln_hardly_warm_is_not_heat_unasked_as_it_dies_away() -> None:
    """Where elements are dead the controller winds up: the zone goes on by 60 deg C in an hour with no output."""
    assert signs(warming(120.0, 70.0, 2400.0)).free_heat is None
    assert signs(warming(120.0, 70.0, 4000.0)).free_heat is None


def test_a_closed_contact_heats_on_or_ends_at_once() -> None:
    lasting = signs(warming(120.0, 400.0, 4 * 3600.0)).free_heat
    assert lasting is not None
    assert lasting.beyond_overshoot
    let_go = signs(warming(120.0, 90.0, 2400.0, until_s=1500.0, then_c_per_h=300.0)).free_heat
    assert let_go is not None
    assert let_go.beyond_overshoot
    far = signs(warming(120.0, 200.0, 2400.0)).free_heat  # farther above its set point than stored heat goes
    assert far is not None
    assert far.beyond_overshoot
    whole = warming(120.0, 100.0 * 8.0, 8 * 2400.0)  # much the same rate all the time
    cut = whole.elapsed_s < 1800.0 + 2400.0
    assert whole.set_point_c is not None
    assert whole.output is not None
    ends_there = replace(
        whole,
        elapsed_s=whole.elapsed_s[cut],
        zone_c=whole.zone_c[cut],
        set_point_c=whole.set_point_c[cut],
        output=whole.output[cut],
    )
    at_its_end = signs(ends_there).free_heat  # the plug was pulled: nothing tells that it would have died away
    assert at_its_end is not None
    assert at_its_end.beyond_overshoot
    hot = signs(warming(700.0, 70.0, 2400.0)).free_heat
    assert hot is not None
    assert hot.beyond_overshoot


def lending(log: FiringLog, lead_c: float, until_c: float = 690.0) -> FiringLog:
    """A second zone ahead of the first by up to ``lead_c`` that asks for no heat of its own up to ``until_c``."""
    assert log.output is not None
    zone = log.zone_c[:, 0]
    ahead = zone + lead_c * np.clip((zone - 150.0) / 300.0, 0.0, 1.0)
    idle = np.where(zone < until_c, 0.0, log.output[:, 0])
    return replace(
        log,
        zone_c=np.column_stack((zone, ahead)),
        output=np.column_stack((log.output[:, 0], idle)),
        set_point_c=None,
        zone_names=("1", "2"),
    )


def test_a_zone_its_neighbours_heat_has_no_welded_contact(log: FiringLog) -> None:
    assert signs(lending(log, 5.0)).free_heat is None
    hot = signs(lending(log, 5.0, until_c=1050.0)).free_heat  # red hot it loses more than they can lend it
    assert hot is not None
    assert hot.rise_c > 250.0
    running_away = signs(lending(log, 60.0)).free_heat
    assert running_away is not None
    assert running_away.zone == 1


def of_zones(*rates_c_per_h: float, hours: float = 1.5, level_c: float = 260.0) -> FiringLog:
    """Temperatures alone: each zone climbs at its rate towards ``level_c`` above the room."""
    time = np.arange(0.0, hours * 3600.0, 30.0)
    zones = [20.0 + level_c * (1.0 - np.exp(-rate * time / 3600.0 / level_c)) for rate in rates_c_per_h]
    names = tuple(str(number + 1) for number in range(len(zones)))
    return FiringLog(time, np.column_stack(zones), None, None, names)


def test_an_even_climb_without_output_is_told_from_one_that_slows(log: FiringLog) -> None:
    assert log.output is not None
    blind = replace(log, output=np.zeros_like(log.output), set_point_c=None)
    even = signs(blind).free_heat
    assert even is not None
    assert even.even
    slowing = signs(warming(120.0, 400.0, 2 * 3600.0)).free_heat
    assert slowing is not None
    assert not slowing.even


def test_a_kiln_stopped_within_minutes_because_a_zone_ran_away_shows_it() -> None:
    """Eighteen minutes of log, as the controller stopped it when one zone was far too hot."""
    short = of_zones(60.0, 700.0, hours=0.3, level_c=900.0)
    ran = signs(short).runaway
    assert ran is not None
    assert ran.zone == 1


def test_a_zone_that_leaves_the_others_behind_from_cold_ran_away() -> None:
    ran = signs(of_zones(60.0, 62.0, 550.0)).runaway
    assert ran is not None
    assert ran.zone == 2
    assert ran.ahead_c > 100.0


def test_zones_left_behind_by_one_that_follows_its_programme_are_dead_and_none_ran_away() -> None:
    assert signs(of_zones(15.0, 14.0, 130.0, level_c=2000.0)).runaway is None


def test_a_firing_that_goes_on_or_a_single_zone_shows_no_runaway() -> None:
    assert signs(of_zones(180.0, 550.0, hours=6.0, level_c=1400.0)).runaway is None
    assert signs(of_zones(550.0)).runaway is None


def cooling(led_down_to_c: float | None) -> FiringLog:
    """Two zones that climb to 1200 deg C and, left to themselves, part by 8 deg C; first led down together or not."""
    down = [] if led_down_to_c is None else list(np.arange(1199.0, led_down_to_c, -70.0 / 60.0))
    free = [down[-1] if down else 1200.0]
    hours = 6.0 if led_down_to_c is None else 10.0
    while free[-1] > 350.0:
        free.append(free[-1] - (free[-1] - 20.0) / hours / 60.0)
    mean = np.concatenate((np.linspace(20.0, 1200.0, 480), down, free))
    apart = np.zeros(mean.size)
    apart[480 + len(down) + 20 :] = 4.0
    zone_c = np.column_stack((mean + apart, mean - apart))
    return FiringLog(60.0 * np.arange(mean.size), zone_c, None, None, ("top", "bottom"))


def until(log: FiringLog, end_c: float) -> FiringLog:
    """The same log, cut off where the cooling has come down to ``end_c``."""
    last = int(np.flatnonzero(log.zone_c.mean(axis=1) > end_c)[-1])
    return replace(log, elapsed_s=log.elapsed_s[:last], zone_c=log.zone_c[:last])


def test_zones_are_compared_only_while_the_kiln_cools_by_itself() -> None:
    """A programme that leads the kiln down holds its zones together: that is the controller's doing, not the kiln's."""
    by_itself, led = (signs(cooling(to)).cooling_offset_c[0] for to in (None, 880.0))
    assert by_itself[:3] == pytest.approx((4.0, 4.0, 4.0))
    assert led[0] is None
    assert led[1:3] == pytest.approx((4.0, 4.0))


def after_the_peak(end_c: float, line_c_per_h: float | None = None) -> FiringLog:
    """Two zones that part by 8 deg C once the heat is off: the air and the coils cool first, then the brick.

    Or they are led down along a line.
    """
    hours = np.arange(0.0, 20.0, 1.0 / 60.0)
    free = 20.0 + 1180.0 * (0.9 * np.exp(-hours / 10.0) + 0.1 * np.exp(-hours / 0.4))
    down = free if line_c_per_h is None else 1200.0 - line_c_per_h * hours
    mean = np.concatenate((np.linspace(20.0, 1200.0, 480), down[down > end_c]))
    apart = np.where(np.arange(mean.size) > 490, 4.0, 0.0)
    zone_c = np.column_stack((mean + apart, mean - apart))
    return FiringLog(60.0 * np.arange(mean.size), zone_c, None, None, ("top", "bottom"))


def test_how_zones_part_in_the_first_100_degrees_shows_though_the_log_ends_there() -> None:
    """Left to itself; a programme that leads down along a line holds the zones together, and tells nothing."""
    for end_c in (300.0, 1080.0):
        assert signs(after_the_peak(end_c)).first_fall_c == pytest.approx((4.0, -4.0))
    assert signs(after_the_peak(1120.0)).first_fall_c == ()
    for line_c_per_h in (60.0, 250.0):
        assert signs(after_the_peak(900.0, line_c_per_h)).first_fall_c == ()
    alone = after_the_peak(300.0)
    assert signs(replace(alone, zone_c=alone.zone_c[:, :1], zone_names=("all",))).first_fall_c == ()


def heated_until_480(log: FiringLog) -> FiringLog:
    """The same log with the output written into it: on for the first 480 rows."""
    on = np.where(np.arange(log.elapsed_s.size) < 480, 0.8, 0.0)
    return replace(log, output=np.column_stack((on, on)), output_kind="duty")


@pytest.mark.parametrize("hours", [1.0, 30.0])
def test_where_a_couple_drops_out_while_the_kiln_cools_no_zone_is_compared(hours: float) -> None:
    """The readings that are missing would be filled, and the zones that are still read seem to cool faster."""
    log = cooling(None)
    off = 482 * 60.0
    lost = (log.elapsed_s > off) & (log.elapsed_s < off + 3600.0 * hours)
    zone_c = log.zone_c.copy()
    zone_c[lost, 0] = np.nan
    seen = signs(heated_until_480(replace(log, zone_c=zone_c)))
    assert seen.first_fall_c == ()
    assert seen.cooling_offset_c[0][0] == pytest.approx(4.0 if hours < 2.0 else None)
    assert seen.cooling_offset_c[1][1:3] == (pytest.approx((-4.0, -4.0)) if hours < 2.0 else (None, None))


def test_a_first_fall_in_an_interruption_of_the_log_tells_nothing() -> None:
    log = heated_until_480(after_the_peak(300.0))
    kept = (log.elapsed_s < 482 * 60.0) | (log.zone_c.mean(axis=1) < 1000.0) | (log.zone_c[:, 0] > 1195.0)
    broken = replace(log, elapsed_s=log.elapsed_s[kept], zone_c=log.zone_c[kept], output=log.output[kept])
    assert signs(broken).first_fall_c == ()


@pytest.mark.parametrize("minutes", [3, 5, 10])
def test_a_leak_shows_in_the_first_fall_by_as_much_however_seldom_the_log_was_written(minutes: int) -> None:
    """One zone loses a tenth more than the others of every degree that the kiln falls."""
    log = after_the_peak(300.0)
    cools = np.arange(log.elapsed_s.size) >= 480
    mean = log.zone_c.mean(axis=1)
    zone_c = np.column_stack((mean, mean)) + np.where(cools, 1200.0 - mean, 0.0)[:, None] * np.array([-0.1, 0.1])
    often = heated_until_480(replace(log, zone_c=zone_c))
    every = slice(None, None, minutes)
    seldom = replace(often, elapsed_s=log.elapsed_s[every], zone_c=zone_c[every], output=often.output[every])
    assert signs(often).first_fall_c == pytest.approx((-10.0, 10.0), rel=0.1)
    assert signs(seldom).first_fall_c == pytest.approx(signs(often).first_fall_c, rel=0.15)


def test_where_the_log_says_that_the_output_is_off_a_cooling_along_a_line_is_free_too() -> None:
    line = after_the_peak(900.0, 250.0)
    assert signs(heated_until_480(line)).first_fall_c == pytest.approx((4.0, -4.0))


@pytest.mark.parametrize("end_c", [720.0, 560.0, 480.0])
def test_a_log_that_ends_with_the_programme_that_leads_down_compares_no_zones(end_c: float) -> None:
    assert signs(until(cooling(400.0), end_c)).cooling_offset_c[0][:3] == (None, None, None)


def test_a_kiln_that_cools_in_a_frosty_barn_is_compared_like_any_other() -> None:
    log = cooling(None)
    colder = np.maximum(log.zone_c - 500.0, -10.0)
    assert signs(replace(log, zone_c=colder)).cooling_offset_c[0][1] is None
    assert signs(replace(log, zone_c=np.where(log.zone_c < 470.0, -10.0, log.zone_c))).cooling_offset_c[0][2] == 4.0

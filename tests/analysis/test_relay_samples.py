"""A relay's state sampled in step with its cycle tells no duty."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.reading.firing_log import FiringLog
from analysis.relay_samples import remembered, sampled, without_locked_output

SAMPLES = 600


def log_of(places: np.ndarray, duty: np.ndarray, kind: str = "on-off", step_s: float = 60.0) -> FiringLog:
    """A relay closed for ``duty`` of its cycle, found at ``places`` (0..1) of it."""
    time = np.arange(places.size) * step_s
    closed = (places < duty).astype(float)[:, None]
    return FiringLog(time, 20.0 + time[:, None] / 60.0, None, closed, ("1",), kind)


def told(log: FiringLog, before: int = 0) -> FiringLog:
    return without_locked_output(log, sampled(log), before)


RISING = np.linspace(0.2, 0.95, SAMPLES)


@pytest.mark.parametrize("places", [2, 3, 4, 6])
def test_samples_at_the_same_few_places_of_the_cycle_are_not_used_and_that_is_said(places: int) -> None:
    log = log_of((np.arange(SAMPLES) % places) / places + 0.05, RISING)
    found = told(log)
    assert found.output is None
    assert found.output_kind is None
    assert "same few places of its cycle" in found.problems[-1]


@pytest.mark.parametrize("place", [0.45, 0.6, 0.8])
def test_samples_at_one_place_of_the_cycle_are_not_used(place: float) -> None:
    """Open for hours of a steady climb, then closed for hours: no kiln climbs without heat."""
    log = log_of(np.full(SAMPLES, place), RISING)
    assert told(log).output is None


def test_a_contact_that_stuck_and_freed_itself_stays_in_the_log_of_a_kiln_whose_samples_tell() -> None:
    """Open for an hour and a half of a climb, flat out later: seen once, at a kiln sampled anywhere so far."""
    duty = np.where(np.arange(SAMPLES) < 150, 0.4, np.where(np.arange(SAMPLES) < 250, 0.0, 1.0))
    stuck = log_of(np.random.default_rng(3).random(SAMPLES), duty)
    stuck = replace(stuck, zone_c=stuck.zone_c + 100.0)
    assert sampled(stuck) == "at one place"
    before = 0
    for seed in (4, 5):
        before = remembered(before, sampled(log_of(np.random.default_rng(seed).random(SAMPLES), RISING)))
    assert told(stuck, before) is stuck


def test_a_zone_that_rests_while_the_others_heat_it_is_not_sampled_at_one_place() -> None:
    random = np.random.default_rng(5).random((SAMPLES, 3))
    closed = (random < RISING[:, None]).astype(float)
    closed[60:200, 1], closed[450:, :] = 0.0, 1.0
    time = np.arange(SAMPLES) * 60.0
    zone_c = np.repeat(120.0 + time[:, None] / 60.0, 3, axis=1)
    log = FiringLog(time, zone_c, None, closed, ("1", "2", "3"), "on-off")
    assert sampled(log) == "anywhere"


def test_a_contact_that_stays_closed_from_some_time_on_is_no_pattern() -> None:
    """The relay is told to open and the kiln climbs on: that must stay in the log, it is what shows the fault."""
    duty = np.where(np.arange(SAMPLES) < 400, np.linspace(0.3, 0.7, SAMPLES), 0.0)
    log = log_of(np.random.default_rng(2).random(SAMPLES), duty)
    assert told(log) is log


def test_full_output_from_end_to_end_is_no_pattern() -> None:
    closed = np.where(np.arange(SAMPLES) < 500, 1.0, 0.0)
    log = log_of(np.full(SAMPLES, 0.5), closed)
    cooling = replace(log, zone_c=np.where(closed[:, None] > 0.0, log.zone_c, 600.0))
    assert told(cooling) is cooling


def test_samples_that_fall_anywhere_are_used() -> None:
    log = log_of(np.random.default_rng(1).random(SAMPLES), RISING)
    assert told(log) is log


def test_a_log_that_looks_random_is_in_step_too_at_a_kiln_known_for_it() -> None:
    """While the closed share passes the one place of the samples, states come and go: three such logs in twenty."""
    log = log_of(np.random.default_rng(1).random(SAMPLES), RISING)
    how = sampled(log)
    assert how == "anywhere"
    assert without_locked_output(log, how, 3).output is None
    assert without_locked_output(log, how, remembered(remembered(3, how), how)) is log, (
        "a third one in a row is believed"
    )


@pytest.mark.parametrize(("sample_s", "cycle_s"), [(10, 61), (5, 24.5), (12.5, 60.7), (2, 8.2), (15, 47), (60, 25.3)])
def test_samples_that_soon_come_near_the_same_places_but_move_on_are_used(sample_s: float, cycle_s: float) -> None:
    """Six samples are all but a cycle of 61 s, yet within the hour they have been everywhere in it."""
    time = np.arange(int(8 * 3600 / sample_s)) * sample_s
    log = log_of((time / cycle_s) % 1.0, np.linspace(0.2, 0.95, time.size), step_s=sample_s)
    assert told(log) is log


@pytest.mark.parametrize("off", [0.0, 1e-4])
@pytest.mark.parametrize("sample_s", [5.0, 10.0, 30.0])
def test_clocks_that_part_by_seconds_a_day_are_still_in_step(sample_s: float, off: float) -> None:
    time = np.arange(int(8 * 3600 / sample_s)) * sample_s
    log = log_of((time / (4 * sample_s * (1 + off)) + 0.05) % 1.0, np.linspace(0.2, 0.95, time.size), step_s=sample_s)
    assert told(log).output is None


def test_samples_much_closer_than_the_cycle_are_used() -> None:
    log = log_of((np.arange(SAMPLES) % 12) / 12 + 0.01, RISING)
    assert told(log) is log


def test_a_relay_that_never_opens_shows_no_pattern() -> None:
    assert told(log_of(np.zeros(SAMPLES), np.ones(SAMPLES))).output is not None


def test_rows_written_at_each_change_tell_the_duty_exactly() -> None:
    log = log_of((np.arange(SAMPLES) % 2) / 2 + 0.05, RISING)
    steps = np.where(np.arange(SAMPLES) % 2, 10.0, 50.0)
    changes = replace(log, elapsed_s=np.cumsum(steps))
    assert told(changes) is changes


def test_a_relay_closed_for_most_of_the_firing_tells_full_output() -> None:
    duty = np.where(np.arange(SAMPLES) < 75, 0.5, 1.0)
    log = log_of((np.arange(SAMPLES) % 2) / 2 + 0.05, duty)
    assert told(log) is log


def test_a_duty_is_not_a_relay_s_state() -> None:
    """It may alternate as it likes: what stands between nought and one is a share."""
    alternating = np.where(np.arange(SAMPLES) % 2, 0.9, 0.1)[:, None]
    log = replace(log_of(np.zeros(SAMPLES), RISING, kind="duty"), output=alternating)
    assert sampled(log) is None
    assert told(log) is log


def test_a_kiln_whose_logs_were_in_step_is_in_step_where_one_does_not_show_it() -> None:
    """Found closed for the whole of the heating: full output, or a place of the cycle that was always closed."""
    closed = np.where(np.arange(SAMPLES) < 500, 1.0, 0.0)
    log = log_of(np.full(SAMPLES, 0.5), closed)
    log = replace(log, zone_c=np.where(closed[:, None] > 0.0, log.zone_c, 600.0))
    assert sampled(log) == "unclear"
    before = 0
    for place in (0.45, 0.6):
        before = remembered(before, sampled(log_of(np.full(SAMPLES, place), RISING)))
    assert told(log, before).output is None
    for seed in range(2):
        before = remembered(before, sampled(log_of(np.random.default_rng(seed).random(SAMPLES), RISING)))
    assert told(log, before) is log


def test_an_output_that_is_all_or_nothing_is_a_state_whatever_it_is_taken_for() -> None:
    assert told(log_of(np.full(SAMPLES, 0.45), RISING, kind="duty")).output is None

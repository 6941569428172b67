"""Amps with everything closed: what a clamp on the supply says of the elements."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.current import TornCurrent, full_current, torn_current, unasked_current, wavering_current
from analysis.full_output import drive_of
from analysis.grid import FloatArray, grid_of
from analysis.measures import measure
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln

FULL_A = 40.0
RAMPS = ((150.0, 600.0, 0.0), (200.0, 1150.0, 10.0))


@pytest.fixture(scope="module")
def log(fire: Callable[..., FiringLog]) -> FiringLog:
    return fire(ramps=RAMPS, cooling_h=1.0)


def told(log: FiringLog, amps: FloatArray, volts: FloatArray | None = None) -> float | None:
    with_amps = replace(log, amps=amps[:, None], volts=volts)
    grid = grid_of(with_amps, 240.0)
    assert grid is not None
    found = full_current(with_amps, grid, drive_of(grid), 240.0)
    return None if found is None else float(np.exp(found.value))


def at_moments(log: FiringLog, full_a: float = FULL_A) -> FloatArray:
    """Amps as a clamp reads them at each row: nil or everything, so often as the relay is closed."""
    assert log.output is not None
    closed = np.random.default_rng(1).random(log.output.shape[0]) < log.output[:, 0]
    amps: FloatArray = full_a * closed * np.random.default_rng(2).normal(1.0, 0.01, closed.size)
    return amps


def test_amps_read_at_a_moment_stand_at_their_top_while_the_relay_is_closed(log: FiringLog) -> None:
    assert told(log, at_moments(log)) == pytest.approx(FULL_A, rel=0.005)
    assert told(replace(log, output=None, output_kind=None), at_moments(log)) == pytest.approx(FULL_A, rel=0.005)


def test_mean_amps_are_taken_over_the_output_they_were_drawn_at(log: FiringLog) -> None:
    assert log.output is not None
    weak = log.output[:, 0] * FULL_A
    assert told(log, weak) == pytest.approx(FULL_A, rel=0.005)


def test_mean_amps_without_an_output_count_only_while_the_kiln_runs_flat_out(fire: Callable[..., FiringLog]) -> None:
    easy = fire(ramps=((80.0, 600.0, 0.0), (80.0, 900.0, 10.0)), cooling_h=1.0)
    hard = fire(ramps=((400.0, 1150.0, 10.0),), cooling_h=1.0)
    for firing, wanted in ((easy, None), (hard, FULL_A)):
        assert firing.output is not None
        amps = firing.output[:, 0] * FULL_A
        found = told(replace(firing, output=None, output_kind=None), amps)
        assert found == (wanted if wanted is None else pytest.approx(wanted, rel=0.03))


def test_a_sag_of_the_volts_is_taken_out_where_they_are_logged(log: FiringLog) -> None:
    volts = np.full(log.elapsed_s.size, 228.0)
    assert told(log, at_moments(log, FULL_A * 228.0 / 240.0), volts) == pytest.approx(FULL_A, rel=0.005)


@given(share=st.floats(0.3, 1.5))
@settings(max_examples=15, deadline=None)
def test_the_current_told_goes_with_the_current_drawn(log: FiringLog, share: float) -> None:
    whole, part = told(log, at_moments(log)), told(log, at_moments(log) * share)
    assert whole is not None
    assert part == pytest.approx(whole * share)


def test_one_line_of_three_is_not_taken_for_the_whole_kiln(log: FiringLog) -> None:
    one = replace(log, amps=at_moments(log)[:, None])
    three = replace(log, amps=np.repeat(at_moments(log)[:, None], 3, axis=1))
    wye = Kiln("k", volts=400.0, supply="three-phase wye", zones=("1",))
    assert measure(wye, one)[1].full_current is None
    assert measure(wye, three)[1].full_current is not None


def test_a_zone_that_is_always_on_with_half_its_elements_does_not_pass_for_everything(log: FiringLog) -> None:
    """Its 6 A flow in most readings; the 23 A with the other zone closed as well are what the kiln draws."""
    rows = log.elapsed_s.size
    zone_c = np.repeat(log.zone_c, 2, axis=1)
    duties = np.column_stack((np.ones(rows), np.full(rows, 0.4)))
    looked = np.random.default_rng(3).random(duties.shape) < duties
    flowing = np.random.default_rng(4).random(duties.shape) < duties  # the clamp is read at another moment
    amps = (6.0 * flowing[:, 0] + 17.0 * flowing[:, 1]) * np.random.default_rng(5).normal(1.0, 0.01, rows)
    two = replace(
        log, zone_c=zone_c, set_point_c=None, output=looked.astype(float), output_kind="on-off", zone_names=("1", "2")
    )
    assert told(two, amps) == pytest.approx(23.0, rel=0.01)


def torn(log: FiringLog, amps: FloatArray) -> TornCurrent | None:
    with_amps = replace(log, amps=amps[:, None])
    grid = grid_of(with_amps, 240.0)
    assert grid is not None
    return torn_current(with_amps, grid, drive_of(grid))


def coming_and_going(log: FiringLog, period_s: float) -> FloatArray:
    """The current of a kiln of which a third has contact only half of the time, for minutes on end."""
    lost = (log.elapsed_s / period_s) % 1.0 < 0.5
    return at_moments(log) * np.where(lost, 0.67, 1.0)


def test_a_part_of_the_current_that_comes_and_goes_is_seen(log: FiringLog) -> None:
    found = torn(log, coming_and_going(log, 1500.0))
    assert found is not None
    assert found.missing == pytest.approx(0.33, abs=0.02)
    assert found.turns >= 10


def test_a_sound_current_is_not_torn_nor_one_that_is_lost_for_good_nor_a_mean_over_time(log: FiringLog) -> None:
    assert log.output is not None
    assert torn(log, at_moments(log)) is None
    assert torn(log, log.output[:, 0] * FULL_A) is None
    middle = float(log.elapsed_s[np.argmax(log.zone_c[:, 0])]) / 2.0
    for_good = torn(log, at_moments(log) * np.where(log.elapsed_s > middle, 0.67, 1.0))
    assert for_good is not None
    assert for_good.turns == 1


@pytest.mark.parametrize("closed", [3, 0])
def test_a_clamps_noise_is_no_current(log: FiringLog, closed: int) -> None:
    """A relay that the samples hardly ever find closed, without an output to say so."""
    rng = np.random.default_rng(3)
    amps = np.round(np.abs(rng.normal(0.0, 0.1, log.elapsed_s.size)), 1)
    amps[rng.choice(100, closed, replace=False) + 50] = FULL_A
    blind = replace(log, output=None, output_kind=None)
    assert told(blind, amps) is None
    assert torn(blind, amps) is None


def test_zones_that_rest_in_turn_tear_no_current(fire: Callable[..., FiringLog], test_kiln: type) -> None:
    two = fire(test_kiln(zones=2), ramps=RAMPS, cooling_h=1.0)
    assert torn(two, coming_and_going(two, 1500.0)) is None


def wavering(log: FiringLog, amps: FloatArray) -> TornCurrent | None:
    with_amps = replace(log, amps=amps[:, None])
    grid = grid_of(with_amps, 240.0)
    assert grid is not None
    return wavering_current(with_amps, grid, drive_of(grid))


def means(log: FiringLog, of_duty: FloatArray | float = 1.0) -> FloatArray:
    """Amps as means over the time between rows, with a clamp's scatter."""
    assert log.output is not None
    amps: FloatArray = FULL_A * log.output[:, 0] * of_duty * np.random.default_rng(7).normal(1.0, 0.01, len(log.output))
    return amps


def test_mean_amps_beside_the_output_show_a_part_that_comes_and_goes_within_the_time_between_rows(
    log: FiringLog,
) -> None:
    rows = log.elapsed_s.size
    in_touch = np.clip(np.random.default_rng(8).normal(0.8, 0.4, rows), 0.0, 1.0)
    found = wavering(log, means(log, 1.0 - 0.35 * (1.0 - in_touch)))
    assert found is not None
    assert found.turns > 20
    assert 0.12 < found.missing < 0.35


def test_sound_means_do_not_waver_nor_those_of_an_element_that_opened_for_good(log: FiringLog) -> None:
    assert wavering(log, means(log)) is None
    middle = float(log.elapsed_s[np.argmax(log.zone_c[:, 0])]) / 2.0
    for_good = wavering(log, means(log, np.where(log.elapsed_s > middle, 0.67, 1.0)))
    assert for_good is None or for_good.turns <= 1


def test_readings_at_moments_outputs_that_jump_and_contacts_that_stay_closed_are_no_wavering_means(
    log: FiringLog, fire: Callable[..., FiringLog], test_kiln: type
) -> None:
    assert log.output is not None
    assert wavering(log, at_moments(log)) is None
    jumping = np.clip(log.output * np.random.default_rng(9).normal(1.0, 0.15, log.output.shape), 0.0, 1.0)
    assert wavering(replace(log, output=jumping), means(log)) is None
    assert wavering(log, np.full(log.elapsed_s.size, FULL_A)) is None
    assert wavering(replace(log, output_kind="on-off"), means(log, 0.5)) is None
    two = fire(test_kiln(zones=2), ramps=RAMPS, cooling_h=1.0)
    assert wavering(two, coming_and_going(two, 1500.0)) is None


def unasked(log: FiringLog, amps: FloatArray) -> float | None:
    with_amps = replace(log, amps=amps[:, None])
    grid = grid_of(with_amps, 240.0)
    assert grid is not None
    return unasked_current(with_amps, grid, drive_of(grid))


@pytest.fixture(scope="module")
def idling(fire: Callable[..., FiringLog]) -> FiringLog:
    """A firing that asks for everything at its end, and for nothing now and then at its beginning."""
    log = fire(ramps=((150.0, 600.0, 0.0), (300.0, 1200.0, 10.0)), cooling_h=1.0)
    assert log.output is not None
    early = (
        (log.elapsed_s > 600.0) & (log.elapsed_s < 7200.0) & (np.random.default_rng(6).random(log.elapsed_s.size) < 0.4)
    )
    return replace(log, output=np.where(early[:, None], 0.01, log.output))


def test_a_current_that_never_falls_below_a_circuit_s_flows_unasked(idling: FiringLog) -> None:
    """One contact of three stays closed: a third of the current flows, whatever is asked for, while it fires."""
    assert idling.output is not None
    sound = at_moments(idling)
    assert unasked(idling, sound) == pytest.approx(0.0, abs=0.01)
    closed = np.where(idling.output[:, 0] > 0.0, np.maximum(sound, FULL_A / 3.0), 0.0)
    assert unasked(idling, closed) == pytest.approx(1.0 / 3.0, rel=0.05)
    assert unasked(replace(idling, output_kind="on-off"), closed) is None  # its moments are not those of the clamp


def test_mean_amps_of_a_kiln_that_asks_for_little_are_what_was_asked_for(fire: Callable[..., FiringLog]) -> None:
    """A hold of three hours at an eighth of full output: all of that current was asked for."""
    log = fire(ramps=((150.0, 400.0, 180.0), (300.0, 1200.0, 10.0)), cooling_h=1.0)
    assert log.output is not None
    share = unasked(log, FULL_A * log.output[:, 0])
    assert share is not None
    assert abs(share) < 0.02


def test_it_cannot_be_told_in_a_firing_that_never_asked_for_everything(idling: FiringLog) -> None:
    assert idling.output is not None
    easy = replace(idling, output=np.minimum(idling.output, 0.5))
    assert unasked(easy, at_moments(easy)) is None


def test_a_zone_that_is_dead_and_always_on_does_not_lower_the_current_of_the_others(log: FiringLog) -> None:
    """Mean amps over mean time closed would be the whole kiln's only if the zones were closed for about as long."""
    rows = log.elapsed_s.size
    zone_c = np.repeat(log.zone_c, 2, axis=1)
    looked = np.column_stack((np.ones(rows), np.random.default_rng(3).random(rows) < 0.2))
    amps = 17.0 * (np.random.default_rng(4).random(rows) < 0.2)
    two = replace(
        log, zone_c=zone_c, set_point_c=None, output=looked.astype(float), output_kind="on-off", zone_names=("1", "2")
    )
    found = told(two, amps)
    assert found is None or found == pytest.approx(17.0, rel=0.02)

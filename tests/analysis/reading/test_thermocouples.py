"""Thermocouple spikes, dropouts and stuck readings are taken out and counted; a healthy kiln has none."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading.thermocouples import clean_zones

ONE = pen.firing(seed=40, zones=2, sample_s=60.0)


def clean(zones, point=None):
    before = zones.copy()
    cleaned, spikes = clean_zones(ONE.t, zones, point)
    np.testing.assert_array_equal(zones, before)  # what is given is never changed
    return cleaned, spikes


def test_a_healthy_firing_has_nothing_taken_out():
    cleaned, spikes = clean(np.round(ONE.zones))
    assert spikes == ()
    np.testing.assert_array_equal(cleaned, np.round(ONE.zones))


@pytest.mark.parametrize("size", [-900.0, -120.0, 120.0, 800.0])
@pytest.mark.parametrize("length", [1, 2, 8])
def test_a_jump_that_comes_back_is_a_spike(size, length):
    zones = ONE.zones.copy()
    zones[200 : 200 + length, 1] += size
    cleaned, spikes = clean(zones)
    assert np.isnan(cleaned[200 : 200 + length, 1]).all()
    assert np.isfinite(np.delete(cleaned[:, 1], range(200, 200 + length))).all()
    assert [(s.kind, s.zone, s.count, s.elapsed_s) for s in spikes] == [("spike", 1, length, ONE.t[200])]
    assert spikes[0].size_c == pytest.approx(size, abs=25)


@pytest.mark.parametrize("code", [9999.0, -200.0, 2500.0, 32767.0])
def test_the_codes_of_an_open_couple_are_dropouts(code):
    zones = ONE.zones.copy()
    zones[100:160, 0] = code
    cleaned, spikes = clean(zones)
    assert np.isnan(cleaned[100:160, 0]).all()
    assert [(s.kind, s.count) for s in spikes] == [("dropout", 60)]


def test_zero_as_the_code_of_an_open_couple_is_taken_out_while_hot():
    zones = ONE.zones.copy()
    zones[250:256, 0] = 0.0
    cleaned, spikes = clean(zones)
    assert np.isnan(cleaned[250:256, 0]).all()
    assert sum(s.count for s in spikes) == 6


def test_a_reading_held_while_the_other_zone_moves_is_stuck():
    zones = ONE.zones.copy()
    zones[150:260, 0] = zones[150, 0]
    cleaned, spikes = clean(zones)
    assert np.isnan(cleaned[151:260, 0]).all()
    assert [s.kind for s in spikes if s.zone == 0] == ["stuck"]


def test_a_zone_left_cold_by_a_dead_circuit_goes_on_by_single_degrees_and_is_not_stuck():
    """It stands at 20 deg C for half an hour and more, as the others pass 130: their warmth reaches it by degrees."""
    rows = np.arange(161)
    time = 60.0 * rows
    cold = np.round(20.0 + 4.0 * rows / 160.0)
    heated = np.round(20.0 + 300.0 * rows / 160.0)
    assert clean_zones(time, np.column_stack((cold, heated)), None)[1] == ()
    stuck = heated.copy()
    stuck[40:] = stuck[40]
    assert [s.kind for s in clean_zones(time, np.column_stack((stuck, heated)), None)[1]] == ["stuck"]


def test_a_couple_shorted_on_its_way_reads_the_room_and_is_no_cold_zone():
    """It rises by eight degrees where its neighbours, who would warm it by radiation, rise to 1200."""
    zones = np.round(ONE.zones)
    zones[:, 0] = np.round(24.0 + 8.0 * ONE.zones[:, 1] / ONE.zones[:, 1].max())
    cleaned, spikes = clean_zones(ONE.t, zones, None)
    assert {(s.zone, s.kind) for s in spikes} == {(0, "stuck")}
    assert np.isnan(cleaned[:, 0]).sum() > 100


def test_a_scale_that_ends_below_the_peak_is_stuck_there_though_it_is_left_by_a_single_degree():
    zones = np.round(ONE.zones)
    zones[:, 0] = np.minimum(zones[:, 0], 999.0)
    cleaned, spikes = clean(zones)
    assert [s.kind for s in spikes if s.zone == 0] == ["stuck"]
    assert np.count_nonzero(np.isnan(cleaned[:, 0])) > 60


def test_a_zone_that_holds_while_a_dead_one_is_still_warming_is_not_stuck():
    rows = np.arange(200)
    holding = np.minimum(18.0 + 20.0 * rows, 650.0)
    dead = 18.0 + 560.0 * (1.0 - np.exp(-rows / 120.0))
    zones = np.round(np.column_stack((dead, holding + (rows % 3 == 0), holding)))
    assert clean_zones(rows * 60.0, zones, None)[1] == ()


def test_a_single_zone_held_hot_while_its_set_point_climbs_on_is_stuck():
    zones = ONE.zones[:, :1].copy()
    zones[150:260, 0] = zones[150, 0]
    _, spikes = clean(zones, ONE.point[:, None])
    assert spikes[0].kind == "stuck"


def test_a_hold_a_cold_kiln_and_a_door_opened_hot_are_no_faults():
    zones = np.round(ONE.zones)
    zones[:60] = 20.0  # waiting for a delayed start
    zones[330:400] = 1222.0  # a long hold, read to a whole degree
    after = zones[420:] - 20.0
    zones[420:] = np.maximum(20.0, after - np.clip(np.arange(len(after)) * 18.0, 0, 400)[:, None])  # cooled by the door
    point = ONE.point.copy()
    point[:60] = 20.0
    point[330:400] = 1222.0
    assert clean(zones, np.column_stack([point, point]))[1] == ()


def test_a_zone_written_in_every_second_row_only_has_no_dropouts():
    zones = ONE.zones.copy()
    zones[1::2, 1] = np.nan
    assert clean(zones)[1] == ()

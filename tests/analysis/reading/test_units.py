"""Celsius or Fahrenheit is never guessed from the peak: header, units row, text, register, or what physics excludes."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import read_log
from config.kiln import Kiln, LogHints


def reading_of(unit, units_in, kiln=None, **firing):
    one = pen.firing(seed=1, sample_s=120.0, **firing)
    columns = firing.pop("columns", ("point", "zones"))
    written = pen.write(one, pen.Layout(unit=unit, units_in=units_in, columns=columns))
    return one, read_log(written.data, name=written.name, kiln=kiln or Kiln(id="juniper", time_zone="Europe/Dublin"))


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("units_in", ["header", "row", "text"])
def test_the_file_tells_the_unit(unit, units_in):
    one, reading = reading_of(unit, units_in)
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)
    assert (reading.account.temperature_unit, reading.account.temperature_unit_certain) == (unit, True)
    assert reading.account.unknown == ()


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_register_tells_the_unit(unit):
    kiln = Kiln(id="juniper", time_zone="Europe/Dublin", log=LogHints(temperature_unit=unit))
    one, reading = reading_of(unit, "register", kiln)
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)
    assert reading.account.unknown == ()


def test_a_register_against_the_header_is_followed_where_both_are_possible_and_said_loudly():
    kiln = Kiln(id="juniper", time_zone="Europe/Dublin", log=LogHints(temperature_unit="C"))
    one, reading = reading_of("F", "header", kiln, peak_c=600.0)
    assert reading.account.temperature_unit == "C"
    assert "the header says °F" in reading.problems[0]
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones * 1.8 + 32, atol=0.06)


@pytest.mark.parametrize(("register", "file", "room_c"), [("C", "F", 18.0), ("F", "C", 9.0)])
def test_a_register_that_no_kiln_can_obey_yields_to_the_header(register, file, room_c):
    kiln = Kiln(id="juniper", time_zone="Europe/Dublin", log=LogHints(temperature_unit=register))
    one, reading = reading_of(file, "header", kiln, room_c=room_c)
    assert reading.account.temperature_unit == file
    assert f"°{file} was taken" in reading.problems[0]
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)


@pytest.mark.parametrize(("register", "file", "room_c"), [("C", "F", 18.0), ("F", "C", 9.0)])
def test_a_register_that_no_kiln_can_obey_is_doubted_where_the_file_says_nothing(register, file, room_c):
    kiln = Kiln(id="juniper", time_zone="Europe/Dublin", log=LogHints(temperature_unit=register))
    _, reading = reading_of(file, "register", kiln, room_c=room_c)
    assert "TEMPERATURE UNIT DOUBTFUL" in reading.problems[0]
    assert "temperature_unit" in reading.account.unknown[0].setting


def test_a_number_with_its_unit_in_the_text_above_is_not_the_unit_of_the_log():
    one = pen.firing(seed=1, sample_s=120.0, peak_c=700.0, room_c=40.0)
    written = pen.write(one, pen.Layout(units_in="register", preamble=("Kiln limit 2350 °F", "")))
    assert not read_log(written.data, name=written.name).account.temperature_unit_certain


def test_a_peak_above_any_kiln_in_celsius_is_fahrenheit_and_the_reason_is_given():
    one, reading = reading_of("F", "register", peak_c=1222.0)
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)
    assert "no such kiln" in reading.account.temperature_unit_why


@pytest.mark.parametrize("peak_c", [560.0, 700.0])
def test_a_low_fahrenheit_firing_without_any_sign_is_not_read_in_silence(peak_c):
    _, reading = reading_of("F", "register", peak_c=peak_c)
    assert not reading.account.temperature_unit_certain
    assert "TEMPERATURE UNIT NOT KNOWN" in reading.problems[0]
    assert "temperature_unit" in reading.account.unknown[0].setting


def test_a_celsius_firing_of_the_same_numbers_is_not_read_in_silence_either():
    _, reading = reading_of("C", "register", peak_c=1063.0, room_c=45.0)
    assert reading.account.temperature_unit == "C"
    assert "TEMPERATURE UNIT NOT KNOWN" in reading.problems[0]


def test_a_cold_start_that_would_freeze_in_fahrenheit_is_celsius():
    _, reading = reading_of("C", "register", peak_c=1063.0, room_c=14.0)
    assert reading.account.temperature_unit_certain
    assert "below freezing" in reading.account.temperature_unit_why


@pytest.mark.parametrize(("unit", "room_c"), [("C", 32.0), ("F", 21.0)])
def test_the_room_column_tells_the_unit(unit, room_c):
    one = pen.firing(seed=1, sample_s=120.0, peak_c=700.0, room_c=room_c)
    written = pen.write(one, pen.Layout(unit=unit, units_in="register", columns=("zones", "room")))
    reading = read_log(written.data, name=written.name)
    assert reading.account.temperature_unit == unit
    assert reading.account.temperature_unit_certain
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)


def test_a_room_in_celsius_beside_zones_in_fahrenheit_keeps_its_own_unit():
    one = pen.firing(seed=1, sample_s=120.0)
    written = pen.write(one, pen.Layout(unit="F", columns=("zones", "room")))
    lines = written.data.decode().splitlines()
    lines[0] = lines[0].replace("Room (°F)", "Room (°C)")
    cold = [line.rsplit(",", 1)[0] + f",{value:.1f}" for line, value in zip(lines[1:], one.room, strict=True)]
    log = read_log("\n".join([lines[0], *cold]).encode() + b"\n", name=written.name, kiln=written.kiln).firings[0]
    np.testing.assert_allclose(log.room_c, one.room, atol=0.06)
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)


def test_kelvin_is_understood_from_the_header():
    one = pen.firing(seed=1, sample_s=120.0)
    rows = [f"{t:.0f},{zone + 273.15:.1f}" for t, zone in zip(one.t, one.zones[:, 0], strict=True)]
    log = read_log("\n".join(["time (s),temperature (Kelvin)", *rows]).encode() + b"\n", name="a.csv").firings[0]
    np.testing.assert_allclose(log.zone_c[:, 0], one.zones[:, 0], atol=0.06)


@pytest.mark.parametrize(("scale", "header"), [(1.0, "output"), (100.0, "output"), (100.0, "output (%)")])
def test_outputs_of_zero_to_one_and_of_percent_become_shares(scale, header):
    one = pen.firing(seed=2, sample_s=120.0, zones=1)
    rows = [
        f"{t:.0f},{zone:.1f},{share * scale:.3f}"
        for t, zone, share in zip(one.t, one.zones[:, 0], one.output[:, 0], strict=True)
    ]
    log = read_log("\n".join([f"time (s),temp (C),{header}", *rows]).encode() + b"\n", name="a.csv").firings[0]
    np.testing.assert_allclose(log.output[:, 0], one.output[:, 0], atol=0.006)
    assert log.output_kind == "duty"


@pytest.mark.parametrize("full", [1, 100])
def test_a_relays_state_is_told_from_a_duty(full):
    rng = np.random.default_rng(0)
    one = pen.firing(seed=2, sample_s=60.0, zones=1)
    on = (rng.random(one.t.size) < one.output[:, 0]).astype(int)
    rows = [f"{t:.0f},{zone:.1f},{state * full}" for t, zone, state in zip(one.t, one.zones[:, 0], on, strict=True)]
    log = read_log("\n".join(["time (s),temp (C),relay", *rows]).encode() + b"\n", name="a.csv").firings[0]
    assert log.output_kind == "on-off"
    np.testing.assert_array_equal(log.output[:, 0], on)


def test_a_power_column_in_watts_or_kilowatts_is_no_share_of_output():
    one = pen.firing(seed=2, sample_s=120.0, zones=1)
    rows = [
        f"{t:.0f},{zone:.1f},{9600 * share:.0f},{9.6 * share:.2f}"
        for t, zone, share in zip(one.t, one.zones[:, 0], one.output[:, 0], strict=True)
    ]
    reading = read_log("\n".join(["time (s),temp (C),power,power (kW)", *rows]).encode() + b"\n", name="a.csv")
    assert reading.firings[0].output is None
    assert [column.role for column in reading.account.columns[2:]] == ["ignore", "ignore"]


@pytest.mark.parametrize("empty", [0, 1])
def test_an_empty_output_column_beside_a_filled_one_does_not_spoil_its_scale(empty):
    one = pen.firing(seed=2, sample_s=120.0, zones=2)
    rows = []
    for t, zones, shares in zip(one.t, one.zones, one.output, strict=True):
        cells = [f"{100 * share:.0f}" for share in shares]
        cells[empty] = ""
        rows.append(f"{t:.0f},{zones[0]:.1f},{zones[1]:.1f},{cells[0]},{cells[1]}")
    header = "time (s),temp 1 (C),temp 2 (C),output 1,output 2"
    log = read_log("\n".join([header, *rows]).encode() + b"\n", name="a.csv").firings[0]
    np.testing.assert_allclose(log.output[:, 1 - empty], one.output[:, 1 - empty], atol=0.006)
    assert np.isnan(log.output[:, empty]).all()


def test_a_sensor_in_a_warm_controller_does_not_make_the_log_fahrenheit():
    temps = np.concatenate((np.linspace(45, 1200, 100), np.linspace(1190, 600, 60)))
    board = np.concatenate((np.linspace(35, 62, 100), np.linspace(62, 56, 60)))
    rows = "".join(f"{180 * n},{t:.0f},{b:.0f}\n" for n, (t, b) in enumerate(zip(temps, board, strict=True)))
    reading = read_log(f"elapsed_s,temp,board temp\n{rows}".encode(), name="a.csv", kiln=Kiln("k"))
    assert float(np.nanmax(reading.firings[0].zone_c)) == 1200.0

"""Columns are told apart by their names and by what they do, and the register's hints have the last word."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import UnreadableLog, read_log
from analysis.reading.names import what_name_says
from config.kiln import Kiln, LogHints

ONE = pen.firing(seed=20, zones=3, sample_s=120.0)


def table(header, *columns, mark=","):
    rows = [mark.join(f"{value:.1f}" for value in row) for row in zip(*columns, strict=True)]
    return (mark.join(header) + "\n" + "\n".join(rows) + "\n").encode()


def roles(reading):
    return [column.role for column in reading.account.columns]


@pytest.mark.parametrize(
    ("name", "role", "number", "place", "unit"),
    [
        ("Zone 1 (°C)", "zone", 1, None, "C"),
        ("T oben [°C]", "zone", None, "top", "C"),
        ("TC3", "zone", 3, None, None),
        ("Température haut", "zone", None, "top", None),
        ("Temps (min)", "time", None, None, "min"),
        ("el_s", "time", None, None, "s"),
        ("Set point 2 °F", "set point", 2, None, "F"),
        ("Sollwert", "set point", None, None, None),
        ("Consigne (°C)", "set point", None, None, "C"),
        ("Zone 2 output %", "output", 2, None, "%"),
        ("Stellgrad oben", "output", None, "top", None),
        ("Current L2 (A)", "amps", 2, None, "A"),
        ("Netzspannung", "volts", None, None, None),
        ("Raumtemperatur", "room", None, None, None),
        ("board_temp", "room", None, None, None),
        ("Hall temp.", "room", None, None, None),
        ("Cold junction", "room", None, None, None),
        ("Average temp", "average", None, None, None),
        ("Segment", "segment", None, None, None),
        ("Energy (kWh)", "ignore", None, None, "kWh"),
        ("Time of day", "clock", None, None, None),
        ("Fehler", "message", None, None, None),
        ("xyzzy", None, None, None, None),
    ],
)
def test_a_name_says_role_number_place_and_unit(name, role, number, place, unit):
    says = what_name_says(name)
    assert (says.role, says.number, says.place, says.unit) == (role, number, place, unit)


def test_room_board_average_energy_and_counters_are_not_taken_for_zones():
    n = ONE.t.size
    data = table(
        [
            "No",
            "time (s)",
            "temp top (C)",
            "temp bottom (C)",
            "average (C)",
            "board temp (C)",
            "kWh",
            "ramp rate",
            "vent",
        ],
        np.arange(n),
        ONE.t,
        ONE.zones[:, 0],
        ONE.zones[:, 1],
        ONE.zones[:, :2].mean(axis=1),
        ONE.room,
        np.cumsum(ONE.output[:, 0]) * 0.1,
        np.gradient(ONE.point),
        np.zeros(n),
    )
    reading = read_log(data, name="a.csv")
    assert reading.firings[0].zone_names == ("top", "bottom")
    np.testing.assert_allclose(reading.firings[0].room_c, ONE.room, atol=0.06)
    assert roles(reading) == [
        "ignore",
        "time",
        "zone top",
        "zone bottom",
        "average",
        "room",
        "ignore",
        "ignore",
        "ignore",
    ]


def test_zones_come_in_the_registers_order_whatever_the_files():
    data = table(["time (s)", "T bottom (C)", "T top (C)", "T middle (C)"], ONE.t, *ONE.zones.T)
    log = read_log(data, name="a.csv", kiln=Kiln(id="heron", zones=("top", "middle", "bottom"))).firings[0]
    assert log.zone_names == ("top", "middle", "bottom")
    np.testing.assert_allclose(log.zone_c, ONE.zones[:, [1, 2, 0]], atol=0.06)


def test_a_set_point_and_an_output_for_each_zone_go_to_their_zones():
    points = ONE.point[:, None] + [0.0, 5.0, 10.0]
    header = [
        "time (s)",
        *(f"{word} {z}{unit}" for z in (2, 1, 3) for word, unit in (("temp", " (C)"), ("sp", " (C)"), ("out", " (%)"))),
    ]
    columns = [part for z in (1, 0, 2) for part in (ONE.zones[:, z], points[:, z], 100 * ONE.output[:, z])]
    log = read_log(table(header, ONE.t, *columns), name="a.csv").firings[0]
    np.testing.assert_allclose(log.zone_c, ONE.zones, atol=0.06)
    np.testing.assert_allclose(log.set_point_c, points, atol=0.06)
    np.testing.assert_allclose(log.output, ONE.output, atol=0.006)


def test_outputs_numbered_alike_are_outputs_even_where_one_hardly_asks_for_heat():
    """A log of twenty minutes: one zone asks for nothing, another's output might be a room's temperature."""
    n = 11
    nil = np.array([20, *[0.0] * (n - 1)])
    some = np.array([9, 15, 0, 8, 9, 1, 0, 14, 10, 11, 21.0])
    warm = np.array([18, 12, 16, 16, 26, 23, 22, 21, 17, 34, 15.0])
    zones = [np.linspace(20.0, to, n) for to in (292.0, 71.0, 70.0)]
    data = table(
        ["tm (s)", "t1", "t2", "t3", "sp", "p1", "p2", "p3", "seg"],
        np.arange(n) * 120.0,
        *zones,
        np.linspace(19.0, 70.0, n),
        nil,
        some,
        warm,
        np.ones(n),
    )
    kiln = Kiln(id="juniper", zones=("1", "2", "3"), log=LogHints(temperature_unit="C"))
    log = read_log(data, name="a.csv", kiln=kiln).firings[0]
    assert log.output is not None
    np.testing.assert_allclose(100 * log.output[:n], np.column_stack((nil, some, warm)), atol=0.06)


def test_one_output_numbered_2_is_the_second_zones_alone():
    header = ["time (s)", "temp 1 (C)", "temp 2 (C)", "out 2 (%)"]
    log = read_log(table(header, ONE.t, *ONE.zones[:, :2].T, 100 * ONE.output[:, 1]), name="a.csv").firings[0]
    assert log.output is not None
    assert np.isnan(log.output[:, 0]).all()
    np.testing.assert_allclose(log.output[:, 1], ONE.output[:, 1], atol=0.006)


def test_amps_of_each_line_are_kept_apart():
    lines = ONE.amps[:, None] * [1.0, 1.1, 0.9]
    header = ["time (s)", "temp (C)", "current L1 (A)", "current L2 (A)", "current L3 (A)"]
    log = read_log(table(header, ONE.t, ONE.zones[:, 0], *lines.T), name="a.csv").firings[0]
    np.testing.assert_allclose(log.amps, lines, atol=0.06)


def test_headers_without_meaning_are_read_by_what_the_columns_do():
    data = table(["a", "b", "c", "d", "e"], ONE.t / 60, ONE.point, ONE.zones[:, 0], 100 * ONE.output[:, 0], ONE.volts)
    kiln = Kiln(id="juniper", zones=("only",), log=LogHints(temperature_unit="C"))
    reading = read_log(data, name="a.csv", kiln=kiln)
    assert roles(reading) == ["time", "set point", "zone", "output", "volts"]
    assert all(column.why for column in reading.account.columns)


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0)])
@pytest.mark.parametrize("zones", [(), ("top", "bottom")])
def test_a_set_point_the_kiln_fell_far_behind_and_that_stays_at_its_peak_is_no_zone(order, zones):
    t = np.arange(0.0, 270.0)
    rng = np.random.default_rng(3)
    point = np.minimum(20.0 + 6.1 * t, 1284.0)
    shape = np.where(t < 220, 5.4 * t - 0.0026 * t**2, 1062.0 * np.exp(-(t - 220) / 260.0))
    top, bottom = (20.0 + shape * part + rng.normal(0.0, 0.05, t.size) for part in (0.98, 1.0))
    columns = [np.round(column, 1) for column in (point, top, bottom)]
    data = table(["a", "b", "c", "d"], t * 60.0, *(columns[place] for place in order))
    kiln = Kiln(id="juniper", zones=zones, log=LogHints(temperature_unit="C", time_unit="s"))
    reading = read_log(data, name="a.csv", kiln=kiln)
    assert [role == "set point" for role in roles(reading)[1:]] == [place == 0 for place in order]
    assert reading.firings[0].spikes == ()


@pytest.mark.parametrize("name", ["Minutes left", "q"])
def test_minutes_left_are_neither_a_zone_nor_the_set_point(name):
    left = np.round((ONE.t[-1] - ONE.t) / 60.0)
    data = table(["time_s", "kiln", name, "board temp"], ONE.t, ONE.zones[:, 0], left, 20.0 + ONE.t / 9000.0)
    reading = read_log(data, name="a.csv", kiln=Kiln(id="juniper", log=LogHints(temperature_unit="C")))
    assert roles(reading) == ["time", "zone", "ignore", "room"]
    assert reading.firings[0].set_point_c is None


def test_a_set_point_that_stands_while_the_kiln_cools_for_a_few_rows_is_known_by_that():
    t = np.arange(0.0, 250.0)
    point = np.minimum(22.0 + 3.2 * t, 806.0)
    zone = np.where(t < 246, point + np.where(t > 60, 2.0, -1.0), 806.0 - 9.0 * (t - 245.0))
    data = table(["a", "b", "c"], t * 60.0, np.round(zone), np.round(point))
    reading = read_log(data, name="a.csv", kiln=Kiln(id="juniper", log=LogHints(temperature_unit="C", time_unit="s")))
    assert roles(reading) == ["time", "zone", "set point"]


def test_a_failing_thermocouple_that_jumps_about_the_set_point_is_still_the_zone():
    t = np.arange(0.0, 900.0)
    rng = np.random.default_rng(5)
    point = np.where(t < 560, 20.0 + 1.9 * t, 0.0)
    zone = np.where(t < 560, point + 3.0, 1084.0 * np.exp(-(t - 560) / 400.0))
    zone = np.where(rng.random(t.size) < 0.12, zone * rng.uniform(0.1, 0.9, t.size), zone)
    data = table(["a", "b", "c"], t * 60.0, np.round(zone, 1), np.round(point, 1))
    reading = read_log(data, name="a.csv", kiln=Kiln(id="juniper", log=LogHints(temperature_unit="C", time_unit="s")))
    assert roles(reading) == ["time", "zone", "set point"]


def test_a_kiln_that_never_warmed_up_is_still_read():
    one = pen.firing(seed=21, zones=2, sample_s=60.0, peak_c=60.0)
    layout = pen.Layout(header=False, units_in="register", time="minutes", columns=("zones", "point", "output"))
    written = pen.write(one, layout)
    log = read_log(written.data, name=written.name, kiln=written.kiln).firings[0]
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)


def test_a_message_column_gives_events_and_a_programme_column_the_name():
    rows = [
        f"{t:.0f},{zone:.1f},glaze 1222,{'sensor 2 open' if 100 <= k < 103 else ''}"
        for k, (t, zone) in enumerate(zip(ONE.t, ONE.zones[:, 0], strict=True))
    ]
    log = read_log("\n".join(["time (s),temp (C),programme,message", *rows]).encode() + b"\n", name="a.csv").firings[0]
    assert [(event.elapsed_s, event.text) for event in log.events] == [(ONE.t[100], "sensor 2 open")]
    assert log.programme == "glaze 1222"


@pytest.mark.parametrize("name", ["shed_temp", "gazebo_temp"])
@pytest.mark.parametrize("zones", [(), ("1", "2", "3")])
def test_a_temperature_too_many_that_stays_cold_is_the_rooms(name, zones):
    """Taken for a fourth zone it would stand at full output and not rise: urgent, from the first firing on."""
    data = table(["time (s)", "reading_1", "reading_2", "reading_3", name], ONE.t, *ONE.zones.T, ONE.room + 15.0)
    reading = read_log(data, name="a.csv", kiln=Kiln("juniper", zones=zones))
    assert reading.firings[0].zone_c.shape[1] == 3
    np.testing.assert_allclose(reading.firings[0].room_c, ONE.room + 15.0, atol=0.06)


@pytest.mark.parametrize(
    ("names", "zones"),
    [
        (("reading_1", "reading_2", "reading_3"), ("1", "2", "3")),
        (("temp top", "temp middle", "temp bottom"), ("kiln",)),
        (("temp1", "temp2", "temp3"), ("kiln",)),
        (("temp top", "temp middle", "temp bottom"), ("top", "bottom")),
    ],
)
def test_one_of_the_kilns_own_thermocouples_may_be_as_cold_as_the_room(names, zones):
    """It has a number or a place of its own; a zone must not be lost the day its couple dies."""
    data = table(["time (s)", *names], ONE.t, *ONE.zones[:, :2].T, ONE.room)
    log = read_log(data, name="a.csv", kiln=Kiln("juniper", zones=zones)).firings[0]
    assert log.room_c is None
    assert log.zone_c.shape[1] == 3


def test_a_reading_of_nothing_but_nought_is_no_rooms():
    data = table(["time (s)", "reading_1", "reading_2", "probe temp"], ONE.t, *ONE.zones[:, :2].T, 0.0 * ONE.room)
    assert read_log(data, name="a.csv", kiln=Kiln("juniper", zones=("1", "2"))).firings[0].room_c is None


class TestHints:
    """``[kiln.log]`` overrules recognition; each hint is checked and its error names it."""

    data = table(["a", "b", "c", "d"], ONE.t, ONE.zones[:, 0], ONE.zones[:, 1], ONE.room)

    def read(self, data=None, **hints):
        hints.setdefault("temperature_unit", "C")
        kiln = Kiln(id="juniper", zones=("top", "bottom"), log=LogHints(**hints))
        return read_log(data or self.data, name="a.csv", kiln=kiln)

    def test_columns_are_named_by_name_or_number(self):
        reading = self.read(columns={"b": "zone bottom", "3": "zone top", "d": "ignore"})
        np.testing.assert_allclose(reading.firings[0].zone_c, ONE.zones[:, [1, 0]], atol=0.06)
        assert reading.firings[0].room_c is None
        assert reading.account.columns[1].why == "setting [kiln.log] columns"

    def test_a_column_that_is_not_there_is_refused_by_name(self):
        with pytest.raises(UnreadableLog, match=r"columns names 'T9'.*It has: a, b, c, d"):
            self.read(columns={"T9": "zone top"})

    def test_a_role_that_is_none_is_refused_with_the_list(self):
        with pytest.raises(UnreadableLog, match=r"role 'zonne top', which is none.*set point"):
            self.read(columns={"b": "zonne top"})

    def test_a_text_column_cannot_be_a_zone(self):
        rows = [f"{t:.0f},{z:.1f},ramp" for t, z in zip(ONE.t, ONE.zones[:, 0], strict=True)]
        with pytest.raises(UnreadableLog, match="holds text"):
            self.read("\n".join(["a,b,c", *rows]).encode(), columns={"c": "zone top"})

    def test_delimiter_decimal_and_encoding_are_followed(self):
        one = pen.firing(seed=22, zones=2, sample_s=120.0)
        layout = pen.Layout(delimiter=";", decimal=",", encoding="cp1252")
        log = self.read(pen.write(one, layout).data, delimiter=";", decimal=",", encoding="cp1252").firings[0]
        np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)

    @pytest.mark.parametrize(
        ("hints", "words"),
        [
            ({"delimiter": ";;"}, "delimiter = ';;' must be one plain character"),
            ({"delimiter": "§"}, "delimiter = '§' must be one plain character"),
            ({"delimiter": "."}, "delimiter = '.' must be one plain character that stands in no number"),
            ({"delimiter": "|"}, "no table of numbers was found with .*delimiter"),
            ({"encoding": "latin-17"}, "encoding = 'latin-17' is no text encoding"),
            ({"encoding": "rot13"}, "encoding = 'rot13' is no text encoding"),
            ({"time_zone": "Mars/Olympus"}, "time_zone = 'Mars/Olympus' is no time zone"),
        ],
    )
    def test_a_wrong_hint_is_refused_by_name(self, hints, words):
        with pytest.raises(UnreadableLog, match=words):
            self.read(**hints)


@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
@pytest.mark.parametrize("comment", ["", "# ", "// "])
def test_blank_first_cells_above_the_table_do_not_move_names_or_units_to_other_columns(delimiter, comment):
    """Time of day, zones in Fahrenheit, room in Celsius: one column off would be a wrong unit in silence."""
    n = ONE.t.size
    rows = [
        [str(k), f"{ONE.t[k]:.0f}", f"{ONE.zones[k, 0] * 1.8 + 32:.1f}", f"{ONE.room[k]:.1f}", f"{ONE.volts[k]:.1f}"]
        for k in range(n)
    ]
    above = [["", "time", "temperature", "room", "supply"], ["", "s", "F", "C", "V"]]
    text = "\n".join([*(comment + delimiter.join(row) for row in above), *map(delimiter.join, rows)]) + "\n"
    reading = read_log(text.encode(), name="2026-03-02_0814.csv", kiln=Kiln(id="juniper", time_zone="UTC"))
    log = reading.firings[0]
    np.testing.assert_allclose(log.zone_c[:, 0], ONE.zones[:, 0], atol=0.06)
    np.testing.assert_allclose(log.room_c, ONE.room, atol=0.06)
    np.testing.assert_allclose(log.volts, ONE.volts, atol=0.06)
    assert [column.unit for column in reading.account.columns] == ["", "s", "F", "C", "V"]


@pytest.mark.parametrize("delimiter", [" ", ",", ";", "\t"])
@pytest.mark.parametrize("quote", ["", '"'])
def test_a_header_one_name_short_above_numbered_rows_names_the_columns_after_the_number(delimiter, quote):
    rows = [
        delimiter.join([f"{quote}{k + 1}{quote}", f"{ONE.t[k]:.0f}", *(f"{value:.1f}" for value in ONE.zones[k])])
        for k in range(ONE.t.size)
    ]
    text = "\n".join([delimiter.join(["seconds", "top", "middle", "bottom"]), *rows]) + "\n"
    kiln = Kiln(id="juniper", time_zone="UTC", log=LogHints(temperature_unit="C"))
    reading = read_log(text.encode(), name="2026-03-02_0814.csv", kiln=kiln)
    np.testing.assert_allclose(reading.firings[0].elapsed_s, ONE.t, atol=1)
    np.testing.assert_allclose(reading.firings[0].zone_c, ONE.zones, atol=0.06)
    assert reading.firings[0].zone_names == ("top", "middle", "bottom")


@pytest.mark.parametrize(
    ("decimal", "stamp"),
    [(",", "{h:02d}:{m:02d}:00"), (",", "{m}"), (".", "{h:02d}:{m:02d}:00"), (",", "02-Mar-2026_{h:02d}:{m:02d}:00")],
)
def test_blanks_between_columns_with_a_decimal_comma_are_not_cut_at_the_comma(decimal, stamp):
    """One zone beside the time: the comma stands in every row as a delimiter would."""
    rows = [
        f"{stamp.format(h=int(t) // 3600, m=int(t) // 60 % 60 if 'h' in stamp else int(t) // 60)}   {z:8.1f}"
        for t, z in zip(ONE.t, ONE.zones[:, 0], strict=True)
    ]
    text = "\n".join(["elapsed   temp", *rows]).replace(".", decimal) + "\n"
    kiln = Kiln(id="juniper", time_zone="UTC", log=LogHints(temperature_unit="C"))
    log = read_log(text.encode(), name="2026-03-02_0814.csv", kiln=kiln).firings[0]
    np.testing.assert_allclose(log.elapsed_s, ONE.t, atol=1)
    np.testing.assert_allclose(log.zone_c[:, 0], ONE.zones[:, 0], atol=0.06)


def test_columns_with_nothing_below_their_headers_are_as_good_as_not_there():
    rows = "".join(f"{60 * n},{20 + 3 * n},,\n" for n in range(300))
    data = f"elapsed_s,temp (C),output %,volts\n{rows}".encode()
    log = read_log(data, name="a.csv", kiln=Kiln("k")).firings[0]
    assert (log.output, log.output_kind, log.volts) == (None, None, None)

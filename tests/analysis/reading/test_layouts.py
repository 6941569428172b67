"""A firing written in any layout reads back as it was: time, zones, set point, output, start."""

import json
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import Reading, read_log
from config.kiln import Kiln, LogHints


def read(written: pen.Written) -> Reading:
    return read_log(written.data, name=written.name, kiln=written.kiln)


def reads_back(one: pen.Firing, written: pen.Written) -> Reading:
    """Read a written log and hold it against the firing: the one assertion all layouts share."""
    layout = written.layout
    reading = read(written)
    assert len(reading.firings) == 1
    log = reading.firings[0]
    count = 10.0**-layout.decimals / (1.8 if layout.unit == "F" else 1.0)
    rows = written.rows
    assert log.zone_c.shape == (len(rows), one.zones.shape[1]), reading.account.rows
    np.testing.assert_allclose(log.zone_c, one.zones[rows], atol=0.51 * count + 1e-6)
    np.testing.assert_allclose(log.elapsed_s, one.t[rows] - one.t[rows[0]], atol=1.0)
    if "point" in layout.columns:
        np.testing.assert_allclose(log.set_point_c[:, 0], one.point[rows], atol=0.51 * count + 1e-6)
    if "output" in layout.columns:
        np.testing.assert_allclose(log.output, one.output[rows], atol=0.006)
    assert log.started is not None
    assert abs((log.started - one.start).total_seconds() - one.t[rows[0]]) <= 1.0
    rows_of_file = reading.account.rows
    assert rows_of_file.lines == (
        rows_of_file.used
        + rows_of_file.repeated
        + rows_of_file.blank
        + rows_of_file.text
        + rows_of_file.headers
        + rows_of_file.cut
        + rows_of_file.damaged
        + rows_of_file.empty
    )
    return reading


@pytest.mark.parametrize("time", pen.TIMES)
@pytest.mark.parametrize(("delimiter", "decimal"), [(",", "."), (";", ","), ("\t", "."), ("|", ".")])
def test_every_way_of_writing_the_time_reads_back_with_every_delimiter(time, delimiter, decimal):
    one = pen.firing(seed=3, zones=2, sample_s=120.0, start=datetime(2026, 4, 17, 17, 45, tzinfo=UTC))
    layout = pen.Layout(time=time, delimiter=delimiter, decimal=decimal)
    assert reads_back(one, pen.write(one, layout)).problems == ()


@pytest.mark.parametrize("language", sorted(pen.HEADERS))
def test_headers_in_seven_languages_are_understood_with_all_their_columns(language):
    one = pen.firing(seed=4, zones=3, sample_s=120.0)
    columns = ("point", "zones", "output", "volts", "amps", "room", "segment")
    log = reads_back(one, pen.write(one, pen.Layout(language=language, columns=columns))).firings[0]
    np.testing.assert_allclose(log.volts, one.volts, atol=0.06)
    np.testing.assert_allclose(log.amps[:, 0], one.amps, atol=0.06)
    np.testing.assert_allclose(log.room_c, one.room, atol=0.06)
    np.testing.assert_array_equal(log.segment, one.segment)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends_are_recognised(encoding, line_end):
    one = pen.firing(seed=5, sample_s=120.0)
    layout = pen.Layout(language="french", encoding=encoding, line_end=line_end, units_in="row", delimiter=";")
    reads_back(one, pen.write(one, layout))


def test_mixed_line_ends_in_one_file_do_not_lose_rows():
    one = pen.firing(seed=6, sample_s=120.0)
    data = pen.write(one, pen.Layout()).data
    lines = data.split(b"\n")
    mixed = b"".join(line + (b"\r\n", b"\n")[k % 2] for k, line in enumerate(lines[:-1]))
    assert read_log(mixed, name="2026-03-02_0814.csv").firings[0].elapsed_s.size == one.t.size


@pytest.mark.parametrize("form", ["flat", "nested", "zones"])
@pytest.mark.parametrize("time", ["ISO", "ISO offset", "seconds", "epoch ms", "h:mm:ss"])
def test_json_lines_flat_or_nested_read_back(form, time):
    one = pen.firing(seed=7, zones=3, sample_s=120.0)
    reads_back(one, pen.write(one, pen.Layout(json=form, time=time)))


@pytest.mark.parametrize("label", ["zone", "name", None])
def test_json_lines_with_a_list_of_zones_read_back(label):
    one = pen.firing(seed=7, zones=3, sample_s=120.0)
    lines = []
    for k in range(one.t.size):
        zones = [
            {"temp": round(float(one.zones[k, z]), 1), "output": round(100.0 * float(one.output[k, z]))}
            for z in range(3)
        ]
        if label is not None:  # written in another order than they are numbered: the label tells, not the place
            zones = [{label: z + 1} | zones[z] for z in (2, 0, 1)]
        lines.append(json.dumps({"elapsed_s": float(one.t[k]), "zones": zones, "setpoint": float(one.point[k])}))
    log = read_log("\n".join(lines).encode() + b"\n", name="2026-03-02_0814.jsonl").firings[0]
    assert log.zone_names == ("1", "2", "3")
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)
    np.testing.assert_allclose(log.output, one.output, atol=0.006)
    np.testing.assert_allclose(log.set_point_c[:, 0], one.point, atol=1e-6)


@pytest.mark.parametrize("mark", [" ", "\t", ", ", ",", "; ", ";", " | "])
@pytest.mark.parametrize("sign", ["=", ": ", " = "])
@pytest.mark.parametrize("time", ["ISO", "ISO offset", "seconds", "epoch ms", "h:mm:ss", "day first", "12-hour"])
def test_lines_of_pairs_read_back_whatever_parts_and_joins_them(mark, sign, time):
    one = pen.firing(seed=7, zones=3, sample_s=120.0)
    layout = pen.Layout(language="terse", units_in="register", pairs=mark, sign=sign, time=time)
    assert reads_back(one, pen.write(one, layout)).account.form == "key=value lines"


def test_one_json_array_of_objects_reads_like_json_lines():
    one = pen.firing(seed=7, zones=2, sample_s=300.0)
    written = pen.write(one, pen.Layout(json="flat", time="ISO"))
    array = b"[" + written.data.strip().replace(b"\n", b",\n") + b"]\n"
    assert read(replace(written, data=array)).firings[0].elapsed_s.size == one.t.size


def test_fixed_width_with_a_ruler_line_reads_back():
    one = pen.firing(seed=8, sample_s=120.0)
    written = pen.write(one, pen.Layout(fixed=True, delimiter=" ", time="h:mm:ss"))
    head, _, rest = written.data.partition(b"\n")
    ruled = head + b"\n" + b"  ".join([b"-" * 12] * 6) + b"\n" + rest
    assert reads_back(one, replace(written, data=ruled)).account.form == "fixed-width table"


def test_blank_cells_in_a_fixed_width_table_keep_their_columns():
    one = pen.firing(seed=9, zones=2, sample_s=120.0)
    written = pen.write(one, pen.Layout(fixed=True, delimiter=" ", time="ISO", columns=("point", "zones")))
    lines = written.data.decode().splitlines()
    stopped = len(lines) * 2 // 3
    blank = [line if k < stopped else line[:19] + " " * 14 + line[33:] for k, line in enumerate(lines)]
    log = read_log("\n".join(blank).encode() + b"\n", name=written.name, kiln=written.kiln).firings[0]
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)
    assert np.isnan(log.set_point_c[-10:]).all()
    np.testing.assert_allclose(log.set_point_c[:100, 0], one.point[:100], atol=0.06)


@pytest.mark.parametrize("zones", [1, 2, 3, 4, 5, 6])
def test_one_to_six_zones_are_told_from_set_point_output_and_supply_without_a_header(zones):
    one = pen.firing(seed=10, zones=zones, sample_s=60.0)
    layout = pen.Layout(
        header=False, units_in="register", time="minutes", columns=("zones", "point", "output", "volts", "segment")
    )
    log = reads_back(one, pen.write(one, layout)).firings[0]
    np.testing.assert_allclose(log.volts, one.volts, atol=0.06)


def test_without_a_header_and_without_a_register_the_set_point_is_still_found_by_its_straight_lines():
    one = pen.firing(seed=11, zones=2, sample_s=60.0)
    layout = pen.Layout(header=False, units_in="register", time="minutes", columns=("point", "zones"))
    written = pen.write(one, layout)
    log = read_log(
        written.data, name=written.name, kiln=Kiln(id="juniper", log=LogHints(temperature_unit="C"))
    ).firings[0]
    assert log.zone_c.shape[1] == 2
    np.testing.assert_allclose(log.set_point_c[:, 0], one.point, atol=0.06)


@pytest.mark.parametrize("zones", [2, 3])
def test_a_set_point_in_tenths_is_told_from_zones_in_whole_degrees_at_whole_seconds(zones):
    """In whole degrees a zone lies as near its line as rounding allows, and whole seconds bend a fine set point."""
    one = pen.firing(seed=14, zones=zones, sample_s=60.0)
    rng = np.random.default_rng(14)
    climbing = one.t <= one.t[int(one.point.argmax())]
    at = one.t[climbing] + rng.uniform(-4.0, 4.0, int(climbing.sum()))
    point = np.interp(at, one.t, one.point)
    zone_c = [np.interp(at, one.t, one.zones[:, n]) + rng.normal(0.0, 0.1, at.size) for n in range(zones)]
    seconds = 1_649_831_715 + (0.4 * at).astype(int)  # a fast firing
    rows = zip(seconds, *(np.rint(c).astype(int) for c in zone_c), np.round(point, 1), strict=True)
    text = "".join("\t".join(str(cell) for cell in row) + "\n" for row in rows)
    kiln = Kiln(id="juniper", zones=tuple("abc"[:zones]), log=LogHints(temperature_unit="C"))
    log = read_log(text.encode(), name="f.log", kiln=kiln).firings[0]
    assert log.zone_c.shape[1] == zones
    np.testing.assert_allclose(log.set_point_c[:, 0], np.round(point, 1), atol=0.06)


def test_quoted_cells_with_decimal_commas_between_commas_read_back():
    one = pen.firing(seed=12, zones=2, sample_s=120.0)
    reads_back(one, pen.write(one, pen.Layout(quoted=True, delimiter=",", decimal=",")))


@pytest.mark.parametrize("mark", [",", ".", " ", "'"])
def test_thousands_marks_are_taken_off(mark):
    one = pen.firing(seed=13, zones=1, sample_s=120.0)
    decimal = "," if mark == "." else "."
    written = pen.write(one, pen.Layout(delimiter=";", decimal=decimal, columns=("point", "zones")))
    text = written.data.decode()
    lines = [
        ";".join([cells[0], *[cell if len(cell) < 6 else cell[:-5] + mark + cell[-5:] for cell in cells[1:]]])
        for cells in (line.split(";") for line in text.splitlines()[1:])
    ]
    data = (text.splitlines()[0] + "\n" + "\n".join(lines) + "\n").encode()
    reads_back(one, replace(written, data=data))


def test_numbers_with_their_units_attached_read_as_numbers():
    one = pen.firing(seed=14, zones=1, sample_s=120.0)
    written = pen.write(one, pen.Layout(units_in="register", columns=("zones", "output")))
    lines = written.data.decode().splitlines()
    marked = [lines[0], *("{} s,{}°C,{} %".format(*line.split(",")) for line in lines[1:])]
    reads_back(one, replace(written, data="\n".join(marked).encode() + b"\n"))


def test_a_preamble_and_a_footer_are_text_and_no_samples():
    one = pen.firing(seed=15, sample_s=120.0)
    preamble = ("Kiln log export", "Programme: glaze 1222", "Operator: nobody; shelf 3, loose", "")
    written = pen.write(one, pen.Layout(preamble=preamble))
    reading = reads_back(one, replace(written, data=written.data + b"End of log, kiln off\n"))
    assert reading.firings[0].programme == "glaze 1222"
    assert reading.firings[0].events[-1].text == "End of log, kiln off"
    assert reading.account.preamble[0] == "Kiln log export"


layouts = st.builds(
    pen.Layout,
    time=st.sampled_from(pen.TIMES),
    language=st.sampled_from(sorted(pen.HEADERS)),
    units_in=st.sampled_from(["header", "row", "text", "register"]),
    unit=st.sampled_from(["C", "F"]),
    decimals=st.integers(0, 2),
    columns=st.sampled_from(
        [
            ("point", "zones", "output"),
            ("zones",),
            ("zones", "output", "amps"),
            ("zones", "point", "volts", "room"),
            ("point", "zones", "segment"),
            ("room", "zones", "output", "point"),
        ]
    ),
    output_scale=st.sampled_from([1.0, 100.0]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    preamble=st.sampled_from([(), ("Studio record", "programme: glaze 6", "")]),
    quoted=st.sampled_from([False, False, True]),
)
marks = st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", "."), ("\t", ","), ("|", ".")])
defects = st.lists(
    st.sampled_from(["cut", "repeat", "swap", "gap", "NUL", "text", "header", "blank line"]), max_size=4, unique=True
)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    layout=layouts,
    mark=marks,
    spoiled=defects,
    zones=st.integers(1, 4),
    sample_s=st.sampled_from([120.0, 240.0]),
    jitter_s=st.sampled_from([0.0, 5.0]),
    after_h=st.integers(0, 24 * 300),
    seed=st.integers(0, 2**16),
)
def test_any_layout_with_any_defects_reads_back_within_one_count_and_one_sample(
    layout, mark, spoiled, zones, sample_s, jitter_s, after_h, seed
):
    start = datetime(2026, 1, 1, 6, tzinfo=UTC) + timedelta(hours=after_h)
    one = pen.firing(seed, zones, sample_s, start=start, jitter_s=jitter_s)
    layout = replace(layout, delimiter=mark[0], decimal=mark[1])
    written = pen.spoil(one, layout, spoiled, seed)
    reading = reads_back(one, written)
    said = [event.text for event in reading.firings[0].events]
    assert sorted(said) == sorted(text.strip("* ") for text in written.text)
    named = " ".join(reading.problems)
    for defect, words in {"cut": "cut off", "NUL": "NUL", "header": "header is repeated", "gap": "gap of"}.items():
        assert (words in named) == (defect in spoiled and not (defect == "header" and not layout.header)), (
            reading.problems
        )
    assert reading.firings[0].spikes == ()
    assert reading.firings[0].complete_tail == ("cut" not in spoiled)


class TestOddTables:
    """Tables that loggers and cloud exports write, and that are no worse for it."""

    one = pen.firing(seed=50, zones=2, sample_s=120.0)

    def read(self, header, row, name="2026-03-02_0814.csv", **hints):
        at = [self.one.start + timedelta(seconds=float(t)) for t in self.one.t]
        rows = [row(k, at[k], self.one.t[k], *self.one.zones[k]) for k in range(self.one.t.size)]
        kiln = Kiln(id="juniper", time_zone="UTC", log=LogHints(**hints))
        log = read_log("\n".join([*header, *rows]).encode() + b"\n", name=name, kiln=kiln).firings[0]
        np.testing.assert_allclose(log.zone_c, self.one.zones, atol=0.06)
        np.testing.assert_allclose(log.elapsed_s, self.one.t, atol=1.0)
        assert log.started == self.one.start
        return log

    @pytest.mark.parametrize("trailing", ["", ","])
    def test_a_comma_at_the_end_of_each_row_is_no_column(self, trailing):
        self.read([f"time (s),T1 (C),T2 (C){trailing}"], lambda k, at, t, a, b: f"{t:.0f},{a:.1f},{b:.1f},")

    def test_a_header_in_two_rows(self):
        log = self.read(
            ["time (s),Zone 1,,Zone 2,", ",Temp C,SP C,Temp C,SP C"],
            lambda k, at, t, a, b: f"{t:.0f},{a:.1f},{self.one.point[k]:.1f},{b:.1f},{self.one.point[k]:.1f}",
        )
        np.testing.assert_allclose(log.set_point_c[:, 1], self.one.point, atol=0.06)

    def test_a_header_behind_a_comment_sign(self):
        self.read(["# time_s T1_C T2_C"], lambda k, at, t, a, b: f"{t:.0f} {a:.1f} {b:.1f}")

    def test_a_line_naming_the_delimiter_for_a_spreadsheet(self):
        self.read(["sep=;", "time (s);T1 (C);T2 (C)"], lambda k, at, t, a, b: f"{t:.0f};{a:.1f};{b:.1f}")

    def test_a_table_drawn_with_bars(self):
        self.read(
            ["| time (s) | T1 (C) | T2 (C) |", "|---|---|---|"],
            lambda k, at, t, a, b: f"| {t:.0f} | {a:.1f} | {b:.1f} |",
        )

    def test_rows_with_empty_lines_between_them(self):
        self.read(["time (s),T1 (C),T2 (C)", ""], lambda k, at, t, a, b: f"{t:.0f},{a:.1f},{b:.1f}\n")

    def test_an_index_before_the_time(self):
        self.read([",time (s),T1 (C),T2 (C)"], lambda k, at, t, a, b: f"{k},{t:.0f},{a:.1f},{b:.1f}")

    def test_numbers_in_scientific_notation(self):
        self.read(["time (s),T1 (C),T2 (C)"], lambda k, at, t, a, b: f"{t:.6e},{a:.6e},{b:.6e}")

    def test_a_bracketed_stamp(self):
        self.read(["time;T1 (C);T2 (C)"], lambda k, at, t, a, b: f"[{at:%Y-%m-%d %H:%M:%S}];{a:.1f};{b:.1f}")

    def test_date_and_time_in_one_number(self):
        self.read(["stamp,T1 (C),T2 (C)"], lambda k, at, t, a, b: f"{at:%Y%m%d%H%M%S},{a:.1f},{b:.1f}")

    def test_date_and_clock_in_two_numbers(self):
        self.read(["date,clock,T1 (C),T2 (C)"], lambda k, at, t, a, b: f"{at:%Y%m%d},{at:%H%M%S},{a:.1f},{b:.1f}")

    def test_relays_in_words_become_an_on_off_output(self):
        on = self.one.output > np.random.default_rng(0).random(self.one.output.shape)
        log = self.read(
            ["time (s),T1 (C),T2 (C),relay 1,relay 2"],
            lambda k, at, t, a, b: (
                f"{t:.0f},{a:.1f},{b:.1f},{'ON' if on[k, 0] else 'OFF'},{'ON' if on[k, 1] else 'OFF'}"
            ),
        )
        np.testing.assert_array_equal(log.output, on)
        assert log.output_kind == "on-off"

    @pytest.mark.parametrize("stamp", ["{at:%Y-%m-%dT%H:%M:%S}", "{t:.0f}"])
    def test_rows_from_the_newest_to_the_oldest_are_turned_round(self, stamp):
        n = self.one.t.size
        at = [self.one.start + timedelta(seconds=float(t)) for t in self.one.t]
        rows = [
            f"{stamp.format(at=at[k], t=self.one.t[k])},{self.one.zones[k, 0]:.1f},{self.one.zones[k, 1]:.1f}"
            for k in reversed(range(n))
        ]
        rows.insert(100, "note: vent closed")
        reading = read_log(
            "\n".join(["time,T1 (C),T2 (C)", *rows]).encode() + b"\n",
            name="2026-03-02_0814.csv",
            kiln=Kiln(id="juniper", time_zone="UTC", log=LogHints(time_unit="s")),
        )
        log = reading.firings[0]
        np.testing.assert_allclose(log.elapsed_s, self.one.t, atol=1.0)
        np.testing.assert_allclose(log.zone_c, self.one.zones, atol=0.06)
        assert log.events[0].elapsed_s == pytest.approx(self.one.t[n - 100], abs=121)
        assert any("newest to the oldest" in problem for problem in reading.problems)

    def test_a_few_damaged_cells_do_not_cost_the_output_column(self):
        log = self.read(
            ["time (s),T1 (C),T2 (C),output (%)"],
            lambda k, at, t, a, b: f"{t:.0f},{a:.1f},{b:.1f},{9999 if k == 50 else 100 * self.one.output[k, 0]:.0f}",
        )
        assert np.isnan(log.output[50]).all()
        np.testing.assert_allclose(np.delete(log.output[:, 0], 50), np.delete(self.one.output[:, 0], 50), atol=0.006)
        assert any("1 output value beyond 100 % left out" in problem for problem in log.problems)

"""Lines of ``key=value`` pairs read like the table they are, and no other log is taken for one."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import test_layouts as usual
import written_logs as pen

from analysis.reading import Reading, UnreadableLog, read_log
from config.kiln import Kiln, LogHints

ONE = pen.firing(seed=60, zones=2, sample_s=120.0, start=datetime(2026, 3, 2, 8, 14, tzinfo=UTC))
HEAD = "KILN=k START=2026-03-02T08:14:00 PROGRAMME=glaze_mid\n"
KILN = Kiln(id="juniper", time_zone="UTC")


def row(k: int) -> str:
    """One sample as the plainest of these loggers write it."""
    return f"t={ONE.t[k]:.0f} T1={ONE.zones[k, 0]:.1f} T2={ONE.zones[k, 1]:.1f} SP={ONE.point[k]:.1f} SEG=1"


ROWS = [row(k) for k in range(ONE.t.size)]


def text(rows, head=HEAD) -> bytes:
    return (head + "\n".join(rows) + "\n").encode()


def read(data: bytes, kiln: Kiln = KILN) -> Reading:
    return read_log(data, name="F001.TXT", kiln=kiln)


def holds(reading: Reading, rows=slice(None)) -> None:
    """The samples of the firing, all of them and nothing else, and every line accounted for."""
    log = reading.firings[0]
    assert reading.account.form == "key=value lines"
    np.testing.assert_allclose(log.elapsed_s, ONE.t[rows] - ONE.t[rows][0], atol=1.0)
    np.testing.assert_allclose(log.zone_c, ONE.zones[rows], atol=0.06)
    count = reading.account.rows
    assert count.lines == sum(getattr(count, name) for name in count.__slots__ if name != "lines")


class TestHead:
    """Pairs above the samples say what text above any table says."""

    @pytest.mark.parametrize(
        "head",
        [
            HEAD,
            "# KILN=k START=2026-03-02T08:14:00 PROGRAMME=glaze_mid\n\n",
            'KILN=k; START="2026-03-02 08:14:00"; PROGRAMME="glaze_mid"\n',
            "KILN=k\nSTART=2026-03-02T08:14:00\nPROGRAMME=glaze_mid\n",
            "Kiln: k\nBegun: 2026-03-02 08:14\nProgramme: glaze_mid\n",
        ],
    )
    def test_start_and_programme_are_taken_from_it(self, head):
        reading = read(text(ROWS, head))
        holds(reading)
        assert reading.firings[0].started == ONE.start
        assert reading.firings[0].started_from == "text"
        assert reading.firings[0].programme == "glaze_mid"
        assert reading.account.rows.headers == head.count("\n")

    def test_nothing_above_is_needed(self):
        holds(read(text(ROWS, "")))


class TestStamp:
    """A stamp, and a word or two, may stand before the pairs."""

    @pytest.mark.parametrize(
        "lead",
        [
            "{:%Y-%m-%d %H:%M:%S} INFO ",
            "{:%Y-%m-%dT%H:%M:%S}Z ",
            "[{:%Y-%m-%d %H:%M:%S}] ",
            "{:%Y-%m-%d %H:%M:%S}, ",
            "{:%d %b %Y %H:%M:%S} INFO: ",
            "{:%Y-%m-%dT%H:%M:%S} kiln logger[12]: ",
        ],
    )
    def test_it_tells_the_time(self, lead):
        from datetime import timedelta

        at = [ONE.start + timedelta(seconds=float(t)) for t in ONE.t]
        rows = [lead.format(at[k]) + line.partition(" ")[2] for k, line in enumerate(ROWS)]
        reading = read(text(rows, ""))
        holds(reading)
        assert reading.firings[0].started == ONE.start
        np.testing.assert_allclose(reading.firings[0].set_point_c[:, 0], ONE.point, atol=0.06)

    def test_beside_it_an_elapsed_time_is_no_zone(self):
        from datetime import timedelta

        at = [ONE.start + timedelta(seconds=float(t)) for t in ONE.t]
        rows = [f"{at[k]:%Y-%m-%d %H:%M:%S} {line}" for k, line in enumerate(ROWS)]
        assert read(text(rows, "")).firings[0].zone_names == ("1", "2")


class TestKeys:
    """Keys tell what a value is, wherever it stands."""

    def test_their_order_may_change_from_line_to_line(self):
        rows = [" ".join(np.roll(line.split(), k % 5)) for k, line in enumerate(ROWS)]
        log = read(text(rows)).firings[0]
        np.testing.assert_allclose(log.zone_c, ONE.zones, atol=0.06)
        np.testing.assert_allclose(log.set_point_c[:, 0], ONE.point, atol=0.06)

    def test_those_that_are_missing_leave_a_gap(self):
        rows = [line if k % 3 else line.replace(f" SP={ONE.point[k]:.1f}", "") for k, line in enumerate(ROWS)]
        reading = read(text(rows))
        holds(reading)
        assert np.isnan(reading.firings[0].set_point_c[::3]).all()
        np.testing.assert_allclose(reading.firings[0].set_point_c[1::3, 0], ONE.point[1::3], atol=0.06)

    def test_one_that_is_written_now_and_then_is_a_column_too(self):
        rows = [line + f" V={ONE.volts[k]:.1f}" if k % 9 == 0 else line for k, line in enumerate(ROWS)]
        reading = read(text(rows))
        holds(reading)
        np.testing.assert_allclose(reading.firings[0].volts[::9], ONE.volts[::9], atol=0.06)

    @pytest.mark.parametrize("rows", [slice(None), slice(0, 120)])  # while it only climbs, T only goes on as t does
    def test_a_small_t_beside_a_large_one_is_seconds(self, rows):
        lines = [f"T={ONE.zones[k, 0]:.1f} SP={ONE.point[k]:.1f} t={ONE.t[k]:.0f}" for k in range(ONE.t.size)][rows]
        reading = read(text(lines))
        np.testing.assert_allclose(reading.firings[0].elapsed_s, ONE.t[rows], atol=1.0)
        np.testing.assert_allclose(reading.firings[0].zone_c[:, 0], ONE.zones[rows, 0], atol=0.06)

    def test_a_setting_names_them_as_they_are_written(self):
        lines = [f"t={ONE.t[k]:.0f} T={ONE.zones[k, 0]:.1f} SP={ONE.point[k]:.1f}" for k in range(ONE.t.size)]
        kiln = replace(KILN, log=LogHints(columns={"T": "zone", "t": "time"}))
        np.testing.assert_allclose(read(text(lines), kiln).firings[0].zone_c[:, 0], ONE.zones[:, 0], atol=0.06)

    def test_they_may_hold_blanks_where_a_mark_parts_the_pairs(self):
        lines = [
            f"Time: {int(t) // 3600}:{int(t) // 60 % 60:02d}:00, Zone 1: {a:.1f} C, Zone 2: {b:.1f} C, Set point: {p} C"
            for t, (a, b), p in zip(ONE.t, ONE.zones, np.round(ONE.point, 1), strict=True)
        ]
        reading = read(text(lines, ""))
        holds(reading)
        assert [column.role for column in reading.account.columns] == ["time", "zone 1", "zone 2", "set point"]


class TestEvents:
    """Lines that are no samples say something, or are damage."""

    @pytest.mark.parametrize(
        ("line", "said"),
        [
            ("*** lid opened ***", "lid opened"),
            ("EVENT=lid BY=nobody", "EVENT=lid BY=nobody"),
            ('t=6061 EVENT="lid; t=5 opened"', "lid; t=5 opened"),
            ("t=6061 ALARM_TEMP=1250", "ALARM_TEMP=1250"),
        ],
    )
    def test_text_and_lines_of_other_keys_are_events_at_their_place(self, line, said):
        reading = read(text([*ROWS[:50], line, *ROWS[50:]]))
        holds(reading)
        assert [event.text for event in reading.firings[0].events] == [said]
        assert reading.firings[0].events[0].elapsed_s == pytest.approx(ONE.t[50], abs=121)
        assert reading.account.rows.text == 1

    def test_a_message_in_every_line_may_hold_blanks_and_signs(self):
        rows = [line + (' MSG="vent shut, T1=9"' if k > 70 else ' MSG=""') for k, line in enumerate(ROWS)]
        reading = read(text(rows))
        holds(reading)
        assert [event.text for event in reading.firings[0].events] == ["vent shut, T1=9"]

    @pytest.mark.parametrize("keep", range(1, len(ROWS[-1])))
    def test_a_last_line_cut_off_anywhere_is_left_out(self, keep):
        data = text(ROWS)[: -len(ROWS[-1]) - 1] + ROWS[-1][:keep].encode()
        reading = read(data)
        whole = keep == len(ROWS[-1])
        holds(reading, slice(None) if whole else slice(0, -1))
        assert reading.firings[0].complete_tail == whole

    def test_a_last_line_without_an_end_is_kept_if_it_is_whole(self):
        reading = read(text(ROWS).rstrip())
        holds(reading)
        assert reading.firings[0].complete_tail


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings_and_line_ends_are_recognised(encoding):
    holds(read(text([line + " Etat=chauffé" for line in ROWS]).decode().replace("\n", "\r\n").encode(encoding)))


@pytest.mark.parametrize(
    "line",
    [
        "{t:.0f},{a:.1f},{b:.1f},mode=ramp fan=on",
        "{t:.0f};{a:.1f};{b:.1f};note: all well",
        "{t:.0f}\t{a:.1f}\t{b:.1f}\tstate: ramp",
        "{t:.0f} {a:.1f} {b:.1f} state=ramp",
    ],
)
def test_a_table_with_pairs_in_one_of_its_cells_stays_a_table(line):
    lines = [line.format(t=t, a=a, b=b) for t, (a, b) in zip(ONE.t, ONE.zones, strict=True)]
    reading = read(text(lines, ""))
    assert reading.account.form in {"delimited table", "fixed-width table"}
    np.testing.assert_allclose(reading.firings[0].zone_c, ONE.zones, atol=0.06)


def test_pairs_without_a_number_are_no_log():
    with pytest.raises(UnreadableLog, match="no table of numbers"):
        read(b"a=b c=d\n" * 50)


def test_the_registers_delimiter_is_what_parts_the_pairs():
    rows = [line.replace(" ", ";") for line in ROWS]
    holds(read(text(rows), replace(KILN, log=LogHints(delimiter=";"))))
    with pytest.raises(UnreadableLog, match=r"\[kiln.log\] delimiter = '\|'"):
        read(text(rows), replace(KILN, log=LogHints(delimiter="|")))


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    layout=usual.layouts,
    spoiled=st.lists(st.sampled_from(["repeat", "swap", "gap", "NUL", "text", "blank line"]), max_size=4, unique=True),
    mark=st.sampled_from([" ", "\t", ", ", "; ", ";", " | ", "|"]),
    sign=st.sampled_from(["=", ": ", " = ", ":"]),
    lead=st.booleans(),
    decimal=st.sampled_from([".", ","]),
    zones=st.integers(1, 4),
    seed=st.integers(0, 2**16),
)
def test_a_log_of_pairs_reads_as_the_same_log_does_as_a_table(layout, spoiled, mark, sign, lead, decimal, zones, seed):
    one = pen.firing(seed, zones, 240.0)
    layout = replace(layout, language="terse", units_in="register", delimiter=";", decimal=decimal)
    table = read_(pen.spoil(one, layout, spoiled, seed))
    pairs = read_(pen.spoil(one, replace(layout, pairs=mark, sign=sign, lead=lead), spoiled, seed))
    assert pairs.account.form == "key=value lines"
    mine, other = pairs.firings[0], table.firings[0]
    for name in ("elapsed_s", "zone_c", "set_point_c", "output", "volts", "amps", "room_c", "segment"):
        np.testing.assert_array_equal(getattr(mine, name), getattr(other, name))
    for name in ("started", "zone_names", "programme", "events", "output_kind", "complete_tail", "problems"):
        assert getattr(mine, name) == getattr(other, name)


def read_(written: pen.Written) -> Reading:
    return read_log(written.data, name=written.name, kiln=written.kiln)

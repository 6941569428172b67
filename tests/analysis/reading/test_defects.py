"""Damage met in the field is repaired where that is certain, named with its time and count, and never swallowed."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import UnreadableLog, read_log
from analysis.reading.shown import shown

ONE = pen.firing(seed=30, zones=2, sample_s=60.0)
LAYOUT = pen.Layout(time="ISO")


def read(written):
    return read_log(written.data, name=written.name, kiln=written.kiln)


def rows_read(data, name="2026-03-02.csv"):
    return read_log(data, name=name, kiln=pen.kiln_for(ONE, LAYOUT))


@pytest.mark.parametrize("lost", range(1, 24))
def test_a_last_line_cut_anywhere_never_leaves_a_wrong_number(lost):
    layout = pen.Layout(time="ISO", columns=("point", "zones"), decimals=1)
    written = pen.write(ONE, layout)
    reading = read(replace(written, data=written.data[: -1 - lost]))
    log = reading.firings[0]
    np.testing.assert_allclose(log.zone_c, ONE.zones[: len(log.zone_c)], atol=0.06)
    assert log.elapsed_s.size == ONE.t.size - 1
    assert not log.complete_tail
    assert any("cut off" in problem for problem in log.problems)


def test_a_whole_last_line_without_its_line_end_is_kept():
    written = pen.write(ONE, replace(LAYOUT, final_line_end=False, columns=("zones", "point")))
    log = read(written).firings[0]
    assert log.elapsed_s.size == ONE.t.size
    assert log.complete_tail


def test_repeated_rows_are_dropped_and_counted_with_their_times():
    reading = read(pen.spoil(ONE, LAYOUT, ["repeat"], 1))
    assert reading.firings[0].elapsed_s.size == ONE.t.size
    assert reading.account.rows.repeated == 3
    assert any(problem.startswith("3 repeated rows dropped at ") for problem in reading.problems)


def test_a_whole_block_written_twice_is_dropped():
    above, rows = pen.lines(ONE, LAYOUT)
    data = "\n".join([*above, *rows[:300], *rows[200:300], *rows[300:]]).encode() + b"\n"
    reading = rows_read(data)
    np.testing.assert_allclose(reading.firings[0].elapsed_s, ONE.t, atol=1)
    assert reading.account.rows.repeated == 100


def test_swapped_rows_are_put_back_in_order():
    reading = read(pen.spoil(ONE, LAYOUT, ["swap"], 2))
    np.testing.assert_allclose(reading.firings[0].zone_c, ONE.zones, atol=0.06)
    assert any("1 swapped row put back in order" in problem for problem in reading.problems)


def test_a_row_written_late_by_several_rows_is_put_back():
    above, rows = pen.lines(ONE, LAYOUT)
    late = [*rows[:100], *rows[101:105], rows[100], *rows[105:]]
    np.testing.assert_allclose(
        rows_read("\n".join(above + late).encode() + b"\n").firings[0].zone_c, ONE.zones, atol=0.06
    )


def test_nul_bytes_after_the_last_row_and_within_the_file_are_left_out_and_said():
    written = pen.write(ONE, LAYOUT)
    reading = read(replace(written, data=written.data[:2000] + b"\0" * 7 + written.data[2000:] + b"\0" * 512))
    assert reading.firings[0].elapsed_s.size == ONE.t.size
    assert {"512 NUL bytes after the last row left out", "7 NUL bytes in mid-file left out"} <= set(reading.problems)


def test_text_rows_are_kept_as_events_at_their_time():
    above, rows = pen.lines(ONE, LAYOUT)
    rows.insert(120, "*** ERROR 7: relay hot ***")
    log = rows_read("\n".join(above + rows).encode() + b"\n").firings[0]
    assert [(event.elapsed_s, event.text) for event in log.events] == [(ONE.t[119], "ERROR 7: relay hot")]


def test_a_text_row_with_as_many_commas_as_a_sample_is_an_event_too():
    above, rows = pen.lines(ONE, LAYOUT)
    rows.insert(120, "note, lid opened, someone looked, and closed it again,,")
    reading = rows_read("\n".join(above + rows).encode() + b"\n")
    assert reading.firings[0].elapsed_s.size == ONE.t.size
    assert "lid opened" in reading.firings[0].events[0].text
    assert reading.account.rows.text == 1


def test_a_repeated_header_is_no_event_and_no_sample():
    reading = read(pen.spoil(ONE, LAYOUT, ["header"], 3))
    assert reading.firings[0].elapsed_s.size == ONE.t.size
    assert reading.firings[0].events == ()
    assert any("the header is repeated at" in problem for problem in reading.problems)


def test_text_where_a_number_should_be_is_counted_and_only_that_cell_is_lost():
    above, rows = pen.lines(ONE, LAYOUT)
    for k in (50, 51, 52):
        cells = rows[k].split(",")
        rows[k] = ",".join([*cells[:2], "ERR", *cells[3:]])
    reading = rows_read("\n".join(above + rows).encode() + b"\n")
    log = reading.firings[0]
    assert np.isnan(log.zone_c[50:53, 0]).all()
    np.testing.assert_allclose(log.zone_c[50:53, 1], ONE.zones[50:53, 1], atol=0.06)
    assert any(
        '3 texts where a number should be in Temp 1 (°C) (such as "ERR")' in problem for problem in reading.problems
    )
    assert [(spike.kind, spike.count, spike.zone) for spike in log.spikes] == [("dropout", 3, 0)]


@pytest.mark.parametrize("blank", ["", "-", "--", "---", "nan", "null"])
def test_blank_marks_are_blanks_and_no_fault_of_the_text(blank):
    above, rows = pen.lines(ONE, pen.Layout(time="ISO", columns=("zones", "point")))
    stopped = [row if k < 400 else row.rsplit(",", 1)[0] + "," + blank for k, row in enumerate(rows)]
    log = rows_read("\n".join(above + stopped).encode() + b"\n").firings[0]
    assert np.isnan(log.set_point_c[400:]).all()
    assert log.problems == ()


def test_rows_too_short_and_too_long_are_named_and_the_rest_is_kept():
    above, rows = pen.lines(ONE, LAYOUT)
    rows[70] = "12,3"
    rows[90] += ",7,7,7"
    reading = rows_read("\n".join(above + rows).encode() + b"\n")
    assert reading.firings[0].elapsed_s.size == ONE.t.size - 2
    assert reading.account.rows.damaged == 2
    assert any("2 damaged rows left out at" in problem for problem in reading.problems)


def test_a_lost_quote_spoils_one_line_only():
    written = pen.write(ONE, replace(LAYOUT, quoted=True))
    lines = written.data.split(b"\n")
    lines[200] = lines[200][:-1]
    reading = read(replace(written, data=b"\n".join(lines)))
    assert reading.firings[0].elapsed_s.size >= ONE.t.size - 1


def test_control_characters_and_terminal_escapes_of_a_log_are_never_handed_on():
    above, rows = pen.lines(ONE, replace(LAYOUT, preamble=("\x1b[2JStudio\x07", "programme: gl\u202eaze\x1b[31m")))
    rows.insert(10, "\x1b]0;owned\x07 bad \u2066news\x9b1m")
    reading = rows_read("\n".join(above + rows).encode() + b"\n")
    log = reading.firings[0]
    for text in (*reading.account.preamble, log.programme, *(event.text for event in log.events), *reading.problems):
        assert text.isprintable(), ascii(text)


def test_shown_text_is_cut_and_printable():
    assert shown("a\x00b\nc\u200b") == "a�b c�"
    assert len(shown("x" * 5000)) == 200


class TestRefusals:
    """What is no log is refused with the reason and a remedy, by the one typed error."""

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            (b"", "empty"),
            (b"\n\n \0\0\0", "empty"),
            (b"PK\x03\x04" + b"\1" * 500, "spreadsheet workbook"),
            (b"\x1f\x8b" + b"\2" * 500, "compressed"),
            (b"%PDF-1.7 " + b"x" * 500, "PDF"),
            (bytes(range(256)) * 20, "not a plain-text log"),
            (b"Dear sir,\nplease find no numbers here.\nYours\n" * 20, "no table of numbers"),
            (b"time,temp\n", "no table of numbers"),
            (b"time,temp\n0,20\n", "fewer than two numbers"),
            (b"a,b\n" + b"x,1\ny,2\nz,3\n" * 20, "no column holds the time"),
            (
                b"time,kWh\n" + b"".join(b"%d,%d\n" % (60 * k, 0) for k in range(50)),
                "no column looks like a kiln's temp",
            ),
            (b"{}\n" * 50, "no column holds the time|no table of numbers|no line"),
            (b'{"time": 1}\n{"time": 2}\n' * 20, "no column"),
        ],
    )
    def test_the_reason_is_plain(self, data, words):
        with pytest.raises(UnreadableLog, match=words) as caught:
            read_log(data, name="x.csv")
        assert caught.value.remedy

    def test_a_file_over_the_limit_is_refused_with_both_sizes(self):
        with pytest.raises(UnreadableLog, match="the file has 3 MB, more than the limit of 2 MB"):
            read_log(b"1,2\n" * 750_000, name="x.csv", size_limit_bytes=2_000_000)

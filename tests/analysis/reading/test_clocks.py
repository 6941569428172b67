"""What the time column can do to a reader: clock changes, restarts, coarse clocks, undated logs, ambiguous dates."""

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import UnreadableLog, read_log
from config.kiln import Kiln, LogHints

SPRING = datetime(2026, 3, 28, 22, 0, tzinfo=UTC)  # the European clocks go on at 2026-03-29 01:00 UTC
AUTUMN = datetime(2026, 10, 24, 20, 0, tzinfo=UTC)  # and back at 2026-10-25 01:00 UTC


def log_of(data, name="F001.CSV", kiln=None, **more):
    reading = read_log(data, name=name, kiln=kiln or Kiln(id="juniper", time_zone="Europe/Dublin"), **more)
    assert len(reading.firings) == 1
    return reading.firings[0]


@pytest.mark.parametrize("time", ["ISO", "day first", "12-hour", "serial"])
@pytest.mark.parametrize(("start", "words"), [(SPRING, "clock set on 60 min"), (AUTUMN, "clock set back 60 min")])
@pytest.mark.parametrize("sample_s", [10.0, 60.0, 300.0, 900.0])
def test_a_daylight_saving_jump_in_the_kilns_zone_is_taken_out_and_named(time, start, words, sample_s):
    one = pen.firing(seed=1, sample_s=sample_s, start=start)
    written = pen.write(one, pen.Layout(time=time))
    log = log_of(written.data, kiln=written.kiln)
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    assert abs((log.started - start).total_seconds()) < 1.0
    assert any(words in problem for problem in log.problems), log.problems


@pytest.mark.parametrize("time", ["ISO offset", "epoch s", "epoch ms", "seconds"])
@pytest.mark.parametrize("start", [SPRING, AUTUMN])
def test_times_with_offsets_epochs_and_elapsed_times_do_not_see_daylight_saving(time, start):
    one = pen.firing(seed=1, start=start)
    written = pen.write(one, pen.Layout(time=time))
    log = log_of(written.data, written.name, written.kiln)
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    assert log.problems == ()


@pytest.mark.parametrize("start", [SPRING, AUTUMN])
def test_a_logger_that_ignores_daylight_saving_is_left_alone(start):
    one = pen.firing(seed=1, start=start)
    written = pen.write(one, pen.Layout(time="ISO", zone_name="Etc/GMT-1"))
    log = log_of(written.data, kiln=Kiln(id="juniper", time_zone="Europe/Berlin"))
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    assert log.problems == ()


def test_without_a_time_zone_the_hour_that_comes_twice_is_still_taken_out_but_the_zone_is_asked_for():
    one = pen.firing(seed=1, start=AUTUMN)
    written = pen.write(one, pen.Layout(time="ISO"))
    reading = read_log(written.data, name="F001.CSV", kiln=Kiln(id="juniper"))
    np.testing.assert_allclose(reading.firings[0].elapsed_s, one.t, atol=1.0)
    assert any("goes back one hour" in problem for problem in reading.problems)
    assert any("time zone" in unknown.what for unknown in reading.account.unknown)


def test_a_gap_across_the_clock_change_keeps_its_true_length():
    one = pen.firing(seed=1, start=SPRING)
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    out = [k for k in range(one.t.size) if not 150 <= k < 220]  # 23:30 to 01:40 UTC is missing
    data = "\n".join(above + [rows[k] for k in out]).encode() + b"\n"
    log = log_of(data, kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, one.t[out], atol=1.0)
    assert any("a gap of 71 min remains" in problem for problem in log.problems), log.problems


@pytest.mark.parametrize("hours", [-5.0, -0.4, 0.5, 7.0])
def test_a_clock_corrected_in_mid_firing_is_taken_out_where_the_temperature_ran_on(hours):
    one = pen.firing(seed=2)
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    later = replace(one, start=one.start + timedelta(hours=hours))
    rows[200:] = pen.lines(later, layout)[1][200:]
    log = log_of("\n".join(above + rows).encode() + b"\n", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=60.0)
    assert log.started == one.start
    assert any("taken out" in problem for problem in log.problems)


def test_a_real_gap_is_named_and_not_taken_out():
    one = pen.firing(seed=3)
    written = pen.spoil(one, pen.Layout(time="ISO"), ["gap"], 1)
    log = log_of(written.data, kiln=written.kiln)
    np.testing.assert_allclose(log.elapsed_s, one.t[written.rows], atol=1.0)
    assert sum("gap of" in problem for problem in log.problems) == 1


def test_elapsed_time_that_restarts_after_a_power_cut_runs_on_and_says_that_the_break_is_unknown():
    one = pen.firing(seed=4)
    layout = pen.Layout(time="h:mm:ss")
    above, rows = pen.lines(one, layout)
    again = replace(one, t=one.t - one.t[250])
    resumed = [
        *rows[:250],
        "mains back, firing goes on",
        above[-1],
        *pen.lines(replace(again, t=np.abs(again.t)), layout)[1][250:],
    ]
    log = log_of("\n".join(above + resumed).encode() + b"\n", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    assert any("starts again at 4:09 h" in problem and "not known" in problem for problem in log.problems)
    assert log.events[0].text == "mains back, firing goes on"
    assert log.events[0].elapsed_s == pytest.approx(one.t[249])


def test_a_clock_logged_in_whole_minutes_with_samples_between_is_spread_evenly():
    one = pen.firing(seed=5, sample_s=15.0)
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    coarse = [row[:16] + row[19:] for row in rows]
    log = log_of("\n".join(above + coarse).encode() + b"\n", kiln=pen.kiln_for(one, layout))
    assert log.elapsed_s.size == one.t.size
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=15.0)
    assert any("steps of 60 s" in problem for problem in log.problems)


def test_a_damaged_digit_in_one_time_costs_that_row_only():
    one = pen.firing(seed=6)
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    rows[100] = "2062" + rows[100][4:]
    log = log_of("\n".join(above + rows).encode() + b"\n", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, np.delete(one.t, 100), atol=1.0)
    assert any("1 row with an impossible time left out at 1:39 h" in problem for problem in log.problems)


def test_a_clock_without_a_date_runs_past_midnight():
    one = pen.firing(seed=7, start=datetime(2026, 3, 2, 20, 0, tzinfo=UTC))
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    bare = [row[11:] for row in rows]
    log = log_of("\n".join(above + bare).encode() + b"\n", name="2026-03-02.csv", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    assert log.started == one.start


class TestDayAndMonth:
    """Day first or month first is decided once, from all rows, and asked for where nothing tells."""

    def log(self, start, time="month first", **more):
        one = pen.firing(seed=8, start=start, hours=6)
        written = pen.write(one, pen.Layout(time=time))
        return one, read_log(
            written.data, name=more.pop("name", "F001.CSV"), kiln=more.pop("kiln", written.kiln), **more
        )

    def test_a_number_above_twelve_decides(self):
        one, reading = self.log(datetime(2026, 3, 14, 9, tzinfo=UTC))
        assert reading.firings[0].started == one.start
        assert "month first" in reading.account.time_why
        assert reading.account.unknown == ()

    def test_midnight_decides_because_the_day_changes_and_the_month_does_not(self):
        one, reading = self.log(datetime(2026, 3, 4, 22, tzinfo=UTC))
        assert reading.firings[0].started == one.start
        assert "changes at midnight" in reading.account.time_why

    def test_the_setting_decides(self):
        hints = Kiln(id="juniper", time_zone="Europe/Dublin", log=LogHints(day_order="month-first"))
        one, reading = self.log(datetime(2026, 3, 4, 9, tzinfo=UTC), kiln=hints)
        assert reading.firings[0].started == one.start
        assert reading.account.unknown == ()

    def test_the_date_in_the_files_name_decides(self):
        one, reading = self.log(datetime(2026, 3, 4, 9, tzinfo=UTC), name="005 glaze 2026-03-04.csv")
        assert reading.firings[0].started == one.start
        assert reading.account.unknown == ()

    def test_the_files_own_date_decides(self):
        one, reading = self.log(datetime(2026, 3, 4, 9, tzinfo=UTC), modified=datetime(2026, 3, 5, tzinfo=UTC))
        assert reading.firings[0].started == one.start

    def test_where_nothing_tells_one_is_taken_and_the_setting_asked_for(self):
        _, reading = self.log(datetime(2026, 3, 4, 9, tzinfo=UTC))
        assert reading.firings[0].started == datetime(2026, 4, 3, 8, tzinfo=UTC)
        assert "day_order" in reading.account.unknown[0].setting

    def test_a_kiln_in_the_united_states_leans_to_month_first_but_still_asks(self):
        _, reading = self.log(datetime(2026, 3, 4, 9, tzinfo=UTC), kiln=Kiln(id="juniper", time_zone="America/Chicago"))
        assert reading.firings[0].started == datetime(2026, 3, 4, 15, tzinfo=UTC)
        assert reading.account.unknown != ()

    @pytest.mark.parametrize("language", ["french", "german", "dutch"])
    def test_but_not_where_its_columns_are_named_in_a_language_that_writes_the_day_first(self, language):
        one = pen.firing(seed=8, start=datetime(2026, 3, 4, 15, tzinfo=UTC), hours=6)
        layout = pen.Layout(time="day first", language=language, delimiter=";", zone_name="America/Chicago")
        written = pen.write(one, layout)
        reading = read_log(written.data.replace(b"04.03.2026", b"04/03/2026"), name="F001.CSV", kiln=written.kiln)
        assert reading.firings[0].started == one.start
        assert "day_order" in reading.account.unknown[0].setting


class TestStart:
    """Logs of elapsed time take their start from the text, the file's name, or its date, and say which."""

    one = pen.firing(seed=9, hours=6, start=datetime(2026, 6, 3, 7, 5, tzinfo=UTC))

    def reading(self, *preamble, name="F001.CSV", modified=None, time="seconds"):
        written = pen.write(self.one, pen.Layout(time=time, preamble=preamble))
        return read_log(written.data, name=name, kiln=written.kiln, modified=modified)

    @pytest.mark.parametrize(
        "line",
        [
            "Started: 2026-06-03 08:05",
            "begun 03 June 2026 at 08:05",
            "Start 03.06.2026, 08:05 Uhr",
            "June 3, 2026 8:05 AM",
        ],
    )
    def test_a_date_above_the_table_gives_the_start(self, line):
        log = self.reading(line).firings[0]
        assert (log.started, log.started_from) == (self.one.start, "text")

    def test_a_date_and_a_clock_on_two_lines_give_the_start(self):
        log = self.reading("Date: 2026-06-03", "Start time: 08:05").firings[0]
        assert (log.started, log.started_from) == (self.one.start, "text")

    def test_an_export_date_yields_to_the_start(self):
        log = self.reading("Exported 2026-06-09 17:00", "Firing started 2026-06-03 08:05").firings[0]
        assert log.started == self.one.start

    @pytest.mark.parametrize(
        "name", ["2026-06-03_0805.csv", "20260603-080500.txt", "juniper 2026-06-03 08.05 glaze.csv"]
    )
    def test_the_files_name_gives_the_start(self, name):
        log = self.reading(name=name).firings[0]
        assert (log.started, log.started_from) == (self.one.start, "file name")

    def test_a_name_with_the_day_only_says_that_the_hour_is_unknown(self):
        log = self.reading(name="005 glaze mid 2026-06-03.csv").firings[0]
        assert log.started == datetime(2026, 6, 2, 23, tzinfo=UTC)
        assert any("hour is not known" in problem for problem in log.problems)
        assert log.programme == "glaze mid"

    def test_the_files_date_less_the_duration_is_the_last_resort(self):
        modified = self.one.start + timedelta(seconds=float(self.one.t[-1]))
        log = self.reading(modified=modified).firings[0]
        assert (log.started, log.started_from) == (self.one.start, "file date")
        assert any("file's date" in problem for problem in log.problems)

    def test_without_any_date_the_start_is_unknown_and_asked_for(self):
        reading = self.reading()
        assert (reading.firings[0].started, reading.firings[0].started_from) == (None, "unknown")
        assert any("date of the firing" in unknown.what for unknown in reading.account.unknown)


class TestElapsedUnit:
    """The unit of a bare elapsed time: header, setting, or what no kiln can do."""

    @pytest.mark.parametrize("time", ["seconds", "minutes", "hours"])
    @pytest.mark.parametrize("sample_s", [10.0, 60.0, 300.0])
    def test_a_kilns_own_speed_tells_the_unit_where_the_header_does_not(self, time, sample_s):
        one = pen.firing(seed=10, sample_s=sample_s)
        written = pen.write(one, pen.Layout(time=time, units_in="text"))
        np.testing.assert_allclose(log_of(written.data, kiln=written.kiln).elapsed_s, one.t, atol=1.0)

    @pytest.mark.parametrize("style", ["h:mm", "m:ss"])
    def test_two_fields_are_hours_and_minutes_or_minutes_and_seconds_as_a_kiln_can(self, style):
        one = pen.firing(seed=10, sample_s=60.0)
        above, rows = pen.lines(one, pen.Layout(time="h:mm:ss", units_in="text"))
        cells = [row.partition(",")[2] for row in rows]
        minutes = [round(t / 60) for t in one.t]
        stamps = [f"{m // 60}:{m % 60:02d}" for m in minutes] if style == "h:mm" else [f"{m}:00" for m in minutes]
        data = "\n".join([*above, *(f"{s},{c}" for s, c in zip(stamps, cells, strict=True))]).encode() + b"\n"
        np.testing.assert_allclose(log_of(data).elapsed_s, one.t, atol=1.0)

    @pytest.mark.parametrize(
        "style", ["{d}d {h:02d}:{m:02d}:00", "{d}.{h:02d}:{m:02d}:00", "{d} days, {h:02d}:{m:02d}:00"]
    )
    def test_days_before_the_hours_are_counted(self, style):
        one = pen.firing(seed=10, sample_s=300.0, hours=40.0)
        above, rows = pen.lines(one, pen.Layout(time="h:mm:ss", delimiter=";"))
        stamps = [style.format(d=int(t // 86400), h=int(t // 3600 % 24), m=int(t // 60 % 60)) for t in one.t]
        data = "\n".join([*above, *(f"{s};{r.partition(';')[2]}" for s, r in zip(stamps, rows, strict=True))]).encode()
        np.testing.assert_allclose(log_of(data + b"\n").elapsed_s, one.t, atol=1.0)

    def test_a_short_log_that_could_be_two_units_asks(self):
        one = pen.firing(seed=10, sample_s=20.0)
        layout = pen.Layout(units_in="text")
        above, rows = pen.lines(one, layout)
        reading = read_log("\n".join(above + rows[:50]).encode() + b"\n", name="a.csv", kiln=pen.kiln_for(one, layout))
        assert any("time_unit" in unknown.setting for unknown in reading.account.unknown)

    def test_the_setting_tells_the_unit(self):
        kiln = Kiln(id="juniper", log=LogHints(time_unit="min"))
        one = pen.firing(seed=10, sample_s=20.0)
        above, rows = pen.lines(one, pen.Layout(units_in="text"))
        reading = read_log("\n".join(above + rows[:50]).encode() + b"\n", name="a.csv", kiln=kiln)
        assert reading.firings[0].elapsed_s[1] == 1200.0


def test_an_unknown_time_zone_in_the_register_is_refused_by_name():
    written = pen.write(pen.firing(seed=1, hours=5), pen.Layout(time="ISO"))
    with pytest.raises(UnreadableLog, match="Europe/Dubln"):
        read_log(written.data, name="a.csv", kiln=Kiln(id="juniper", time_zone="Europe/Dubln"))


def test_swapped_rows_within_the_hour_that_comes_twice_are_put_back_too():
    one = pen.firing(seed=1, start=AUTUMN)
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    rows[320], rows[321] = rows[321], rows[320]  # 01:20 UTC, the second time the clock shows 01:20
    log = log_of("\n".join(above + rows).encode() + b"\n", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1.0)
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)
    assert any("swapped row" in problem for problem in log.problems)


@pytest.mark.parametrize("sample_s", [20.0, 60.0, 240.0])
@pytest.mark.parametrize("off", [-5, -3, -2, 0, 1, 3])
def test_rows_that_changed_places_beside_the_autumn_clock_change_do_not_upset_it(sample_s, off):
    one = pen.firing(seed=197, zones=1, sample_s=sample_s, start=datetime(2026, 10, 24, 20, 20, tzinfo=UTC))
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    first = next(k for k in range(1, len(rows)) if rows[k][:19] < rows[k - 1][:19])
    rows[first + off], rows[first + off + 1] = rows[first + off + 1], rows[first + off]
    data = "\n".join([*above, *rows]).encode() + b"\n"
    reading = read_log(data, name="F1.csv", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(reading.firings[0].elapsed_s, one.t, atol=1)
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones, atol=0.06)
    assert sum("end of daylight saving" in problem for problem in reading.problems) == 1


@pytest.mark.parametrize(
    "style", ["%a %b %e %H:%M:%S %Y", "%b %e %H:%M:%S %Y", "%a %b %e %H:%M:%S UTC %Y", "%b %d %H:%M %Y"]
)
def test_a_stamp_with_the_year_last_as_small_computers_print_it_is_understood(style):
    one = pen.firing(seed=5, sample_s=60.0, start=datetime(2026, 3, 9, 20, 14, tzinfo=UTC))
    months = ["Jan", "Feb", "Mar"]
    days = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    rows = []
    for t, (a, b) in zip(one.t, one.zones, strict=True):
        at = one.start + timedelta(seconds=float(t))
        text = style.replace("%a", days[at.weekday()]).replace("%b", months[at.month - 1]).replace("%e", f"{at.day:2d}")
        rows.append(f"{at.strftime(text)},{a:.1f},{b:.1f}")
    data = "\n".join(["time,T1 (C),T2 (C)", *rows]).encode() + b"\n"
    log = read_log(data, name="F1.csv", kiln=Kiln(id="juniper", time_zone="UTC")).firings[0]
    np.testing.assert_allclose(log.elapsed_s, one.t, atol=1)
    assert log.started == one.start
    np.testing.assert_allclose(log.zone_c, one.zones, atol=0.06)


@pytest.mark.parametrize(("before", "after"), [(20, 8), (3, 25), (28, 1)])
def test_a_gap_within_the_hour_that_comes_twice_keeps_its_true_length(before, after):
    one = pen.firing(seed=4, zones=2, sample_s=60.0, start=datetime(2026, 10, 24, 20, 20, tzinfo=UTC))
    layout = pen.Layout(time="ISO")
    above, rows = pen.lines(one, layout)
    first = next(k for k in range(1, len(rows)) if rows[k][:19] < rows[k - 1][:19])
    kept = [*range(first - before), *range(first + after, len(rows))]
    kept[first + 20], kept[first + 21] = kept[first + 21], kept[first + 20]  # and a swap in the second hour
    data = "\n".join([*above, *(rows[k] for k in kept)]).encode() + b"\n"
    reading = read_log(data, name="F1.csv", kiln=pen.kiln_for(one, layout))
    np.testing.assert_allclose(reading.firings[0].elapsed_s, one.t[np.sort(kept)], atol=1)
    np.testing.assert_allclose(reading.firings[0].zone_c, one.zones[np.sort(kept)], atol=0.06)
    assert any("end of daylight saving" in text and "a gap of" in text for text in reading.problems)


@pytest.mark.parametrize(
    ("zone", "utc"), [("Z", "08:14"), ("+05:30", "02:44"), ("+0530", "02:44"), ("-05", "13:14"), ("", "13:14")]
)
@pytest.mark.parametrize("stamp", ["%Y%m%dT%H%M%S", "%Y%m%dT%H%M", "%Y-%m-%dT%H:%M:%S"])
def test_the_offset_of_a_basic_stamp_is_read_like_that_of_an_extended_one(stamp, zone, utc):
    """ISO 8601 allows both; an offset of half hours counts."""
    begun = datetime(2026, 3, 2, 8, 14)  # noqa: DTZ001 - as written
    stamps = [(begun + timedelta(minutes=10 * n)).strftime(stamp) + zone for n in range(60)]
    rows = "".join(f"{at},{20 + 19 * n}\n" for n, at in enumerate(stamps))
    log = log_of(f"time,temp (C)\n{rows}".encode(), kiln=Kiln("k", time_zone="America/New_York"))
    assert f"{log.started:%H:%M}" == utc


def test_a_date_above_the_table_is_read_in_the_order_that_fits_the_files_own_date():
    rows = "".join(f"{600 * n},{20 + 19 * n}\n" for n in range(60))
    text = f"Date: 3/4/2026\nelapsed_s,temp (C)\n{rows}".encode()
    for month, day in ((3, 4), (4, 3)):
        modified = datetime(2026, month, day, 20, tzinfo=UTC)
        log = log_of(text, kiln=Kiln("k", time_zone="America/New_York"), modified=modified)
        assert (log.started.month, log.started.day) == (month, day)


def test_a_column_of_dates_beside_elapsed_time_says_that_the_hour_is_not_known():
    rows = "".join(f"2026-03-02,{10 * n},{20 + 19 * n}\n" for n in range(60))
    log = log_of(f"date,elapsed min,temp (C)\n{rows}".encode(), kiln=Kiln("k", time_zone="Europe/Dublin"))
    assert any("its hour is not known" in problem for problem in log.problems)

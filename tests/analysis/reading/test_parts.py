"""Several firings in one file are parted; one firing over two files is joined; nothing else is."""

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import join_logs, read_log

LAYOUT = pen.Layout(time="ISO")
START = datetime(2026, 3, 2, 8, tzinfo=UTC)


def read_lines(rows, one, name="a.csv"):
    above, _ = pen.lines(one, LAYOUT)
    return read_log("\n".join(above + rows).encode() + b"\n", name=name, kiln=pen.kiln_for(one, LAYOUT))


def cooled(seed, start, hours=20.0):
    """Return a firing that is cold again at its end."""
    one = pen.firing(seed=seed, sample_s=120.0, hours=hours, start=start)
    cold = (
        18
        + (one.zones - 18)
        * np.clip(1.6 - one.t / one.t[-1] * 1.6, 0, 1)[:, None]
        ** np.where(one.t > 0.62 * hours * 3600, 1.0, 0.0)[:, None]
    )
    return replace(one, zones=cold)


def test_two_firings_logged_without_a_break_are_parted_at_the_coldest_point():
    first, second = cooled(1, START), cooled(2, START + timedelta(hours=20))
    reading = read_lines(pen.lines(first, LAYOUT)[1] + pen.lines(second, LAYOUT)[1], first)
    assert len(reading.firings) == 2
    a, b = reading.firings
    assert abs((b.started - second.start).total_seconds()) < 3 * 3600
    assert a.elapsed_s[-1] + 120 == pytest.approx((b.started - a.started).total_seconds())
    assert a.elapsed_s.size + b.elapsed_s.size == first.t.size + second.t.size
    assert b.elapsed_s[0] == 0
    assert any("holds 2 firings" in problem for problem in reading.problems)


def test_firings_days_apart_in_one_file_are_parted_at_the_gap():
    firings = [pen.firing(seed=k, sample_s=120.0, start=START + timedelta(days=3 * k)) for k in range(3)]
    reading = read_lines([row for one in firings for row in pen.lines(one, LAYOUT)[1]], firings[0])
    assert [log.started for log in reading.firings] == [one.start for one in firings]
    assert [log.elapsed_s.size for log in reading.firings] == [one.t.size for one in firings]


def test_a_power_cut_in_mid_firing_does_not_part_it():
    one = pen.firing(seed=4)
    rows = pen.lines(one, LAYOUT)[1]
    assert len(read_lines(rows[:200] + rows[235:], one).firings) == 1


def test_a_long_gap_while_cooling_does_not_part_a_firing():
    one = cooled(5, START)
    rows = pen.lines(one, LAYOUT)[1]
    assert len(read_lines(rows[:420] + rows[560:], one).firings) == 1


def test_candling_before_the_climb_does_not_part_a_firing():
    one = pen.firing(seed=6, sample_s=120.0, hours=12)
    zones = one.zones.copy()
    zones[:90] = 95 + np.random.default_rng(0).normal(0, 0.3, (90, 2))
    zones[60:90] -= 20
    candled = replace(one, zones=zones)
    assert len(read_lines(pen.lines(candled, LAYOUT)[1], candled).firings) == 1


def test_elapsed_time_restarting_for_a_new_firing_parts_them():
    layout = pen.Layout(time="h:mm:ss")
    first, second = cooled(7, START), cooled(8, START)
    above, rows = pen.lines(first, layout)
    data = "\n".join([*above, *rows, above[-1], *pen.lines(second, layout)[1]]).encode() + b"\n"
    reading = read_log(data, name="a.csv", kiln=pen.kiln_for(first, layout))
    assert [log.elapsed_s.size for log in reading.firings] == [first.t.size, second.t.size]


class TestJoining:
    """A firing cut over two files is one firing; a later firing never is."""

    one = pen.firing(seed=9, start=START)

    def halves(self, stop=250, go_on=250, layout=LAYOUT):
        above, rows = pen.lines(self.one, layout)
        kiln = pen.kiln_for(self.one, layout)
        parts = ((rows[:stop], START), (rows[go_on:], START + timedelta(seconds=float(self.one.t[go_on]))))
        return [
            read_log("\n".join(above + part).encode() + b"\n", name=f"{start:%Y-%m-%d_%H%M%S}.csv", kiln=kiln).firings[
                0
            ]
            for part, start in parts
        ]

    def test_two_halves_become_the_whole(self):
        whole = join_logs(*self.halves())
        np.testing.assert_allclose(whole.elapsed_s, self.one.t, atol=1)
        np.testing.assert_allclose(whole.zone_c, self.one.zones, atol=0.06)
        np.testing.assert_allclose(whole.output, self.one.output, atol=0.006)
        assert whole.started == self.one.start
        assert any("goes on in a second log" in problem for problem in whole.problems)

    def test_a_break_between_the_files_is_kept_and_named(self):
        whole = join_logs(*self.halves(250, 290))
        assert float(np.diff(whole.elapsed_s).max()) == pytest.approx(41 * 60)
        assert any("a break of 41 min" in problem for problem in whole.problems)

    def test_rows_that_are_in_both_files_are_taken_once(self):
        np.testing.assert_allclose(join_logs(*self.halves(250, 249)).elapsed_s, self.one.t, atol=1)

    def test_the_next_days_firing_is_not_joined(self):
        earlier = self.halves()[0]
        later = replace(self.halves()[0], started=START + timedelta(hours=24))
        assert join_logs(earlier, later) is None

    def test_a_cold_start_soon_after_is_not_joined(self):
        earlier, later = self.halves()
        cold = replace(self.halves()[0], started=later.started)
        assert join_logs(earlier, cold) is None

    def test_logs_without_dates_are_not_joined(self):
        earlier, later = self.halves()
        assert join_logs(replace(earlier, started=None), later) is None
        assert join_logs(earlier, replace(later, started=None)) is None

    def test_other_zones_are_not_joined(self):
        earlier, later = self.halves()
        assert join_logs(earlier, replace(later, zone_c=later.zone_c[:, :1], zone_names=("1",))) is None

    def test_the_rest_of_the_cooling_in_a_second_file_is_joined(self):
        whole = join_logs(*self.halves(400, 400))
        np.testing.assert_allclose(whole.elapsed_s, self.one.t, atol=1)

    def test_a_firing_begun_in_a_kiln_still_warm_is_not_joined(self):
        earlier = self.halves(500, 500)[0]
        warm = replace(
            self.halves()[0], started=earlier.started + timedelta(seconds=float(earlier.elapsed_s[-1]) + 3600)
        )
        warm = replace(warm, zone_c=np.maximum(warm.zone_c, 200.0))
        assert join_logs(earlier, warm) is None

    def test_another_programme_is_not_joined(self):
        earlier, later = self.halves()
        assert join_logs(replace(earlier, programme="bisque"), replace(later, programme="glaze")) is None

    def test_a_start_known_to_the_day_only_is_not_joined(self):
        earlier, later = self.halves()
        vague = replace(later, problems=("the file name gives the day of the firing only; its hour is not known",))
        assert join_logs(earlier, vague) is None

"""One firing's shape and end."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.firing import Shape
from analysis.measures import measure
from analysis.programmes import nearest, recognise
from analysis.reading.firing_log import FiringLog
from config.kiln import Kiln

KILN = Kiln("heron", zones=("1",))


def test_climbs_hold_and_cooling_are_told_apart(fire: Callable[..., FiringLog]) -> None:
    firing, _ = measure(KILN, fire(ramps=((120.0, 600.0, 60.0), (100.0, 1000.0, 45.0))))
    kinds = [segment.kind for segment in firing.segments]
    assert kinds == ["climb", "hold", "climb", "hold", "cooling"]
    assert firing.segments[0].c_per_h == pytest.approx(120.0, rel=0.05)
    assert firing.segments[2].c_per_h == pytest.approx(100.0, rel=0.08)


def test_a_firing_that_reached_its_peak_is_complete(fire: Callable[..., FiringLog]) -> None:
    firing, measures = measure(KILN, fire())
    assert firing.end == "complete"
    assert firing.short_c == 0.0
    assert measures.hold_duty is None or 0.3 < measures.hold_duty < 0.9


def test_a_kiln_too_weak_for_its_peak_stalls(fire: Callable[..., FiringLog]) -> None:
    firing, measures = measure(KILN, fire(power=(0.45,), ramps=((100.0, 1200.0, 0.0),), output=False))
    assert firing.peak_c < 1150.0
    assert firing.end == "stalled"
    assert measures.full_share is not None
    assert measures.full_share > 0.5


def test_a_run_of_minutes_that_only_tries_whether_the_kiln_heats_is_no_stall(fire: Callable[..., FiringLog]) -> None:
    log = fire(ramps=((2000.0, 1200.0, 0.0),))
    cut = log.elapsed_s < 900.0
    assert log.set_point_c is not None
    tried = replace(log, elapsed_s=log.elapsed_s[cut], zone_c=log.zone_c[cut], set_point_c=log.set_point_c[cut])
    firing, _ = measure(KILN, replace(tried, output=None, output_kind=None, complete_tail=True))
    assert firing.end == "aborted"


def slow_cooling(hours_constant: float, held_from_c: float | None = None) -> FiringLog:
    """A climb to 1050 deg C below a set point that stands on at 1058, and a cooling by Newton's law, or then held."""
    climb = np.arange(0.0, 10.3 * 3600.0, 60.0)
    cool = np.arange(0.0, 30.0 * 3600.0, 60.0)
    alone = 20.0 + 1030.0 * np.exp(-cool / (hours_constant * 3600.0))
    if held_from_c is not None:
        alone = np.maximum(alone, held_from_c - np.arange(cool.size) / 600.0)
    zone = np.concatenate((20.0 + climb * 100.0 / 3600.0, alone))
    point = np.concatenate((climb * 100.0 / 3600.0 + 28.0, np.full(cool.size, 1058.0)))
    time = np.arange(zone.size) * 60.0
    return FiringLog(time, zone[:, None], point[:, None], None, ("1",))


def test_a_large_kiln_that_cools_slowly_is_not_heated_because_its_set_point_stands_on() -> None:
    """Densely packed it falls by less than 20 deg C per hour at 400 deg C: no stand at full output, no dead zone."""
    firing, measures = measure(KILN, slow_cooling(21.0))
    assert measures.no_rise is None
    assert firing.heating_s == pytest.approx(10.3 * 3600.0, abs=900.0)
    held, _ = measure(KILN, slow_cooling(10.0, held_from_c=700.0))
    assert held.heating_s > 20.0 * 3600.0  # held at 700 deg C, far above what it would do by itself


def test_a_file_still_growing_is_incomplete(fire: Callable[..., FiringLog]) -> None:
    log = fire()
    half = log.elapsed_s.size // 4
    cut = replace(
        log,
        elapsed_s=log.elapsed_s[:half],
        zone_c=log.zone_c[:half],
        set_point_c=None if log.set_point_c is None else log.set_point_c[:half],
        output=None if log.output is None else log.output[:half],
        complete_tail=False,
    )
    assert measure(KILN, cut)[0].end == "incomplete"


def test_a_dead_zone_that_stands_still_at_full_output_is_noticed(
    fire: Callable[..., FiringLog], test_kiln: Callable[..., object]
) -> None:
    kiln = Kiln("juniper", zones=("top", "bottom"))
    log = fire(test_kiln(zones=2), power=(1.0, 0.0), ramps=((120.0, 600.0, 0.0),), cooling_h=0.2)
    _, measures = measure(kiln, log)
    assert measures.no_rise is not None
    assert measures.no_rise.zone == 1
    assert measures.no_rise.minutes > 60.0


def test_programmes_are_recognised_without_a_name(fire: Callable[..., FiringLog]) -> None:
    bisque, _ = measure(KILN, fire(ramps=((80.0, 600.0, 0.0), (120.0, 1000.0, 10.0)), set_point=False))
    glaze, _ = measure(KILN, fire(set_point=False))
    again, _ = measure(KILN, fire(set_point=False, load=1.2, seed=3))
    known, first = recognise((), bisque, 0, cooled=True)
    known, second = recognise(known, glaze, 1, cooled=True)
    known, third = recognise(known, again, 2, cooled=True)
    assert first.new
    assert second.new
    assert not third.new
    assert third.programme.slot == second.programme.slot
    assert third.programme.fired == 2
    assert nearest(known, second.programme) == first.programme
    assert nearest((first.programme,), first.programme) is None


def test_a_named_programme_that_ends_far_below_its_usual_peak_was_cut_short(fire: Callable[..., FiringLog]) -> None:
    glaze = replace(measure(KILN, fire())[0], programme="glaze 1200")
    known, _ = recognise((), glaze, 0, cooled=True)
    known, _ = recognise(known, glaze, 1, cooled=True)
    stopped = replace(glaze, peak_c=640.0, planned_peak_c=640.0, short_c=0.0, shape=Shape(640.0, glaze.shape.pace_h))
    known, match = recognise(known, stopped, 2, cooled=True)
    assert match.short_c == pytest.approx(560.0, abs=2.0)
    assert match.programme.shape.peak_c == pytest.approx(1200.0, abs=2.0)


def test_a_nameless_climb_that_dies_away_below_every_known_peak_was_cut_short(fire: Callable[..., FiringLog]) -> None:
    """It began like the glaze firings and got no hotter: no programme of its own, unlike a brisk one to that peak."""
    glaze, _ = measure(KILN, fire(set_point=False))
    known, _ = recognise((), glaze, 0, cooled=True)
    known, _ = recognise(known, glaze, 1, cooled=True)
    first_h, middle_h, last_h = glaze.shape.pace_h
    assert last_h is not None
    for hours, short_c in ((3.0 * last_h, 265.0), (1.2 * last_h, None)):
        ended = replace(
            glaze, peak_c=glaze.peak_c - 265.0, shape=Shape(glaze.peak_c - 265.0, (first_h, middle_h, hours))
        )
        _, match = recognise(known, ended, 2, cooled=True)
        assert match.new is (short_c is None)
        assert match.short_c == (None if short_c is None else pytest.approx(short_c, abs=2.0))


def test_more_programmes_than_slots_push_out_the_least_used(fire: Callable[..., FiringLog]) -> None:
    firing, _ = measure(KILN, fire())
    known: tuple = ()
    for number in range(15):
        known, match = recognise(known, replace(firing, programme=f"programme {number}"), number, cooled=True)
        assert match.new
    assert len(known) == 10
    assert len({p.slot for p in known}) == 10


def test_measures_hold_no_numbers_that_json_cannot_keep(fire: Callable[..., FiringLog]) -> None:
    log = fire()
    spoiled = log.zone_c.copy()
    spoiled[100:140] = np.nan
    _, measures = measure(KILN, replace(log, zone_c=spoiled))

    def check(value: object) -> None:
        if isinstance(value, float):
            assert np.isfinite(value)
        elif isinstance(value, tuple):
            for item in value:
                check(item)

    for name in measures.__slots__:
        check(getattr(measures, name))

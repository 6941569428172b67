"""The live watch on firings that are still running: silent on a healthy kiln, plain about what is wrong."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.course import PastCourse, late_so_far, same_programme, usual_course
from analysis.live import LiveView, silence, watch
from analysis.reading import read_log
from analysis.reading.firing_log import FiringLog, Spike
from config.kiln import Kiln

KILN = Kiln("juniper", zones=("top", "bottom"), max_temp_c=1290)
STEP_S = 60.0
PEAK_C = 1222.0


def fire(
    power: float | tuple[float, float] = 1.0,
    hours: float = 12.0,
    peak_c: float = PEAK_C,
    ramp_c_h: float = 150.0,
    *,
    log_output: bool = True,
    stuck_after_c: float | None = None,
) -> FiringLog:
    """A two-zone kiln: C dT/dt = u P - L(T) + exchange between the zones, with a proportional controller.

    Full power climbs 350 deg C an hour when cold and 100 at the peak. ``stuck_after_c``: once that hot, the relay of
    the top zone stays closed whatever is asked, and the programme ends there.
    """
    powers = np.broadcast_to(np.asarray(power, dtype=float), (2,))
    n = int(hours * 3600 / STEP_S)
    zone_c, set_c, output = np.empty((n, 2)), np.empty((n, 2)), np.empty((n, 2))
    now = np.array([20.0, 20.0])
    wanted, ended = 20.0, False
    for i in range(n):
        wanted = min(wanted + ramp_c_h * STEP_S / 3600, peak_c)
        ended = ended or (stuck_after_c is not None and now[0] >= stuck_after_c)
        asked = 20.0 if ended else wanted
        u = np.clip((asked - now) / 6.0, 0.0, 1.0)
        zone_c[i], set_c[i], output[i] = np.round(now, 1), asked, u
        heat = u.copy()
        if ended:
            heat[0] = 1.0
        loss = 250.0 * ((now - 20.0) / 1200.0) ** 1.3
        now = now + (350.0 * powers * heat - loss + 1.2 * (now[::-1] - now)) * STEP_S / 3600
    return FiringLog(
        elapsed_s=np.arange(n) * STEP_S,
        zone_c=zone_c,
        set_point_c=set_c,
        output=output if log_output else None,
        output_kind="duty" if log_output else None,
        zone_names=("top", "bottom"),
        programme="glaze 1222",
    )


def upto(log: FiringLog, hours: float) -> FiringLog:
    n = int(hours * 3600 / STEP_S)
    return replace(
        log,
        elapsed_s=log.elapsed_s[:n],
        zone_c=log.zone_c[:n],
        set_point_c=None if log.set_point_c is None else log.set_point_c[:n],
        output=None if log.output is None else log.output[:n],
        spikes=tuple(s for s in log.spikes if s.elapsed_s < n * STEP_S),
    )


def course(log: FiringLog) -> PastCourse:
    thin = slice(None, None, 4)
    assert log.set_point_c is not None
    return PastCourse(
        tuple(log.elapsed_s[thin]),
        tuple(log.zone_c.mean(axis=1)[thin]),
        tuple(log.set_point_c.max(axis=1)[thin]),
        log.programme or "",
    )


HEALTHY = fire()
PAST = (course(HEALTHY),) * 3


def kinds(view: LiveView) -> list[str]:
    return [state.kind for state in view.states]


@pytest.mark.parametrize("log_output", [True, False])
@pytest.mark.parametrize("power", [1.0, 0.97, 0.94])
def test_a_healthy_kiln_says_nothing_from_its_first_row_to_its_last(power: float, log_output: bool) -> None:
    log = fire(power, log_output=log_output)
    for hours in np.arange(0.02, 12.0, 0.33):
        assert watch(KILN, upto(log, hours), PAST).states == (), hours


def test_a_kiln_at_two_thirds_of_its_power_is_behind_with_the_time_it_would_end_or_will_not_arrive() -> None:
    log = fire(0.75, hours=20)
    told = [s for h in np.arange(1, 19, 0.5) for s in watch(KILN, upto(log, h), PAST).states if s.kind == "behind"]
    assert told
    assert "behind the set point at full output" in told[0].text
    assert told[0].end_s is None or "{end}" in told[0].text


def test_what_cannot_reach_its_peak_is_said_not_to() -> None:
    log = fire(0.66, hours=30)
    assert log.zone_c.max() < PEAK_C - 40
    texts = [
        s.text for h in np.arange(6, 29, 0.5) for s in watch(KILN, upto(log, h), PAST).states if s.kind == "behind"
    ]
    assert any("it will not reach {c:12" in text for text in texts)


def test_without_earlier_firings_of_the_programme_no_end_is_guessed() -> None:
    log = fire(0.75, hours=20)
    for hours in np.arange(1, 19, 1.0):
        assert "behind" not in kinds(watch(KILN, upto(log, hours), ()))


def test_full_output_without_a_rise_is_a_stall_and_not_also_behind() -> None:
    log = fire(0.62, hours=40)
    view = watch(KILN, log, PAST)
    assert kinds(view) == ["stalled"]
    assert "Full output and no rise for 45 min" in view.states[0].text


def test_a_stall_in_the_first_hour_needs_no_earlier_firing() -> None:
    log = fire(0.004, hours=3)
    assert kinds(watch(KILN, upto(log, 1.5))) == ["stalled"]


def test_a_hold_at_the_set_point_is_no_stall() -> None:
    log = fire(peak_c=600.0, hours=10)
    assert watch(KILN, log).states == ()


def test_heat_without_demand_is_urgent_and_names_the_zone() -> None:
    log = fire(stuck_after_c=900.0, hours=8)
    when = float(log.elapsed_s[np.argmax(log.zone_c[:, 0] >= 900.0)]) / 3600
    assert watch(KILN, upto(log, when), PAST).states == ()
    view = watch(KILN, upto(log, when + 0.4), PAST)
    (state,) = [s for s in view.states if s.kind == "heat_without_demand"]
    assert (state.severity, state.zone) == ("urgent", "top")
    assert "isolator" in state.first_look


def test_heat_without_demand_shows_from_the_set_point_alone() -> None:
    log = fire(stuck_after_c=900.0, hours=8, log_output=False)
    when = float(log.elapsed_s[np.argmax(log.zone_c[:, 0] >= 900.0)]) / 3600
    assert "heat_without_demand" in kinds(watch(KILN, upto(log, when + 0.4), PAST))


@pytest.mark.parametrize("every", [2, 5])
def test_a_logger_of_one_row_in_some_minutes_is_watched_as_well(every: int) -> None:
    def thin(log: FiringLog) -> FiringLog:
        part = slice(None, None, every)
        assert log.set_point_c is not None
        assert log.output is not None
        return replace(
            log,
            elapsed_s=log.elapsed_s[part],
            zone_c=log.zone_c[part],
            set_point_c=log.set_point_c[part],
            output=log.output[part],
        )

    for hours in np.arange(0.1, 12.0, 0.7):
        assert watch(KILN, thin(upto(HEALTHY, hours)), PAST).states == ()
    assert kinds(watch(KILN, thin(upto(fire(0.004, hours=3), 1.5)))) == ["stalled"]
    stuck = fire(stuck_after_c=900.0, hours=8)
    when = float(stuck.elapsed_s[np.argmax(stuck.zone_c[:, 0] >= 900.0)]) / 3600
    seen = [s.kind for h in (0.4, 0.5, 0.6) for s in watch(KILN, thin(upto(stuck, when + h)), PAST).states]
    assert "heat_without_demand" in seen


def test_cooling_is_no_news() -> None:
    rising = HEALTHY.zone_c[:540]
    falling = rising[-1] * np.exp(-np.arange(300)[:, None] / 400.0)
    log = replace(
        HEALTHY,
        elapsed_s=np.arange(840) * STEP_S,
        zone_c=np.vstack([rising, falling]),
        set_point_c=np.vstack([HEALTHY.set_point_c[:540], np.zeros((300, 2))]),
        output=np.vstack([HEALTHY.output[:540], np.zeros((300, 2))]),
    )
    for hours in np.arange(9.0, 14.0, 0.2):
        view = watch(KILN, upto(log, hours), PAST)
        assert view.states == ()
        assert silence(view, 1e6, 1800) is None
    assert view.phase == "cooling"


def test_above_the_register_s_maximum_is_urgent_but_a_single_sample_or_its_tolerance_is_not() -> None:
    log = upto(HEALTHY, 8.0)
    for rows, excess, expected in [(1, 40.0, []), (3, 4.0, []), (3, 12.0, ["over_temperature"])]:
        zone_c = log.zone_c.copy()
        zone_c[-rows:, 1] = 1290.0 + excess
        view = watch(KILN, replace(log, zone_c=zone_c), PAST)
        assert [k for k in kinds(view) if k == "over_temperature"] == expected
    assert view.states[0].severity == "urgent"
    assert view.states[0].zone == "bottom"
    assert "over_temperature" not in kinds(watch(Kiln("juniper"), replace(log, zone_c=zone_c), PAST))


def test_a_thermocouple_that_jumps_often_is_told_once_it_is_often() -> None:
    log = upto(HEALTHY, 6.0)
    few = tuple(Spike(0, 5.5 * 3600 + 60 * n, 1, "spike", 80.0) for n in range(3))
    assert watch(KILN, replace(log, spikes=few), PAST).states == ()
    many = tuple(Spike(0, 5.5 * 3600 + 60 * n, 1, "spike", 80.0) for n in range(6))
    (state,) = watch(KILN, replace(log, spikes=many), PAST).states
    assert (state.kind, state.zone) == ("thermocouple_jumping", "top")
    old = tuple(Spike(0, 1000.0 + 60 * n, 1, "spike", 80.0) for n in range(6))
    assert watch(KILN, replace(log, spikes=old), PAST).states == ()


def test_a_couple_that_spikes_within_the_hour_is_told_from_the_file_as_it_is_read() -> None:
    minutes = np.arange(360)
    temp_c = np.linspace(20.0, 900.0, minutes.size)
    temp_c[50] += 300.0
    spiking = temp_c.copy()
    spiking[300:358:4] += 300.0
    for values, expected in ((temp_c, []), (spiking, ["thermocouple_jumping"])):
        rows = "".join(f"{60 * m},{v:.1f}\n" for m, v in zip(minutes, values, strict=True))
        log = read_log(f"elapsed_s,temp (C)\n{rows}".encode(), name="2026-03-02_0814.csv", kiln=Kiln("wren")).firings[0]
        assert kinds(watch(Kiln("wren"), log)) == expected


def test_a_log_of_ten_minute_rows_far_behind_its_set_point_is_judged_by_what_rows_there_are() -> None:
    at_s = 600.0 * np.arange(96)
    planned = np.minimum(at_s / 36.0 + 20.0, 1200.0)
    past = [PastCourse(tuple(at_s), tuple(planned), tuple(planned), "glaze") for _ in range(4)]
    slow = np.where(at_s < 32400.0, at_s / 36.0 + 18.0, 918.0 + (at_s - 32400.0) / 180.0)
    log = FiringLog(at_s[:70], slow[:70, None], planned[:70, None], None, ("1",), programme="glaze")
    (state,) = watch(Kiln("wren"), log, past).states
    assert state.kind == "behind"
    assert "will not reach {c:1200}" in state.text


def test_heating_without_a_believable_temperature_is_urgent() -> None:
    log = upto(HEALTHY, 6.0)
    zone_c = log.zone_c.copy()
    zone_c[-20:, 0] = np.nan
    assert watch(KILN, replace(log, zone_c=zone_c), PAST).states == ()
    zone_c[-45:, 0] = np.nan
    (state,) = watch(KILN, replace(log, zone_c=zone_c), PAST).states
    assert (state.kind, state.severity, state.zone) == ("heating_blind", "urgent", "top")
    zone_c[:, 0] = np.nan  # a column that never held a reading is no thermocouple lost
    assert "heating_blind" not in kinds(watch(KILN, replace(log, zone_c=zone_c), PAST))
    everything = np.full_like(zone_c, np.nan)
    everything[:200] = log.zone_c[:200]
    assert kinds(watch(KILN, replace(log, zone_c=everything), PAST)) == ["heating_blind"]


def test_a_log_gone_silent_in_mid_firing_is_told_and_one_that_ended_near_its_peak_is_not() -> None:
    middle, end = watch(KILN, upto(HEALTHY, 5.0), PAST), watch(KILN, upto(HEALTHY, 8.1), PAST)
    assert silence(middle, 1700.0, 1800.0) is None
    state = silence(middle, 1900.0, 1800.0)
    assert state is not None
    assert "No new row in the log for 32 min" in state.text
    assert silence(end, 1e6, 1800.0) is None


def test_silence_of_an_unknown_kiln_is_not_told_because_its_end_is_not_known() -> None:
    assert silence(watch(KILN, upto(HEALTHY, 5.0), ()), 1e6, 1800.0) is None


def test_a_kiln_whose_programmes_are_all_known_is_known_to_be_under_way_without_the_programme_s_name() -> None:
    nameless = replace(upto(HEALTHY, 5.0), programme=None, set_point_c=None)
    assert silence(watch(KILN, nameless, PAST), 7200.0, 1800.0) is None
    assert silence(watch(KILN, nameless, PAST * 3), 7200.0, 1800.0) is not None


def test_a_slow_logger_is_given_its_time() -> None:
    middle = replace(watch(KILN, upto(HEALTHY, 5.0), PAST), sample_s=600.0)
    assert silence(middle, 3600.0, 1800.0) is None


@given(st.integers(0, 40), st.floats(0, 1), st.integers(0, 2**31))
def test_whatever_the_log_holds_the_watch_gives_an_answer(n: int, missing: float, seed: int) -> None:
    chance = np.random.default_rng(seed)
    zone_c = chance.uniform(-50, 1400, (n, 2))
    zone_c[chance.random((n, 2)) < missing] = np.nan
    set_c = chance.uniform(0, 1300, (n, 2)) if seed % 2 else None
    if set_c is not None and n:
        set_c[chance.random((n, 2)) < missing / 2] = np.nan
    log = FiringLog(np.arange(n) * 180.0, zone_c, set_c, chance.random((n, 2)) if seed % 3 else None, ("top", "bottom"))
    view = watch(KILN, log, PAST)
    assert view.elapsed_s == max(n - 1, 0) * 180.0
    silence(view, 1e5, 1800.0)


# -- the usual course -------------------------------------------------------------------------------------------


def test_the_usual_course_knows_how_long_it_takes_from_each_temperature() -> None:
    usual = usual_course(PAST)
    assert usual is not None
    assert usual.peak_c == pytest.approx(PEAK_C, abs=6)
    mean_c = HEALTHY.zone_c.mean(axis=1)
    took = STEP_S * (np.argmax(mean_c >= usual.peak_c - 5) - np.argmax(mean_c >= 700))
    assert usual.remaining_s(700.0) == pytest.approx(took, abs=300)
    assert usual.remaining_s(PEAK_C) == pytest.approx(0.0, abs=300)
    assert abs(late_so_far(HEALTHY.elapsed_s[:300], HEALTHY.zone_c.mean(axis=1)[:300], float(mean_c[299]), usual)) < 200


def test_one_earlier_firing_or_firings_of_different_peaks_are_no_usual_course() -> None:
    assert usual_course(PAST[:1]) is None
    assert usual_course((PAST[0], course(fire(peak_c=1000.0)))) is None
    assert usual_course(()) is None


def test_the_same_programme_is_known_by_its_name_or_else_by_its_pace() -> None:
    other = replace(course(fire(ramp_c_h=100.0, hours=16)), programme="bisque")
    past = (*PAST, other)
    assert same_programme(past, upto(HEALTHY, 4)) == PAST
    assert same_programme(past, replace(upto(HEALTHY, 4), programme="bisque")) == (other,)
    assert same_programme(past, replace(upto(HEALTHY, 4), programme=None)) == PAST
    assert same_programme(past, replace(upto(HEALTHY, 4), programme=None, set_point_c=None)) == ()


def test_where_programmes_part_only_later_neither_is_taken() -> None:
    low = replace(course(fire(peak_c=1000.0)), programme="low")
    assert same_programme((*PAST, low), replace(upto(HEALTHY, 4), programme=None)) == ()

"""The heat balance of a whole firing recovers the kiln that made it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from pydantic import TypeAdapter

from analysis.balance import Blocks, KeptPace, zone_moments
from analysis.clay_water import water_loss_per_h
from analysis.heat_model import heat_rows
from analysis.measures import Measures, measure
from analysis.reading.firing_log import FiringLog
from analysis.wall_heat import flux_through_gaps
from config.kiln import Kiln

KILN = Kiln("heron", rated_kw=8.0, zones=("1",))


def wall_and_load(measures: Measures) -> tuple[float, float]:
    assert measures.heat is not None
    matrix = measures.heat.matrix()
    wall, load = np.linalg.solve(matrix[1:3, 1:3], matrix[1:3, 0])
    return float(wall), float(load)


def test_wall_and_load_of_a_simulated_kiln_are_found_within_a_few_per_cent(fire: Callable[..., FiringLog]) -> None:
    _, measures = measure(KILN, fire())
    wall, load = wall_and_load(measures)
    assert wall == pytest.approx(0.30, rel=0.04)
    assert load == pytest.approx(0.17, rel=0.15)


def test_lost_power_raises_both_ratios_alike(fire: Callable[..., FiringLog]) -> None:
    _, sound = measure(KILN, fire())
    _, worn = measure(KILN, fire(power=(0.85,)))
    for before, after in zip(wall_and_load(sound), wall_and_load(worn), strict=True):
        assert before / after == pytest.approx(0.85, rel=0.04)


def test_a_heavy_load_raises_the_load_only(fire: Callable[..., FiringLog]) -> None:
    _, usual = measure(KILN, fire())
    _, heavy = measure(KILN, fire(load=1.4))
    assert wall_and_load(heavy)[0] / wall_and_load(usual)[0] == pytest.approx(1.0, abs=0.04)
    assert wall_and_load(heavy)[1] / wall_and_load(usual)[1] == pytest.approx(1.4, abs=0.12)


def test_a_leak_raises_the_loss_and_leaves_power_per_capacity(fire: Callable[..., FiringLog]) -> None:
    _, tight = measure(KILN, fire())
    _, leaking = measure(KILN, fire(leak=1.2))
    assert wall_and_load(leaking)[0] / wall_and_load(tight)[0] == pytest.approx(1.2, abs=0.05)
    assert wall_and_load(leaking)[1] / wall_and_load(tight)[1] == pytest.approx(1.0, abs=0.08)


def test_what_a_gap_radiates_is_told_from_what_the_wall_conducts(fire: Callable[..., FiringLog]) -> None:
    """A fifth of the steady loss at 1000 deg C: by the fourth power of the kelvins 1.79 times as much at 1200."""

    def flows(log: FiringLog) -> np.ndarray:
        _, measures = measure(KILN, log)
        assert measures.heat is not None
        matrix = measures.heat.matrix()
        return np.linalg.solve(matrix[1:, 1:], matrix[1:, 0])

    tight, open_lid = flows(fire(noise_c=0.0)), flows(fire(noise_c=0.0, gap=0.2))
    steady = float(flux_through_gaps(np.array([1200.0]))[0]) / 1000.0
    assert (open_lid - tight)[2] * steady == pytest.approx(0.2 * 0.30 * 1.79, rel=0.25)
    assert open_lid[0] == pytest.approx(tight[0], rel=0.08)
    assert open_lid[1] == pytest.approx(tight[1], rel=0.15)


def test_a_kiln_loaded_while_still_warm_seems_no_weaker(fire: Callable[..., FiringLog]) -> None:
    _, cold = measure(KILN, fire())
    _, warm = measure(KILN, fire(start_c=100.0))
    assert wall_and_load(warm)[0] == pytest.approx(wall_and_load(cold)[0], rel=0.015)


def test_a_relay_seen_now_and_then_tells_the_wall_without_leaning(fire: Callable[..., FiringLog]) -> None:
    """One look a minute finds the relay closed or open; by chance closed ten times running is no full output."""
    duty = fire()
    assert duty.output is not None
    told = []
    for seed in range(12):
        closed = (np.random.default_rng(seed).random(duty.output.shape) < duty.output).astype(float)
        _, measures = measure(KILN, replace(duty, output=closed, output_kind="on-off"))
        told.append(wall_and_load(measures)[0])
    _, measures = measure(KILN, duty)
    assert np.mean(told) == pytest.approx(wall_and_load(measures)[0], rel=0.02)


def test_without_a_logged_output_full_output_and_cooling_tell_the_same(fire: Callable[..., FiringLog]) -> None:
    fast = ((250.0, 1200.0, 10.0),)
    _, logged = measure(KILN, fire(ramps=fast))
    _, inferred = measure(KILN, fire(ramps=fast, output=False))
    assert inferred.output == "inferred"
    assert inferred.heat is not None
    assert inferred.heat.full_blocks > 4
    assert wall_and_load(inferred)[0] == pytest.approx(wall_and_load(logged)[0], rel=0.05)


def test_temperature_alone_tells_it_too_where_the_climb_keeps_slowing(fire: Callable[..., FiringLog]) -> None:
    _, measures = measure(KILN, fire(ramps=((250.0, 1200.0, 10.0),), output=False, set_point=False))
    assert measures.output == "none"
    assert measures.heat is not None
    assert wall_and_load(measures)[0] == pytest.approx(0.30, rel=0.12)


def test_a_kiln_that_keeps_its_programme_below_full_output_gives_a_bound(fire: Callable[..., FiringLog]) -> None:
    _, measures = measure(KILN, fire(ramps=((90.0, 1000.0, 10.0),), output=False))
    assert measures.kept is not None
    asked = 0.30 * measures.kept.flux + 0.17 * measures.kept.rate
    assert 0.3 < asked < 1.0


def test_a_pace_stored_before_it_was_known_what_gaps_radiate_is_still_read() -> None:
    """Reports are drawn from records of earlier versions, too."""
    stored = TypeAdapter(KeptPace).validate_python({"flux": 1.4, "rate": 0.9, "at_c": 980.0})
    assert stored.through_gaps == 0.0


def seeping(log: FiringLog, heat_c: float) -> FiringLog:
    """The same log with a cooling no brick explains: heat set free around 600 deg C holds it up for hours."""
    top = int(np.argmax(log.zone_c[:, 0]))
    zone_c = log.zone_c.copy()
    cooling = zone_c[top:]
    cooling += heat_c / (1.0 + np.exp((cooling - 600.0) / 40.0))
    return replace(log, zone_c=zone_c)


def test_a_cooling_tells_the_load_over_the_wall_and_speaks_for_no_size_of_them(
    fire: Callable[..., FiringLog],
) -> None:
    """No wall and no load (A = C = 0) fit any cooling: that they fit it better than those there are must not count."""
    log = fire(ramps=((90.0, 1000.0, 10.0),), cooling_h=10.0)
    top = int(np.argmax(log.zone_c[:, 0])) + 3
    assert log.output is not None
    alone = replace(
        log,
        elapsed_s=log.elapsed_s[top:] - log.elapsed_s[top],
        zone_c=log.zone_c[top:],
        output=log.output[top:],
        set_point_c=None,
    )
    for cooled in (alone, seeping(alone, 60.0)):
        _, measures = measure(KILN, cooled)
        assert measures.heat is not None
        flows = measures.heat.matrix()[1:3, 1:3]
        assert np.linalg.det(flows) == pytest.approx(0.0, abs=1e-9 * flows[0, 0] * flows[1, 1])
        assert -flows[0, 1] / flows[1, 1] > 0.2


def with_lost_output(log: FiringLog, low_c: float, high_c: float) -> FiringLog:
    """The same log, its output nought for the ten minutes in which the climb passes ``low_c``, and on to ``high_c``."""
    assert log.output is not None
    begin, end = (log.elapsed_s[np.argmax(log.zone_c[:, 0] > at_c)] // 600.0 * 600.0 for at_c in (low_c, high_c))
    lost = (log.elapsed_s >= begin) & (log.elapsed_s < end)
    return replace(log, output=np.where(lost[:, None], 0.0, log.output))


@pytest.mark.parametrize("cooling_h", [0.1, 6.0])
def test_blocks_that_warm_without_output_tell_nothing(fire: Callable[..., FiringLog], cooling_h: float) -> None:
    """An output that reads nought while the kiln warms is wrong, and no sign of a kiln without wall or load."""
    log = fire(ramps=((120.0, 1000.0, 0.0), (60.0, 1200.0, 15.0)), cooling_h=cooling_h)
    _, whole = measure(KILN, log)
    _, lost = measure(KILN, with_lost_output(log, 800.0, 950.0))
    assert lost.heat is not None
    assert wall_and_load(lost) == pytest.approx(wall_and_load(whole), rel=0.02)
    assert lost.heat.cooling_left < 50.0


def opened(log: FiringLog, at_c: float) -> FiringLog:
    """The same log with a kiln opened while it cools through ``at_c``: from there on it cools three times as fast."""
    top = int(np.argmax(log.zone_c[:, 0]))
    at = top + int(np.argmax(log.zone_c[top:, 0] < at_c))
    zone_c = log.zone_c.copy()
    after = zone_c[at:]
    room_c = 20.0
    zone_c[at:] = room_c + (after - room_c) * ((after - room_c) / (after[0] - room_c)) ** 2
    return replace(log, zone_c=zone_c)


@pytest.mark.parametrize("at_c", [900.0, 600.0])
def test_a_kiln_opened_while_it_cools_has_no_other_wall(fire: Callable[..., FiringLog], at_c: float) -> None:
    log = fire(ramps=((120.0, 1000.0, 0.0), (60.0, 1200.0, 15.0)), cooling_h=8.0)
    _, closed = measure(KILN, log)
    _, cooled = measure(KILN, opened(log, at_c))
    assert wall_and_load(cooled) == pytest.approx(wall_and_load(closed), rel=0.03)


def test_a_cooling_held_back_by_heat_that_is_not_logged_is_no_free_one(fire: Callable[..., FiringLog]) -> None:
    """A programmed cooling of 60 deg C an hour; a relay sampled when it happens to be open shows no output in it."""
    log = fire(ramps=((120.0, 1000.0, 0.0), (60.0, 1200.0, 15.0), (-60.0, 1020.0, 0.0)), cooling_h=8.0)
    assert log.output is not None
    top = int(np.argmax(log.zone_c[:, 0]))
    blind = replace(log, output=np.where((np.arange(log.zone_c.shape[0]) > top + 20)[:, None], 0.0, log.output))
    _, logged = measure(KILN, log)
    _, sampled = measure(KILN, blind)
    _, alone = measure(KILN, replace(log, output=None, output_kind=None, set_point_c=None))
    assert logged.heat is not None
    for told in (sampled, alone):
        assert told.heat is not None
        assert told.heat.cooling_blocks == pytest.approx(logged.heat.cooling_blocks, abs=2)


@pytest.mark.parametrize("heat_c", [0.0, 80.0])
def test_a_cooling_the_wall_does_not_explain_hides_no_loss(fire: Callable[..., FiringLog], heat_c: float) -> None:
    """Twenty minutes at full output and a long cooling, which as so many rows of the balance would outweigh them."""
    log = fire(ramps=((160.0, 450.0, 0.0), (600.0, 620.0, 0.0), (60.0, 900.0, 10.0)), output=False, cooling_h=12.0)
    _, measures = measure(KILN, seeping(log, heat_c))
    assert measures.heat is not None
    assert measures.heat.full_blocks == 2
    rows = heat_rows(measures.heat, np.ones(1))
    assert rows is not None
    wall = np.linalg.lstsq(rows[:, 1:], rows[:, 0], rcond=None)[0][0]
    error = np.sqrt(np.linalg.inv(rows[:, 1:].T @ rows[:, 1:])[0, 0])
    assert abs(wall - 0.30) < 2.0 * error
    assert wall > 0.2


def test_a_firing_of_half_an_hour_has_no_balance(fire: Callable[..., FiringLog]) -> None:
    log = fire()
    cut = FiringLog(log.elapsed_s[:20], log.zone_c[:20], None, None, log.zone_names)
    _, measures = measure(KILN, cut)
    assert measures.heat is None


def test_a_relays_log_of_a_few_minutes_or_with_better_volts_than_the_nameplates_is_measured_all_the_same(
    fire: Callable[..., FiringLog],
) -> None:
    log = fire()
    assert log.output is not None
    relay = replace(
        log, output=(log.output > 0.5).astype(float), output_kind="on-off", volts=np.full(log.output.shape[0], 260.0)
    )
    _, measures = measure(replace(KILN, volts=240.0), relay)
    assert measures.heat is not None
    assert np.isfinite(measures.heat.moments).all()
    short = FiringLog(
        log.elapsed_s[:45], log.zone_c[:45], None, relay.output[:45], log.zone_names, output_kind="on-off"
    )
    measure(KILN, short)


@pytest.mark.parametrize("fastest_c", [550.0, 580.0, 610.0])
@pytest.mark.parametrize("hours", [0.0, 0.4, 0.8])
def test_clay_that_gives_off_its_water_early_or_late_is_no_weak_zone(fastest_c: float, hours: float) -> None:
    """One zone flat out from 520 to 640 deg C: whatever the clay takes there, its power is not what is missing.

    The clay loses its water around its own temperature in a bell 90 deg C wide at half its height, by no kinetics.
    """
    mean_c = np.linspace(520.0, 640.0, 9)
    per_h = 100.0 * np.exp(-0.5 * ((mean_c - fastest_c) / 38.0) ** 2) / (38.0 * np.sqrt(2.0 * np.pi))
    water = water_loss_per_h(np.linspace(20.0, 640.0, 186), 120.0)[-41::5]
    wall, capacity = 0.30, 0.17  # per 1000 deg C and per 100 deg C per hour
    flux = 1.5 * mean_c
    rate = (1.0 - wall * flux / 1000.0 - hours * per_h) / capacity * 100.0
    twice = [np.column_stack((each, each)) for each in (mean_c, rate, flux)]
    output = np.column_stack((np.ones(9), np.full(9, np.nan)))
    error, usable = np.full(9, 0.03), np.ones(9, dtype=np.bool_)
    blocks = Blocks(twice[0], mean_c, twice[1], rate, twice[2], output, water, error, usable)
    moments = zone_moments(blocks)[0]
    assert moments is not None

    def misfit(power: float) -> float:
        balance = np.array([power, -wall, -capacity, 0.0, 0.0])
        return float(balance @ moments.matrix() @ balance)

    assert misfit(1.0) <= misfit(0.65)

"""What one firing shows: bands, shares, energy, supply, resistance, heat against demand."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.measures import measure
from analysis.reading.firing_log import FiringLog
from analysis.zones import rated_shares
from config.kiln import Circuit, Kiln

KILN = Kiln("heron", volts=240.0, rated_kw=8.0, zones=("1",))
TWO = Kiln("juniper", volts=240.0, rated_kw=8.0, zones=("top", "bottom"))


def test_climb_in_bands_is_the_programme_s_rate_and_falls_at_full_output(fire: Callable[..., FiringLog]) -> None:
    _, measures = measure(KILN, fire(ramps=((120.0, 600.0, 0.0), (300.0, 1200.0, 10.0))))
    by_band = {band.at_c: band for band in measures.bands}
    assert by_band[412.5].climb.value == pytest.approx(120.0, rel=0.03)
    assert by_band[412.5].full_share == 0.0
    assert by_band[1112.5].full_share > 0.9
    assert by_band[1112.5].climb.value < by_band[812.5].climb.value
    assert by_band[1112.5].climb.error < 8.0


def test_cooling_bands_are_negative_and_slow_down(fire: Callable[..., FiringLog]) -> None:
    _, measures = measure(KILN, fire())
    rates = [band.climb.value for band in measures.cooling_bands]
    assert max(rates) < 0.0
    assert rates[0] > rates[-2]


def test_shares_of_rated_power_follow_the_circuits_ohms() -> None:
    kiln = replace(
        TWO,
        circuits=(
            Circuit("a", "top", 2, "parallel", (20.0, 20.0)),
            Circuit("b", "bottom", 2, "series", (10.0, 10.0)),
        ),
    )
    assert rated_shares(kiln, 2) == pytest.approx((2.0 / 3.0, 1.0 / 3.0))
    assert rated_shares(TWO, 2) == (0.5, 0.5)


def test_a_weak_zone_runs_longer_than_the_other(
    fire: Callable[..., FiringLog], test_kiln: Callable[..., object]
) -> None:
    log = fire(test_kiln(zones=2), power=(1.0, 0.8), ramps=((90.0, 900.0, 20.0),))
    _, measures = measure(TWO, log)
    assert measures.zone_share[1] / measures.zone_share[0] == pytest.approx(1.25, rel=0.06)


def test_energy_is_output_times_rated_power_times_supply(fire: Callable[..., FiringLog]) -> None:
    log = fire()
    assert log.output is not None
    hours = np.diff(log.elapsed_s, append=log.elapsed_s[-1]) / 3600.0
    expected = 8.0 * float((log.output[:, 0] * hours).sum())
    _, plain = measure(KILN, log)
    assert plain.energy_kwh == pytest.approx(expected, rel=0.02)
    _, sagging = measure(KILN, replace(log, volts=np.full(log.elapsed_s.size, 228.0)))
    assert sagging.energy_kwh == pytest.approx(expected * (228.0 / 240.0) ** 2, rel=0.02)
    assert sagging.supply_volts == pytest.approx(228.0)


def test_amps_with_everything_closed_are_told_at_nameplate_volts(fire: Callable[..., FiringLog]) -> None:
    log = fire(ramps=((300.0, 1200.0, 10.0),))
    assert log.output is not None
    volts = np.full(log.elapsed_s.size, 236.0)
    amps = np.where(log.output > 0.9, 236.0 / 7.2, 0.0)
    assert KILN.volts is not None
    _, measures = measure(KILN, replace(log, volts=volts, amps=amps))
    assert measures.full_current is not None
    assert np.exp(measures.full_current.value) == pytest.approx(KILN.volts / 7.2, rel=1e-3)


def test_heat_that_the_output_knows_nothing_of_ends_the_balance(fire: Callable[..., FiringLog]) -> None:
    log = fire(ramps=((120.0, 600.0, 0.0),), cooling_h=1.0)
    assert log.output is not None
    assert log.set_point_c is not None
    assert measure(KILN, log)[1].heat is not None
    start = log.elapsed_s.size // 2
    warm = log.zone_c.copy()
    warm[start:, 0] = warm[start, 0] + np.arange(warm.shape[0] - start) * 1.5
    stuck = replace(log, zone_c=warm, output=np.where(np.arange(warm.shape[0])[:, None] >= start, 0.0, log.output))
    welded = measure(KILN, replace(stuck, set_point_c=np.minimum(log.set_point_c, warm[start, 0])))[1]
    assert welded.signs.free_heat is not None
    assert welded.heat is None


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([1, 2, 5, 12]))
def test_power_found_does_not_depend_on_noise_or_sampling(
    fire: Callable[..., FiringLog], seed: int, stride: int
) -> None:
    log = fire()
    rng = np.random.default_rng(seed)
    thin = FiringLog(
        log.elapsed_s[::stride],
        np.round(log.zone_c[::stride] + rng.normal(0.0, 0.5, log.zone_c[::stride].shape)),
        None if log.set_point_c is None else log.set_point_c[::stride],
        None if log.output is None else log.output[::stride],
        log.zone_names,
        "duty",
    )
    _, measures = measure(KILN, thin)
    assert measures.heat is not None
    matrix = measures.heat.matrix()
    wall = float(np.linalg.solve(matrix[1:, 1:], matrix[1:, 0])[0])
    assert wall == pytest.approx(0.30, rel=0.08)


def test_an_output_of_one_zone_alone_is_as_good_as_none(fire: Callable[..., FiringLog], test_kiln: type) -> None:
    """The set point tells when the zones are at full output; half of the heat tells no balance."""
    log = fire(test_kiln(zones=2), ramps=((250.0, 1200.0, 10.0),))
    assert log.output is not None
    half = log.output.copy()
    half[:, 0] = np.nan
    _, measures = measure(TWO, replace(log, output=half))
    assert measures.output == "inferred"
    assert measures.heat is not None
    assert measures.heat.full_blocks > 4

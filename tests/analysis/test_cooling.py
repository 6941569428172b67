"""A free cooling bends where heat leaves by a gap, and nothing electrical can bend it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.condition import Condition
from analysis.cooling import Bend, Told, bend_of, merged_bend, surely_risen
from analysis.measures import measure
from analysis.reading.firing_log import FiringLog
from analysis.state import begin, update
from config.kiln import Kiln

KILN = Kiln("heron", rated_kw=8.0, zones=("1",))
FALL = np.linspace(1150.0, 500.0, 30)


def bend(log: FiringLog) -> float:
    _, measures = measure(KILN, log)
    assert measures.heat is not None
    assert measures.heat.bend is not None
    return measures.heat.bend.bend


@pytest.mark.parametrize("ratio", [0.8, 1.0, 3.0])
def test_a_wall_that_conducts_tells_the_same_ratio_all_the_way_down(ratio: float) -> None:
    flux = FALL / 700.0
    told = bend_of(FALL, flux, -ratio * flux)
    assert told is not None
    assert told.bend == pytest.approx(0.0, abs=1e-9)
    assert told.log_ratio == pytest.approx(np.log(ratio))


def test_what_leaves_faster_while_hot_bends_the_cooling() -> None:
    """A loss that grows by 4 % more per 100 deg C than the wall's own is a bend of 0.04 (log 1.04 to first order)."""
    flux = FALL / 700.0
    told = bend_of(FALL, flux, -flux * np.exp(0.04 * (FALL - FALL.mean()) / 100.0))
    assert told is not None
    assert told.bend == pytest.approx(0.04, abs=0.001)


@pytest.mark.parametrize("blocks", [slice(0, 10), slice(0, 0)])
def test_a_cooling_cut_short_tells_nothing(blocks: slice) -> None:
    mean_c = FALL[blocks]
    assert bend_of(mean_c, mean_c / 700.0, -mean_c / 700.0) is None


def test_a_gap_bends_the_cooling_of_a_simulated_kiln(fire: Callable[..., FiringLog]) -> None:
    assert bend(fire(gap=0.2)) - bend(fire()) > 0.015


@pytest.mark.parametrize("other", [{"power": (0.75,)}, {"load": 1.5}, {"load": 0.7}, {"leak": 1.3}, {"output": False}])
def test_neither_lost_power_nor_a_load_bends_it_much(fire: Callable[..., FiringLog], other: dict[str, object]) -> None:
    """Nor does more of what the wall itself loses."""
    assert abs(bend(fire(**other)) - bend(fire())) < 0.01


KNOWN = Bend((0.0, 0.03), ((0.002**2, 0.0), (0.0, 0.005**2)))


def test_a_firing_far_from_all_others_weighs_less_than_many() -> None:
    """A lid opened a crack for once is no leak: evidence against the usual grows with its logarithm only."""
    near, far = (KNOWN.weighed(Told(value, 0.006, 0.0))[0] for value in (0.0, 0.3))
    assert near - far < 20.0
    _, after = KNOWN.weighed(Told(0.3, 0.006, 0.0))
    assert after.mean[0] < 0.01


def test_a_log_taken_to_be_odd_teaches_nothing() -> None:
    assert KNOWN.weighed(Told(0.05, 0.006, 0.0), 3.0)[1] == KNOWN


def test_how_much_light_loads_bend_a_kiln_is_learned() -> None:
    bend = Bend()
    for log_ratio in [0.0, 0.5, 1.0, 0.2, 0.8] * 8:
        _, bend = bend.weighed(Told(-0.02 + 0.01 * log_ratio, 0.006, log_ratio))
    assert bend.mean == pytest.approx((-0.02, 0.01), abs=0.004)


@pytest.mark.parametrize("log_ratio", [0.0, 0.8])
def test_the_rise_of_a_leak_is_known_as_well_as_its_coolings_tell_it(log_ratio: float) -> None:
    """At any load: what is not known of the kiln's own bend is in both, before and after."""
    bend = Bend()
    for _ in range(14):
        _, bend = bend.weighed(Told(0.0, 0.006, log_ratio))
    bend = bend.leaking()
    for _ in range(4):
        _, bend = bend.weighed(Told(0.02, 0.006, log_ratio))
    assert bend.risen().value == pytest.approx(0.02, abs=0.002)
    # two means of 14 and of 4, and the prior of the leak
    means = 1.0 / (0.006**2 / 14 + 0.006**2 / 4)
    assert bend.risen().error == pytest.approx((means + 1.0 / 0.02**2) ** -0.5, rel=0.08)
    assert surely_risen(bend.risen())


def test_a_leak_that_is_closed_leaves_the_kiln_as_it_was() -> None:
    leaking = KNOWN.leaking()
    _, leaking = leaking.weighed(Told(0.04, 0.006, 0.0))
    assert leaking.sealed().mean[0] == pytest.approx(0.0, abs=0.002)
    assert not leaking.sealed().leaks
    again = leaking.leaking()
    assert again.mean[0] == pytest.approx(leaking.mean[0] + leaking.mean[2])


@given(st.floats(-0.3, 0.3), st.floats(1e-4, 0.1), st.floats(-0.5, 0.5), st.floats(1e-4, 0.2), st.floats(-2.0, 3.0))
def test_each_firing_leaves_a_bend_known_no_worse_but_for_its_walk(
    value: float, error: float, told: float, told_error: float, log_ratio: float
) -> None:
    for before in (Bend((value, 0.03), ((error**2, 0.0), (0.0, 0.015**2))), KNOWN.leaking()):
        evidence, after = before.weighed(Told(told, told_error, log_ratio))
        assert np.isfinite(evidence)
        grown = np.array(before.covariance)
        grown[0, 0] += 5e-4**2
        assert np.linalg.eigvalsh(grown - np.array(after.covariance)).min() > -1e-12
        assert np.linalg.eigvalsh(np.array(after.covariance)).min() > -1e-12
        assert np.array(after.covariance) == pytest.approx(np.array(after.covariance).T)


def test_several_bends_are_one_with_the_spread_of_all() -> None:
    other = Bend((0.02, 0.03), KNOWN.covariance)
    one = merged_bend(np.array([0.75, 0.25]), [KNOWN, other])
    assert one.mean == pytest.approx((0.005, 0.03))
    assert one.covariance[0][0] == pytest.approx(0.002**2 + 0.75 * 0.25 * 0.02**2)
    assert merged_bend(np.array([0.75, 0.25]), [KNOWN, KNOWN.leaking()]) is KNOWN


def _fired(fire: Callable[..., FiringLog], later: list[dict[str, object]], **always: object) -> list[Condition]:
    """Conditions of the firings after fourteen sound ones."""
    state, out = begin(KILN), []
    for seed, other in enumerate([{}] * 14 + later):
        firing, measures = measure(KILN, fire(seed=seed, load=(1.0, 1.25, 0.8)[seed % 3], **always, **other))
        state, condition = update(KILN, state, replace(firing, programme="glaze"), measures, ())
        out.append(condition)
    return out[14:]


def test_a_gap_is_told_from_lost_power_by_the_cooling(fire: Callable[..., FiringLog]) -> None:
    """To the heating both look alike where loads vary."""
    leaking = _fired(fire, [{"gap": 0.3}] * 3)[-1]
    assert leaking.stories[0].kind == "leak"
    assert leaking.stories[0].probability > 0.9
    weak = _fired(fire, [{"power": (0.8,)}] * 3)[-1]
    assert weak.stories[0].kind == "all"
    assert weak.leak < 0.1


def test_a_gap_shows_even_where_no_heating_asked_for_everything(fire: Callable[..., FiringLog]) -> None:
    """Nothing but temperature and a set point that is always kept: the power stays unknown, the leak does not."""
    gentle = ((60.0, 1000.0, 20.0),)
    leaking = _fired(fire, [{"gap": 0.3}] * 3, ramps=gentle, output=False)[-1]
    assert leaking.stories[0].kind == "leak"
    assert leaking.stories[0].bend is not None
    assert leaking.stories[0].bend.value > 3.0 * leaking.stories[0].bend.error


def test_a_cooling_that_bends_less_than_before_speaks_for_no_leak() -> None:
    """A kiln that is fired to another peak may bend otherwise; heat that leaves by a gap can only bend it more."""
    before = Bend()
    for _ in range(10):
        _, before = before.weighed(Told(0.0, 0.006, 0.0))
    for less in (-0.05, -0.1, -0.2):
        told = Told(less, 0.006, 0.0)
        assert before.leaking().weighed(told)[0] <= before.weighed(told)[0] + 1e-9
    more = Told(0.05, 0.006, 0.0)
    assert before.leaking().weighed(more)[0] > before.weighed(more)[0]

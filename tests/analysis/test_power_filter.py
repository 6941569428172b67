"""The filter's own rules: updating, conditioning on a bound, and keeping few histories."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.heat_model import Blur, FiringModel
from analysis.mixture import quantile
from analysis.power_filter import Belief, Hypothesis, Posteriors, censored, gauss_newton, pack, prune, unpack
from analysis.state_vector import Layout


def plain(weight: float, mean: float, jump: str = "none", firing: int | None = None) -> Belief:
    return Belief(weight, np.array([mean]), np.eye(1), Hypothesis(0.0, (), (), jump=jump, jump_firing=firing))


def test_a_linear_observation_is_weighed_as_by_bayes() -> None:
    layout = Layout(2, 1)
    size = layout.size + 2
    prior = np.zeros(size)
    covariance = np.eye(size) * 0.04
    model = FiringModel(layout, 0, np.array([0.5, 0.5]), None, np.array([0.1, -0.1]), 0.05)
    posteriors = gauss_newton(prior[None], covariance[None], model, Blur(np.ones(1), np.ones(1)))
    (mean,) = posteriors.means
    # the difference of (share - power) between the zones: prior variance 4 x 0.04, data 0.2 +- 0.05 sqrt 2
    expected = 0.2 * 0.16 / (0.16 + 2 * 0.05**2)
    share, power = layout.share, 0
    got = (mean[share] - mean[power]) - (mean[share + 1] - mean[power + 1])
    assert got == pytest.approx(expected, rel=1e-6)


def at_margins(margins: list[float], variance: float) -> Posteriors:
    """Posteriors of a state that is the margin itself."""
    count = len(margins)
    means, covariances = np.array(margins)[:, None], np.full((count, 1, 1), variance)
    return Posteriors(means, covariances, np.zeros(count), np.zeros(count), 0)


@given(st.floats(-1.5, 0.9))
def test_a_bound_moves_the_mean_inside_and_narrows_it(margin: float) -> None:
    posteriors = at_margins([margin], 0.25)
    after = censored(posteriors, np.array([margin]), np.ones((1, 1)))
    if margin / np.hypot(0.5, 0.02) > 1.0:
        assert after is posteriors
        return
    assert after.means[0, 0] > margin
    assert after.covariances[0, 0, 0] < 0.25
    assert after.log_evidence[0] <= 0.0


def test_a_bound_met_with_ease_changes_nothing() -> None:
    posteriors = at_margins([1.0], 0.01)
    assert censored(posteriors, np.array([1.0]), np.ones((1, 1))) is posteriors


def test_a_bound_touches_only_the_histories_that_hardly_meet_it() -> None:
    posteriors = at_margins([1.0, -0.1, 0.5], 0.01)
    after = censored(posteriors, np.array([1.0, -0.1, np.inf]), np.ones((3, 1)))
    assert after.means[:, 0] == pytest.approx([1.0, after.means[1, 0], 0.5])
    assert after.means[1, 0] > -0.1
    assert after.log_evidence[[0, 2]].tolist() == [0.0, 0.0]
    alone = censored(at_margins([-0.1], 0.01), np.array([-0.1]), np.ones((1, 1)))
    assert (after.means[1], after.covariances[1], after.surprise[1]) == (
        alone.means[0],
        alone.covariances[0],
        alone.surprise[0],
    )


def test_alike_histories_are_merged_with_their_moments() -> None:
    (merged,) = prune([plain(np.log(0.5), 0.0), plain(np.log(0.5), 2.0)], 0)
    assert merged.mean[0] == pytest.approx(1.0)
    assert merged.covariance[0, 0] == pytest.approx(2.0)
    assert merged.log_weight == pytest.approx(0.0)


def test_the_history_without_a_jump_is_never_given_up() -> None:
    kept = prune([plain(0.0, 0.0, "all", 3), plain(-50.0, 0.0)], 3)
    assert {b.story.jump for b in kept} == {"all", "none"}


def test_few_histories_are_kept_however_many_there_are() -> None:
    kept = prune([plain(0.0, 0.0, "all", n) for n in range(40)] + [plain(-1.0, 0.0)], 40)
    assert len(kept) <= 8
    assert sum(np.exp(b.log_weight) for b in kept) == pytest.approx(1.0)


def test_a_story_that_did_not_convince_is_dropped_in_time() -> None:
    kept = prune([plain(0.0, 0.0), plain(np.log(0.004), 0.0, "all", 3)], 20)
    assert [b.story.jump for b in kept] == ["none"]


@given(st.integers(1, 6))
def test_packing_loses_nothing(size: int) -> None:
    rng = np.random.default_rng(size)
    root = rng.normal(size=(size, size))
    belief = Belief(-0.5, rng.normal(size=size), root @ root.T, Hypothesis(0.0, (), ()))
    back = unpack(pack(belief))
    assert np.array_equal(back.mean, belief.mean)
    assert np.allclose(back.covariance, belief.covariance)


def test_quantiles_of_a_mixture_lie_where_its_parts_do() -> None:
    weights, values, errors = np.array([0.5, 0.5]), np.array([0.0, -0.5]), np.array([0.01, 0.01])
    assert quantile(weights, values, errors, 0.05) == pytest.approx(-0.5 - 0.0128, abs=2e-3)
    assert quantile(weights, values, errors, 0.95) == pytest.approx(0.0128, abs=2e-3)
    assert quantile(np.ones(1), np.zeros(1), np.ones(1), 0.95) == pytest.approx(1.645, abs=1e-3)

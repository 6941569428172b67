"""The estimator's own steps against published results and general libraries, on problems that are not kilns."""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from analysis.heat_model import Blur
from analysis.mixture import quantile
from analysis.power_filter import _MARGIN_ERROR, Posteriors, censored, gauss_newton

stats = pytest.importorskip("scipy.stats")
integrate = pytest.importorskip("scipy.integrate")


@dataclass
class Curve:
    """A curve y = f(x, b) with errors of ``sigma``, in the form in which the filter is given a firing."""

    formula: object
    slopes: object
    x: np.ndarray
    y: np.ndarray
    sigma: float

    @property
    def active(self):
        """All entries of the state: as many as the formula has parameters."""
        return np.arange(self.formula.__code__.co_argcount - 1)

    def worth(self, starts):
        """Nothing here depends on where the update started."""
        return np.ones((len(starts), 1))

    def accuracy(self, blur):
        """Errors are as given."""
        return np.ones((blur.every.size, self.y.size))

    def log_volumes(self, worth, blur):
        """The residuals are the data over sigma, which the caller counts."""
        return np.zeros(len(worth))

    def rows(self, states, worth):
        """Residuals in units of sigma for each of several states, and their Jacobians."""
        residual = [(self.formula(self.x, *state) - self.y) / self.sigma for state in states]
        jacobian = [np.column_stack(self.slopes(self.x, *state)) / self.sigma for state in states]
        return np.array(residual), np.array(jacobian)


def update(mean, covariance, curve) -> Posteriors:
    """One state through one update."""
    return gauss_newton(np.array([mean]), np.array([covariance]), curve, Blur(np.ones(1), np.ones(1)))


# NIST StRD, non-linear regression: certified values, their standard deviations and sums of squares. The observations
# and Misra1a's second deviation are from memory of the same data sets: the certified sums of squares bear them out.
DANWOOD = (
    lambda x, a, b: a * x**b,
    lambda x, a, b: (x**b, a * x**b * np.log(x)),
    np.array([1.309, 1.471, 1.490, 1.565, 1.611, 1.680]),
    np.array([2.138, 3.421, 3.597, 4.340, 4.882, 5.660]),
)
MISRA1A = (
    lambda x, a, b: a * (1.0 - np.exp(-b * 1e-4 * x)),
    lambda x, a, b: (1.0 - np.exp(-b * 1e-4 * x), a * 1e-4 * x * np.exp(-b * 1e-4 * x)),
    np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]),
    np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]),
)


@pytest.mark.parametrize(
    ("problem", "start", "certified", "deviation", "squares"),
    [
        (DANWOOD, (0.7, 4.0), (0.76886226176, 3.8604055871), (0.018281973860, 0.051726610913), 0.0043173084083),
        (MISRA1A, (250.0, 5.0), (238.94212918, 5.5015643181), (2.7070075241, 0.072668688436), 0.12455138894),
    ],
    ids=["DanWood", "Misra1a"],
)
def test_the_iterated_update_without_a_prior_is_the_certified_least_squares_fit(
    problem, start, certified, deviation, squares
):
    x = problem[2]
    sigma = math.sqrt(squares / (x.size - 2))
    vague = np.diag([1e4 * value**2 for value in certified])
    found = update(start, vague, Curve(*problem, sigma))
    # the update stops as soon as it moves by less than a thousandth: far below the estimate's own error
    assert np.abs(found.means[0] - certified).max() < 1e-3 * max(certified)
    assert np.abs((found.means[0] - certified) / deviation).max() < 0.02
    assert np.sqrt(np.diag(found.covariances[0])) == pytest.approx(deviation, rel=5e-3)
    assert sigma**2 * found.surprise[0] == pytest.approx(squares, rel=1e-3)


# Durbin & Koopman, Time Series Analysis by State Space Methods (2001), ch. 2: the local level of the Nile's flow has
# variances 15099 and 1469.1 (from memory of the book).
NOISE, WALK = 15099.0, 1469.1


def test_the_update_firing_by_firing_is_the_kalman_filter_of_a_general_library():
    models = pytest.importorskip("statsmodels.api")
    flow = models.datasets.nile.load_pandas().data["volume"].to_numpy(float)
    library = models.tsa.UnobservedComponents(flow, "llevel")
    library.ssm.initialize_known(np.array([1120.0]), np.array([[1e4]]))
    theirs = library.filter([NOISE, WALK])
    mean, variance, evidence, levels = np.array([1120.0]), np.array([[1e4]]), [], []
    sigma = math.sqrt(NOISE)
    for value in flow:
        level = Curve(lambda x, a: a + 0.0 * x, lambda x, a: (np.ones(1),), np.zeros(1), np.array([value]), sigma)
        found = update(mean, variance, level)
        evidence.append(float(found.log_evidence[0]) - math.log(sigma) - 0.5 * math.log(2.0 * math.pi))
        levels.append(float(found.means[0, 0]))
        mean, variance = found.means[0], found.covariances[0] + WALK
    assert levels == pytest.approx(theirs.filtered_state[0], rel=1e-6)
    # the library leaves the first year out of its sum
    assert sum(evidence[1:]) == pytest.approx(theirs.llf, rel=1e-6)


@pytest.mark.parametrize(("margin", "spread"), [(-0.05, 0.03), (0.0, 0.05), (0.02, 0.04), (-0.2, 0.1)])
def test_a_kept_pace_gives_the_moments_of_the_truncated_normal(margin, spread):
    """Against numerical integration of the normal density times the chance that the margin is positive."""
    prior = Posteriors(np.array([[margin]]), np.array([[[spread**2]]]), np.zeros(1), np.zeros(1), 0)
    found = censored(prior, np.array([margin]), np.ones((1, 1)))

    def moment(power):
        def density(value):
            return value**power * stats.norm.pdf(value, margin, spread) * stats.norm.cdf(value / _MARGIN_ERROR)

        return integrate.quad(density, margin - 8 * spread, margin + 8 * spread, epsabs=1e-13, limit=200)[0]

    chance = moment(0)
    mean = moment(1) / chance
    assert found.means[0, 0] == pytest.approx(mean, abs=1e-6)
    assert found.covariances[0, 0, 0] == pytest.approx(moment(2) / chance - mean**2, rel=1e-4)
    assert found.log_evidence[0] == pytest.approx(math.log(chance), abs=1e-6)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_the_interval_of_a_mixture_is_that_of_its_distribution_function(share):
    weights, values, errors = np.array([0.7, 0.3]), np.array([-0.02, -0.4]), np.array([0.01, 0.05])
    found = quantile(weights, values, errors, share)
    assert float(weights @ stats.norm.cdf(found, values, errors)) == pytest.approx(share, abs=2e-4)

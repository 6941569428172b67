"""Change points: the flow of the Nile, whose one change everybody dates to 1898/1899."""

import numpy as np
import pytest

from analysis.causes.onset_shape import KEPT, sharpest_fall, step_over_ramp

# Annual flow of the Nile at Aswan, 1871 to 1970, as statsmodels ships it (public domain). Cobb, Biometrika 65 (1978)
# 243 dates the change to 1898 (from memory): 1898 is the last year of the old flow, 1899 the first of the new.
nile = pytest.importorskip("statsmodels.api").datasets.nile
FIRST_NEW = 1899


@pytest.fixture(scope="module")
def flow() -> np.ndarray:
    data = nile.load_pandas().data
    assert (int(data["year"].iloc[0]), len(data)) == (1871, 100)
    return data["volume"].to_numpy(float)


def test_the_series_is_the_published_one(flow):
    """Means, squares and the largest cumulative deviation, computed once with another program."""
    assert flow.mean() == pytest.approx(919.35)
    assert (flow[:28].mean(), flow[28:].mean()) == pytest.approx((1097.75, 849.97), abs=0.005)
    assert np.abs(np.cumsum(flow - flow.mean())).max() == pytest.approx(4995.2, abs=0.05)


def test_the_general_library_finds_the_change_between_1898_and_1899(flow):
    ruptures = pytest.importorskip("ruptures")
    assert ruptures.Dynp(model="l2", min_size=3, jump=1).fit(flow).predict(1) == [28, 100]


def test_the_change_point_method_raises_no_alarm_before_1899_and_one_within_five_years(general, flow):
    """Flow stands in for the climb: it falls by a fifth (in logarithms by 0.26)."""
    pytest.importorskip("ruptures")
    told = general.change_points([{"climb": value, "hours": 1.0, "peak_c": 1222.0} for value in flow])
    years = [1871 + n for n, record in enumerate(told) if record["findings"]]
    assert FIRST_NEW <= years[0] <= FIRST_NEW + 4


def test_both_charts_set_on_the_old_flow_raise_no_alarm_before_1899_and_one_within_five_years(general, flow):
    """With the old flow's mean and deviation known, the fall is 1.8 deviations."""
    fall = (flow[:28].mean() - flow) / flow[:28].std(ddof=1)
    total, level = general.cusum(fall, 0.5), general.ewma(fall, 0.2)
    by_sum = [1871 + n for n, value in enumerate(total) if value > 5.0]
    by_mean = [1871 + n for n, value in enumerate(level) if value > general.ewma_limit(0.2, 2.7, n + 1)]
    for years in (by_sum, by_mean):
        assert FIRST_NEW <= years[0] <= FIRST_NEW + 4


def test_the_nile_s_fall_came_at_once_and_one_of_carbon_dioxide_s_size_did_not(flow):
    """The Nile against a series that all agree has no jump: the rise of CO2 at Mauna Loa, turned upside down."""
    by_year = pytest.importorskip("statsmodels.api").datasets.co2.load_pandas().data["co2"].resample("YS").mean()
    rise = by_year.loc["1975":"1990"].to_numpy(float)
    assert rise.size == KEPT
    usual = flow[:28]
    river = (flow[20 : 20 + KEPT] - usual.mean()) / usual.std(ddof=1)
    air = -3.0 * (rise - rise[0]) / (rise[-1] - rise[0])
    assert step_over_ramp(river) > 1.0
    assert step_over_ramp(air) < -1.0
    falls = [min(sharpest_fall(series[: n + 1].tolist()) for n in range(KEPT)) for series in (river, air)]
    assert falls[0] < -3.0 < falls[1]

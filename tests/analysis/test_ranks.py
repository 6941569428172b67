"""Median and quantiles equal numpy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.ranks import median, quantile

NUMBERS = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)


@given(NUMBERS)
def test_the_median_is_numpys(numbers: list[float]) -> None:
    values = np.array(numbers)
    assert median(values) == pytest.approx(float(np.median(values)), rel=1e-12, abs=1e-9)


@given(NUMBERS, st.floats(0.0, 1.0))
def test_a_quantile_lies_linearly_between_its_ranks_as_numpys_does(numbers: list[float], share: float) -> None:
    values = np.array(numbers)
    assert quantile(values, share) == pytest.approx(float(np.quantile(values, share)), rel=1e-12, abs=1e-9)


def test_asking_leaves_the_values_in_their_order() -> None:
    values = np.array([3.0, 1.0, 2.0])
    quantile(values, 0.4)
    assert values.tolist() == [3.0, 1.0, 2.0]

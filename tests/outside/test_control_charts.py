"""The two control charts our accuracy is compared with, against published worked examples and run lengths."""

import numpy as np
import pytest

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: lambda 0.3, EWMA0 = 50, s = 2.0539, limits 3 s wide.
EWMA_X = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
]  # fmt: skip
EWMA_Z = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
]  # fmt: skip

# The same handbook, 6.3.2.3: target 325, standard error 0.635, k = 0.3175, h = 4.1959; first alarm at sample 14.
CUSUM_X = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325,
    327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
CUSUM_HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
CUSUM_LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]

# Montgomery, Introduction to Statistical Quality Control: 20 values in control, then ten with the mean one up. The
# data were read in a numerical library's manual; 5.28 at value 29 is from memory of the book.
MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
    10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


def test_the_ewma_is_that_of_the_nist_handbook(general):
    assert general.ewma(EWMA_X, 0.3, 50.0) == pytest.approx(EWMA_Z, abs=0.006)
    width = 2.0539 * general.ewma_limit(0.3, 3.0, 1000)
    assert (50 + width, 50 - width) == pytest.approx((52.5884, 47.4115), abs=2e-4)
    assert max(general.ewma(EWMA_X, 0.3, 50.0)) < 50 + width


def test_the_cusum_is_that_of_the_nist_handbook(general):
    high = general.cusum([x - 325 for x in CUSUM_X], 0.3175)
    low = general.cusum([325 - x for x in CUSUM_X], 0.3175)
    assert high == pytest.approx(CUSUM_HIGH, abs=0.0051)
    assert low == pytest.approx(CUSUM_LOW, abs=0.0051)
    assert [n for n, total in enumerate(high, 1) if total > 4.1959] == [14, 15, 16, 17, 18, 19, 20]


def test_montgomery_s_shift_is_found_at_value_29_by_both_charts(general):
    total = general.cusum([x - 10 for x in MONTGOMERY], 0.5)
    assert total[28] == pytest.approx(5.28, abs=0.005)
    assert next(n for n, value in enumerate(total, 1) if value > 5.0) == 29
    level = general.ewma([x - 10 for x in MONTGOMERY], 0.1)
    out = [n for n, value in enumerate(level, 1) if abs(value) > general.ewma_limit(0.1, 2.7, n)]
    assert out == [29, 30]


@pytest.mark.parametrize(
    ("shift", "length"),
    [(1.0, 8.38), (1.5, 4.75), (2.0, 3.34), (3.0, 2.19)],
)
def test_the_cusum_s_run_lengths_are_those_of_lucas_and_crosier(general, shift, length):
    """Technometrics 24 (1982) 199, table 1: k 0.5, h 4, two-sided (at such shifts the other side plays no part)."""
    random = np.random.default_rng(1982)
    runs = 3000
    lengths = [
        next(n for n, total in enumerate(general.cusum(random.normal(shift, 1.0, 200), 0.5), 1) if total > 4.0)
        for _ in range(runs)
    ]
    assert np.mean(lengths) == pytest.approx(length, abs=4.0 * np.std(lengths) / runs**0.5)

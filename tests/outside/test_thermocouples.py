"""Thermocouples: the reference functions, and what they say of the faults we tell apart.

The points marked seen were read in NIST's text (Monograph 175, ITS-90 database); the others are from memory of the
same tables. Coefficients of type K: the exponential term was seen, the polynomial is from memory; that it is right is
shown by the points seen.
"""

import math

import pytest

its90 = pytest.importorskip("thermocouple_its90")

TYPE_K = (
    -0.176004136860e-1, 0.389212049750e-1, 0.185587700320e-4, -0.994575928740e-7, 0.318409457190e-9,
    -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18, 0.971511471520e-22, -0.121047212750e-25,
)  # fmt: skip


def type_k_mv(temp_c: float) -> float:
    """NIST's reference function of type K above 0 deg C."""
    bump = 0.118597600000 * math.exp(-0.118343200000e-3 * (temp_c - 126.9686) ** 2)
    return sum(c * temp_c**n for n, c in enumerate(TYPE_K)) + bump


@pytest.mark.parametrize(
    ("kind", "temp", "emf_mv"),
    [
        ("K", -200, -5.891),  # seen
        ("K", 500, 20.644),  # seen (the break of the inverse function)
        ("K", 1372, 54.886),  # seen (its upper end)
        ("K", 100, 4.096),  # from memory, as the rest
        ("K", 1000, 41.276),
        ("N", 1000, 36.256),
        ("S", 1000, 9.587),
        ("R", 1000, 10.506),
    ],
)
def test_its_90_points_hold(kind, temp, emf_mv):
    assert its90.get(kind).emf(temp) == pytest.approx(emf_mv, abs=6e-4)


@pytest.mark.parametrize("temp", [0, 25, 100, 300, 573, 600, 800, 1000, 1100, 1222, 1250, 1300, 1372])
def test_the_library_s_type_k_is_nist_s_reference_function(temp):
    assert its90.get("K").emf(temp) == pytest.approx(type_k_mv(temp), abs=1e-8)


def test_a_wrong_couple_type_misreads_grossly_so_it_is_no_drift():
    # A K couple on an S input: 300 deg C reads about 1221; an S couple on a K input: 1093 reads about 263.
    assert its90.TypeS.temperature(its90.TypeK.emf(300.0)) == pytest.approx(1221, abs=2)
    assert its90.TypeK.temperature(its90.TypeS.emf(1093.0)) == pytest.approx(263, abs=2)


def test_a_cold_junction_error_shifts_a_k_couple_about_degree_for_degree_at_peak():
    # 10 deg C wrong at the terminals: -10.9 deg C on K and -4.6 on S at 1222 deg C.
    for kind, shift in ((its90.TypeK, 10.9), (its90.TypeS, 4.6)):
        read = kind.temperature(kind.emf(1222.0) - kind.emf(10.0))
        assert 1222.0 - read == pytest.approx(shift, abs=0.15)


def test_a_half_per_cent_drift_of_a_couple_moves_the_measured_ramp_by_half_a_per_cent_only():
    def read(true_c):
        return its90.TypeK.temperature(its90.TypeK.emf(true_c) * 0.995)

    assert 1222.0 - read(1222.0) == pytest.approx(6.8, abs=0.3)
    assert (read(1222.0) - read(1122.0)) / 100.0 == pytest.approx(0.995, abs=0.003)

"""How well a lost power fits a poor supply."""

from math import exp

from analysis.causes.mains import density


def test_a_sag_within_the_usual_band_fits_whatever_its_size():
    assert density(-0.08, 0.03) == density(-0.18, 0.03)


def test_an_uncertain_measurement_does_not_excuse_a_sag_no_supply_shows():
    half_gone = density(-0.48, 0.15)
    assert exp(half_gone) < 0.1 * exp(density(-0.20, 0.15))


def test_more_than_the_standards_outermost_sag_is_something_broken():
    assert density(-0.48, 0.09) < -20.0

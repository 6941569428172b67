"""How well a lost power fits a poor supply."""

from dataclasses import replace
from math import exp

import pytest

from analysis.causes.mains import density, volts_drop


def test_a_sag_within_the_usual_band_fits_whatever_its_size():
    assert density(-0.08, 0.03) == density(-0.18, 0.03)


def test_an_uncertain_measurement_does_not_excuse_a_sag_no_supply_shows():
    half_gone = density(-0.48, 0.15)
    assert exp(half_gone) < 0.1 * exp(density(-0.20, 0.15))


def test_more_than_the_standards_outermost_sag_is_something_broken():
    assert density(-0.48, 0.09) < -20.0


@pytest.mark.parametrize(
    ("nameplate", "inside", "outside"),
    [(230.0, 210.0, 203.0), (240.0, 230.0, 225.0)],  # EN 50160: 207 V; ANSI C84.1 range A: 228 V
)
def test_before_a_kilns_usual_volts_are_known_only_those_outside_the_standard_are_low(
    make_case, nameplate, inside, outside
):
    case = make_case(index=0)
    kiln = replace(case.kiln, volts=nameplate)
    assert volts_drop(make_case(index=0, kiln=kiln, supply_volts=inside)) is None
    assert volts_drop(make_case(index=0, kiln=kiln, supply_volts=outside)) is not None

"""Published trade figures the product rests on: supply, wire, cones."""

import math

import pytest

from analysis.circuits import HOT_OVER_COLD
from analysis.heatwork import CHART, CONES, LastClimb, equivalents_c, heat_work
from analysis.outlook import margin_from_climb
from analysis.supply import band, volts_for_power
from config.wording import load


@pytest.mark.parametrize(
    ("volts", "nameplate", "ratio"),
    [
        (208, 240, 0.7511),  # a heater supplier: 240 V 5500 W gives 4131 W on 208 V
        (230, 240, 0.918),
        (220, 240, 0.840),
        (220, 230, 0.915),
        (114, 120, 0.9025),  # ANSI C84.1 range A low
        (207, 230, 0.81),  # EN 50160 low
        (253, 230, 1.21),  # EN 50160 high
    ],
)
def test_power_follows_the_square_of_the_volts(volts, nameplate, ratio):
    assert volts_for_power(ratio, nameplate) == pytest.approx(volts, abs=0.1)


def test_five_per_cent_fewer_volts_look_like_10_8_per_cent_more_resistance():
    assert volts_for_power(1 / 1.108, 240) == pytest.approx(228, abs=0.05)


def test_supply_limits_are_those_of_the_standards():
    assert (band(230).low_v, band(230).high_v) == pytest.approx((207, 253))  # EN 50160
    assert (band(240).low_v, band(240).high_v) == pytest.approx((228, 252))  # ANSI C84.1 range A service
    assert (band(120).low_v, band(120).high_v) == pytest.approx((114, 126))


# Temperature factor Ct = R(T) / R(20 C): an alloy handbook's table, two commonest FeCrAl alloys.
CT = {250: (1.00, 1.01), 500: (1.01, 1.03), 800: (1.03, 1.05), 1000: (1.04, 1.06), 1200: (1.04, 1.06)}


def test_hot_over_cold_lies_within_the_handbook_s_factors_at_firing_temperature():
    hot = [f for t, pair in CT.items() if t >= 800 for f in pair]
    assert min(hot) <= HOT_OVER_COLD <= max(hot)
    most = max(max(pair) for pair in CT.values()) - 1
    assert f"up to {100 * most:.0f} % more" in load().measuring.methods["ohm"].tolerance


@pytest.mark.parametrize(
    ("cone", "rate", "temp"),
    [
        # A cone manufacturer's chart of 2016, self-supporting regular cones (rows 022 to 08 read in its text).
        ("022", 60, 586),
        ("018", 15, 686),
        ("016", 150, 796),
        ("010", 60, 903),
        ("08", 15, 922),
        # From memory of the same chart.
        ("06", 60, 998),
        ("04", 60, 1063),
        ("6", 15, 1185),
        ("6", 60, 1222),
        ("6", 150, 1243),
        ("10", 60, 1285),
    ],
)
def test_the_cone_chart_is_reproduced_at_its_own_rates(cone, rate, temp):
    assert equivalents_c(rate)[CONES.index(cone)] == pytest.approx(temp)
    found = heat_work(LastClimb(temp, rate, 0.0))
    assert found.cone == cone
    assert found.from_memory == (CONES.index(cone) >= CONES.index("07"))


def test_slow_climbs_need_10_to_38_degrees_less_between_cones_06_and_10():
    # Worked from the chart: 15 instead of 60 deg C/h.
    rows = [r for r in CHART if CONES.index("06") <= CONES.index(r[0]) <= CONES.index("10")]
    assert {min(r[2] - r[1] for r in rows), max(r[2] - r[1] for r in rows)} == {10, 38}


@pytest.mark.parametrize(
    ("loss", "power", "ramp"),
    [(0.5, 0.95, 0.90), (0.6, 0.909, 0.77), (0.7, 0.9025, 0.675), (0.6, 0.833, 0.58), (0.5, 0.75, 0.50)],
)
def test_a_power_loss_is_amplified_in_the_climb_near_peak(loss, power, ramp):
    # Attainable ramp over the new one, (P - L) / (P0 - L), with L = loss: by hand from the energy balance.
    climb_new = 100.0
    cooling = climb_new * loss / (1 - loss)
    assert math.exp(margin_from_climb(climb_new, cooling, ramp * climb_new)) == pytest.approx(power, abs=0.005)

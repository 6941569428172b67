"""Sudden changes a history may branch into."""

import numpy as np
import pytest

from analysis.jumps import jumps, loss_odds
from analysis.power_filter import Belief, Hypothesis
from analysis.state_vector import layout_of
from config.kiln import Kiln

LAYOUT = layout_of(2, 1)


def odds_of(story: Hypothesis, at: int, size: float) -> float:
    mean = np.zeros(LAYOUT.size)
    mean[at] = size
    return loss_odds(LAYOUT, story, mean, np.eye(LAYOUT.size) * 0.02**2)


@pytest.mark.parametrize(
    ("story", "at", "loss"),
    [
        (Hypothesis(0.0, (), (), jump="zone", jump_zone=1, before=(0.0, 0.0)), 1, -0.3),
        (Hypothesis(0.0, (), (), jump="all", before=(0.0, 0.0)), 0, -0.3),
        (Hypothesis(0.0, (), (), jump="leak", wall_before=0.0), LAYOUT.wall, 0.2),
        (Hypothesis(0.0, (), (), jump="supply"), LAYOUT.slow_supply, -0.1),
    ],
)
def test_a_change_of_any_size_takes_power_or_heat_and_adds_none(story: Hypothesis, at: int, loss: float) -> None:
    assert odds_of(story, at, loss) > -0.01
    assert odds_of(story, at, -loss) < -8.0


def test_a_single_fault_has_its_size_from_the_circuits() -> None:
    fault = Hypothesis(0.0, (), (), jump="all", before=(0.0, 0.0), fault="-0.41,-0.41")
    assert odds_of(fault, 0, 0.3) == 0.0


@pytest.mark.parametrize("bent", [True, False])
def test_what_was_taken_for_lost_power_may_have_been_a_leak_all_along(bent: bool) -> None:
    """Once the cooling says so: then the power is back where it was, and more is lost since the same firing."""
    mean = np.zeros(LAYOUT.size)
    mean[:2] = -0.2
    story = Hypothesis(0.0, (), (), jump="all", jump_firing=20, before=(-0.01, -0.01), wall_before=0.0)
    was = Belief(0.0, mean, np.eye(LAYOUT.size) * 0.02**2, story)
    kiln = Kiln("heron", zones=("top", "bottom"))
    found = [b for b, _ in jumps(kiln, LAYOUT, was, np.array([0.5, 0.5]), 24, settled=True, amps=False, bent=bent)]
    all_along = [b for b in found if b.story.jump == "leak" and b.story.jump_firing == 20]
    assert len(all_along) == bent
    for each in all_along:
        assert each.mean[:2] == pytest.approx([-0.01, -0.01])
        assert each.mean[LAYOUT.wall] > 0.05
        assert each.mean[LAYOUT.gaps] > 0.1
        assert each.story.bend.risen().value > 0.0

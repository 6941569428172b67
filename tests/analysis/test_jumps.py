"""Sudden changes a history may branch into."""

import numpy as np
import pytest

from analysis.heat_model import layout_of
from analysis.jumps import loss_odds
from analysis.power_filter import Hypothesis

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

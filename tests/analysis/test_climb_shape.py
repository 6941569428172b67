"""When a climb is at full output, told from its shape and from the set point."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from analysis.full_output import Drive, drive_of
from analysis.grid import Grid, grid_of
from analysis.reading.firing_log import FiringLog

MINUTE_S = 60.0


def climb(rates: Sequence[float], *, ahead_c: Sequence[float] | None = None) -> tuple[Grid, Drive]:
    """A log that climbs at ``rates`` (deg C per h, ten minutes each) from 20 deg C and then cools; one minute apart.

    ``ahead_c``: how far the set point is ahead in each ten minutes, None for a log without one.
    """
    heating = np.repeat(np.asarray(rates, dtype=float), 10)
    temperature = 20.0 + np.concatenate(([0.0], np.cumsum(heating / 60.0)))
    cooling = temperature[-1] * np.exp(-np.arange(1, 240) / 300.0)
    zone_c = np.concatenate((temperature, cooling))
    noise = np.random.default_rng(7).normal(0.0, 0.3, zone_c.size)
    set_point = None
    if ahead_c is not None:
        lead = np.concatenate(([ahead_c[0]], np.repeat(np.asarray(ahead_c, dtype=float), 10)))
        set_point = np.concatenate((temperature + lead, np.full(cooling.size, 20.0)))[:, None]
    log = FiringLog(np.arange(zone_c.size) * MINUTE_S, (zone_c + noise)[:, None], set_point, None, ("1",))
    grid = grid_of(log)
    assert grid is not None
    return grid, drive_of(grid)


def full_c(grid: Grid, drive: Drive) -> list[float]:
    """Temperatures at which full output was told."""
    return grid.zone_c[: drive.full.shape[0]][drive.full].tolist()


def test_a_climb_that_slows_as_the_loss_grows_is_at_full_output() -> None:
    slowing = [110.0] * 36 + [110.0 * 0.96**n for n in range(1, 20)]
    found = full_c(*climb(slowing))
    assert min(found) > 600.0
    assert len(found) > 60


def test_a_step_from_one_segment_to_a_slower_one_is_none() -> None:
    assert not full_c(*climb([145.0] * 24 + [185.0] * 15 + [168.0, 147.0] + [146.0] * 12))


def test_a_controller_that_overshoots_and_settles_is_not_at_full_output() -> None:
    """It climbs as fast again when hotter: so it had power to spare."""
    settling = [100.0] * 34 + [122.0, 133.0, 133.0, 132.0, 128.0, 122.0] + [123.0] * 10 + [85.0] * 12
    assert not full_c(*climb(settling))


def test_a_weak_kiln_that_crawls_to_its_peak_is_at_full_output_all_the_way() -> None:
    """Its rate falls by less in an hour than ten minutes' rates are sure of."""
    crawl = [100.0] * 40 + [68.0 * 0.955**n for n in range(24)]
    found = full_c(*climb(crawl))
    assert len(found) > 75


def test_a_few_degrees_behind_are_not_full_output_if_the_climb_is_faster_later() -> None:
    """The droop of a controller without integral action: more of it at more output."""
    rates = [100.0, 96.0, 103.0, 97.0, 104.0, 98.0] * 6 + [150.0, 146.0, 153.0, 147.0, 154.0] * 4
    grid, drive = climb(rates, ahead_c=[4.0] * 36 + [6.0] * 20)
    assert not [c for c in full_c(grid, drive) if c < 500.0]


def test_far_behind_is_full_output_whatever_comes_later() -> None:
    """A contact opened, and closed again."""
    rates = [100.0] * 24 + [40.0, 36.0, 43.0, 37.0, 44.0, 38.0] + [150.0, 146.0, 153.0, 147.0, 154.0] * 4
    grid, drive = climb(rates, ahead_c=[0.0] * 24 + [25.0] * 6 + [0.0] * 20)
    assert [c for c in full_c(grid, drive) if 420.0 < c < 460.0]


@pytest.mark.parametrize("power", [0.6, 0.75, 1.0])
def test_what_is_told_without_the_output_is_what_the_output_says(fire: Callable[..., FiringLog], power: float) -> None:
    logs = [fire(power=(power,), seed=3, output=output, set_point=output) for output in (True, False)]
    grids = [grid_of(log) for log in logs]
    known, told = (drive_of(grid) for grid in grids if grid is not None)
    hot = grids[0].zone_c > 450.0
    found = told.full & hot
    assert known.output[found].min(initial=1.0) > 0.85
    if power < 1.0:
        assert found.sum() > 0.2 * ((known.output > 0.985) & hot).sum()

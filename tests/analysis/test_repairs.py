"""What a logbook entry changes in the histories of a kiln."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.cooling import Bend, Told
from analysis.power_filter import Belief, Hypothesis
from analysis.repairs import repaired
from analysis.state_vector import layout_of
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry, Part

KILN = Kiln(
    "heron",
    volts=240.0,
    zones=("top", "bottom"),
    circuits=(Circuit("a", "top", 2, "parallel", (28.8,)), Circuit("b", "bottom", 2, "parallel", (28.8,))),
)
LAYOUT = layout_of(2, 1)
SEALED = -1.3


def belief(jump: str, *, powers: tuple[float, float], wall: float) -> Belief:
    """A history in which something happened at firing 20, to a kiln that gave its first power until then."""
    mean = np.zeros(LAYOUT.size)
    mean[:2], mean[LAYOUT.wall] = powers, wall
    story = Hypothesis(0.0, (), (), jump=jump, jump_firing=20, before=(0.0, 0.0), wall_before=SEALED)
    return Belief(0.0, mean, np.eye(LAYOUT.size) * 0.02**2, story)


def after(part: Part, was: Belief) -> list[Belief]:
    entry = LogbookEntry("heron", datetime(2026, 3, 1, tzinfo=UTC), "repaired", part)
    return repaired(KILN, LAYOUT, [was], [entry])[0]


@pytest.mark.parametrize("part", ["lid", "brickwork"])
def test_work_on_the_lid_closes_a_leak(part: Part) -> None:
    found = after(part, belief("leak", powers=(-0.02, -0.02), wall=SEALED + 0.25))
    assert found[0].story.jump == "none"
    assert found[0].mean[LAYOUT.wall] == pytest.approx(SEALED)


def test_a_leak_in_one_zone_was_taken_for_its_power_which_comes_back() -> None:
    found = after("brickwork", belief("zone", powers=(0.0, -0.2), wall=SEALED))
    assert found[0].mean[:2] == pytest.approx([0.0, 0.0])


def test_a_lid_brings_no_dead_circuit_back() -> None:
    """Half a zone is more than a leak seems to take, whether or not it fits a fault of the circuits."""
    was = belief("zone", powers=(0.0, -0.69), wall=SEALED)
    for each in (was, broken(was)):
        found = after("lid", each)
        assert [b.story.jump for b in found] == ["zone"]
        assert found[0].mean[:2] == pytest.approx(was.mean[:2])


def test_what_fitted_a_fault_of_the_circuits_may_have_been_the_leak_that_was_sealed() -> None:
    """The next firing tells: until then the one is as likely as the other."""
    was = broken(belief("zone", powers=(0.0, -0.2), wall=SEALED))
    found = after("brickwork", was)
    sealed = sum(np.exp(b.log_weight) for b in found if b.story.jump == "none")
    stands = sum(np.exp(b.log_weight) for b in found if b.story.fault)
    assert sealed == pytest.approx(stands)
    assert sealed + stands == pytest.approx(1.0)


def broken(was: Belief) -> Belief:
    return Belief(0.0, was.mean, was.covariance, replace(was.story, fault="0.00,-0.20"))


def test_a_new_set_leaves_a_leak_where_it_was() -> None:
    found = after("elements", belief("leak", powers=(0.0, 0.0), wall=SEALED + 0.25))
    assert found[0].mean[LAYOUT.wall] == pytest.approx(SEALED + 0.25)


def test_a_new_set_gives_about_the_first_power_and_its_zones_are_more_alike_than_sets_are() -> None:
    """Of another make it may give a tenth more or less as a whole; one zone of it is not half as strong as the next."""
    worn = belief("none", powers=(-0.15, -0.09), wall=SEALED)
    found = after("elements", worn)[0]
    assert found.mean[:2] == pytest.approx([-0.03, 0.03])
    own = found.covariance - worn.covariance
    together, apart = np.array([0.5, 0.5]), np.array([1.0, -1.0])
    assert together @ own[:2, :2] @ together > 0.1**2
    assert apart @ own[:2, :2] @ apart < 0.15**2


@pytest.mark.parametrize("part", ["lid", "relay"])
def test_a_repair_alone_hardly_favours_a_history(part: Part) -> None:
    found = after(part, belief("leak", powers=(0.0, 0.0), wall=SEALED + 0.25))
    assert 0.99 < sum(np.exp(b.log_weight) for b in found) < 1.11


def test_the_work_may_have_been_in_vain() -> None:
    was = belief("leak", powers=(0.0, 0.0), wall=SEALED + 0.25)
    vain = [b for b in after("lid", was) if b.story.jump == "leak"]
    assert len(vain) == 1
    assert vain[0].mean[LAYOUT.wall] == pytest.approx(was.mean[LAYOUT.wall])
    assert vain[0].log_weight < -2.0


@pytest.mark.parametrize("part", ["element", "relay", "wiring", "fuse"])
def test_who_mended_something_electrical_had_no_leak(part: Part) -> None:
    """Lost power and a leak look alike; after a new relay the kiln is as it was by either reading."""
    found = after(part, belief("leak", powers=(0.0, 0.0), wall=SEALED + 0.25))
    assert found[0].story.jump == "none"
    assert found[0].mean[LAYOUT.wall] == pytest.approx(SEALED)
    assert found[0].mean[:2] == pytest.approx([0.0, 0.0])


def leaking(bend: float) -> Belief:
    """A history in which a leak began at firing 20, whose coolings have bent by so much more since."""
    was = belief("leak", powers=(-0.02, -0.02), wall=SEALED + 0.25)
    known = Bend((0.0, 0.03), ((0.002**2, 0.0), (0.0, 0.01**2))).leaking()
    for _ in range(4):
        _, known = known.weighed(Told(bend, 0.006, 0.0))
    return replace(was, story=was.story.bent(known))


def test_a_lid_mended_in_vain_leaves_the_bend_and_one_mended_for_good_takes_it_away() -> None:
    """So the next cooling tells which."""
    found = after("lid", leaking(0.04))
    vain = [b for b in found if b.story.jump == "leak"]
    closed = [b for b in found if b.story.jump == "none"]
    assert vain
    assert closed
    assert all(b.story.bend.risen().value > 0.03 for b in vain)
    assert all(not b.story.bend.leaks and abs(b.story.bend.mean[0]) < 0.005 for b in closed)


@pytest.mark.parametrize("part", ["elements", "relay"])
def test_neither_new_wire_nor_a_relay_closes_a_leak_that_the_coolings_show(part: Part) -> None:
    assert {b.story.jump for b in after(part, leaking(0.04))} == {"leak"}
    assert "none" in {b.story.jump for b in after(part, leaking(0.0))}

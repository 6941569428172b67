"""After a repair: a new set is a new 100 % only if it gives as much as the old one, and a repair may be in vain."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import log

import pytest

from analysis.climb import Estimate
from analysis.condition import Condition
from analysis.firing import Firing
from analysis.measures import Measures, measure
from analysis.reading.firing_log import FiringLog
from analysis.renewal import SHORT, Former, falls_short, settled
from analysis.state import begin, update
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry

KILN = Kiln(
    "heron",
    volts=240.0,
    supply="single-phase",
    rated_kw=8.0,
    zones=("1",),
    circuits=tuple(Circuit(name, "1", 2, "parallel", (28.8,)) for name in ("a", "b", "c")),
)
BEGUN = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
BISQUE = ((90.0, 600.0, 0.0), (120.0, 1000.0, 10.0))
ONE_CIRCUIT_DEAD = 0.667
WORN = 0.88
Shots = dict[float, list[tuple[Firing, Measures]]]


@pytest.fixture(scope="module")
def shots(fire: Callable[..., FiringLog]) -> Shots:
    return {
        power: [
            measure(KILN, fire(power=(power,), load=load, seed=n, ramps=BISQUE, cooling_h=4.0))
            for n, load in enumerate((1.0, 1.2))
        ]
        for power in (1.0, WORN, ONE_CIRCUIT_DEAD)
    }


def fired(shots: Shots, powers: Sequence[float], entries: dict[int, str]) -> list[Condition]:
    """Return the condition after each firing; ``entries`` says which part was replaced before which firing."""
    state = begin(KILN)
    out = []
    for number, power in enumerate(powers):
        firing, measures = shots[power][number % 2]
        at = BEGUN + timedelta(days=3 * number)
        due = [
            LogbookEntry("heron", at - timedelta(hours=4), "replaced", part)
            for n, part in entries.items()
            if n == number
        ]
        state, condition = update(KILN, state, replace(firing, started=at), measures, due)
        out.append(condition)
    return out


def test_a_new_set_that_gives_what_the_old_one_gave_when_new_is_the_new_100_per_cent(shots):
    conditions = fired(shots, [1.0] * 9 + [WORN] * 3 + [1.0] * 4, {12: "elements"})
    first = conditions[12]
    assert first.reference == "after repair"
    assert first.renewed is not None
    assert first.renewed.value == pytest.approx(0.0, abs=0.08)
    assert conditions[-1].renewed is None, "once it has shown that, it is compared with itself"


def test_a_new_set_with_one_circuit_left_off_is_not_called_100_per_cent(shots):
    conditions = fired(shots, [1.0] * 9 + [ONE_CIRCUIT_DEAD] * 3, {9: "elements"})
    for condition in conditions[9:]:
        assert condition.reference == "first firings"
        assert condition.level is not None
        assert condition.level.value == pytest.approx(log(ONE_CIRCUIT_DEAD), abs=0.08)


def test_once_the_wire_is_put_on_the_power_is_back_by_the_old_measure(shots):
    conditions = fired(shots, [1.0] * 9 + [ONE_CIRCUIT_DEAD] * 2 + [1.0] * 3, {9: "elements", 11: "wiring"})
    after = conditions[-1]
    assert after.level is not None
    assert after.level.value == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("part", ["relay", "fuse", "wiring"])
def test_a_part_changed_in_vain_leaves_the_loss_standing(shots, part):
    conditions = fired(shots, [1.0] * 9 + [ONE_CIRCUIT_DEAD] * 5, {12: part})
    for condition in conditions[12:]:
        assert condition.level is not None
        assert condition.level.value == pytest.approx(log(ONE_CIRCUIT_DEAD), abs=0.08)


def test_a_kiln_with_no_past_takes_its_new_set_as_it_is(shots):
    conditions = fired(shots, [1.0] + [ONE_CIRCUIT_DEAD] * 3, {1: "elements"})
    assert conditions[-1].reference == "after repair"
    assert conditions[-1].renewed is None


def test_wire_within_its_tolerance_is_no_shortfall():
    assert not falls_short(Estimate(-0.05, 0.01))
    assert not falls_short(Estimate(-0.3, 0.2)), "not surely short"
    assert falls_short(Estimate(SHORT - 0.05, 0.01))


def test_a_new_set_that_stalls_at_full_output_need_not_be_known_well_to_fall_short():
    assert not falls_short(Estimate(-0.17, 0.075))
    assert falls_short(Estimate(-0.17, 0.075), stalled=True)
    assert not falls_short(Estimate(0.01, 0.04), stalled=True), "it gives what the old one gave: look elsewhere"


def test_a_new_set_nothing_can_be_told_of_is_its_own_100_per_cent_after_three_firings():
    former = Former(0.0, 0.01, "first firings", 20)
    assert not settled(former, Estimate(0.0, 0.2), 21)
    assert settled(former, Estimate(0.0, 0.2), 22)
    assert settled(former, Estimate(0.0, 0.02), 20)

"""What a programme usually asks of the kiln, where no log tells the output."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp, log

import pytest

from analysis.condition import Condition
from analysis.habits import MOST_ASKED, Asked, Habit, asked_everything, of_others, remembered
from analysis.measures import measure
from analysis.power_filter import Hypothesis
from analysis.reading.firing_log import FiringLog
from analysis.state import KilnState, begin, update
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry

PLAIN = Hypothesis(0.0, (), ())
NEVER = tuple(Asked(n, 0, everything=False) for n in range(6))


def test_the_chance_is_that_of_jeffreys_prior() -> None:
    """Jeffreys 1946: after k of n, (k + 1/2) / (n + 1)."""
    assert exp(Habit(NEVER, 0, everything=True).log_chance(PLAIN)) == pytest.approx(0.5 / 7.0)
    assert exp(Habit(NEVER, 0, everything=False).log_chance(PLAIN)) == pytest.approx(6.5 / 7.0)
    assert exp(Habit((), 0, everything=True).log_chance(PLAIN)) == pytest.approx(0.5)


def test_a_change_makes_it_unknown_again() -> None:
    habit = Habit(NEVER, 0, everything=True)
    begun = Hypothesis(0.0, (), (), jump="all", jump_firing=6)
    assert habit.log_chance(begun) == pytest.approx(log(0.5))
    later = Habit((*NEVER, Asked(6, 0, everything=True)), 0, everything=True)
    assert exp(later.log_chance(begun)) == pytest.approx(1.5 / 2.0)


def test_a_slot_given_to_another_programme_forgets() -> None:
    assert of_others((*NEVER, Asked(6, 1, everything=True)), 0) == (Asked(6, 1, everything=True),)


def test_another_programme_tells_nothing_of_this_one() -> None:
    assert exp(Habit(NEVER, 1, everything=True).log_chance(PLAIN)) == pytest.approx(0.5)


def test_a_log_with_its_output_has_no_need_of_habits(fire: Callable[..., FiringLog]) -> None:
    kiln = Kiln("heron", zones=("1",))
    assert asked_everything(measure(kiln, fire())[1]) is None
    assert asked_everything(measure(kiln, fire(output=False))[1]) is not None
    assert Habit(NEVER, 0, everything=None).log_chance(PLAIN) == 0.0


def test_what_is_remembered_is_bounded() -> None:
    earlier: tuple[Asked, ...] = ()
    for number in range(3 * MOST_ASKED):
        earlier = remembered(earlier, Habit(earlier, 0, everything=True), number)
    assert len(earlier) == MOST_ASKED


GENTLE = ((80.0, 600.0, 0.0), (110.0, 1000.0, 10.0))
KILN = Kiln(
    "thrift",
    volts=240.0,
    supply="single-phase",
    zones=("1",),
    circuits=tuple(Circuit(name, "1", 1, "parallel", (16.0,)) for name in ("a", "b")),
)
Fire = Callable[..., FiringLog]


def taken_in(state: KilnState, fire: Fire, powers: Sequence[float]) -> tuple[KilnState, list[Condition]]:
    out = []
    loads = (0.9, 1.1, 1.0, 1.25, 0.8)
    for power in powers:
        number = state.firings
        log = fire(power=(power,), load=loads[number % 5], seed=number, ramps=GENTLE, output=False, cooling_h=4.0)
        firing, measures = measure(KILN, replace(log, programme="slow bisque"))
        firing = replace(firing, started=datetime(2026, 1, 5, 8, tzinfo=UTC) + timedelta(days=3 * number))
        state, condition = update(KILN, state, firing, measures, [])
        out.append(condition)
    return state, out


@pytest.fixture(scope="module")
def always_kept(fire: Fire) -> tuple[KilnState, list[Condition]]:
    """A kiln with power to spare, never seen at full output: its loss and load are hardly known."""
    return taken_in(begin(KILN), fire, [1.0] * 14)


def lost(condition: Condition) -> float:
    return sum(s.probability for s in condition.stories if s.kind in ("all", "leak"))


def test_a_kiln_that_suddenly_needs_all_it_has_lost_power(
    fire: Fire, always_kept: tuple[KilnState, list[Condition]]
) -> None:
    """One of its two circuits is gone."""
    state, before = always_kept
    assert all(c.level is not None and c.level.value > -0.03 for c in before)
    after = taken_in(state, fire, [0.5] * 5)[1][-1]
    assert lost(after) > 0.9
    assert after.level is not None
    assert after.level.value < -0.3


def test_the_more_often_it_never_did_the_more_it_says(
    fire: Fire, always_kept: tuple[KilnState, list[Condition]]
) -> None:
    known = taken_in(always_kept[0], fire, [0.5])[1][0]
    forgotten = taken_in(replace(always_kept[0], asked=()), fire, [0.5])[1][0]
    assert lost(known) > lost(forgotten) + 0.1


def test_a_repair_makes_every_habit_unknown(fire: Fire, always_kept: tuple[KilnState, list[Condition]]) -> None:
    state = always_kept[0]
    assert len(state.asked) == 14
    firing, measures = measure(KILN, fire(seed=99, ramps=GENTLE, output=False, cooling_h=4.0))
    mended = LogbookEntry("thrift", datetime(2026, 6, 1, 8, tzinfo=UTC), "replaced", "relay", None, "a", "")
    assert len(update(KILN, state, firing, measures, [mended])[0].asked) == 1

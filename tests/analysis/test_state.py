"""What is known of a kiln after a number of firings."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from pydantic import TypeAdapter

from analysis.beliefs import first_beliefs, quickened, resized
from analysis.condition import Condition
from analysis.firing import Firing
from analysis.measures import Estimate, Measures, measure
from analysis.power_filter import pack, unpack
from analysis.programmes import MOST_PROGRAMMES
from analysis.reading.firing_log import FiringLog
from analysis.state import KilnState, begin, update
from analysis.state_vector import Layout
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

ONE_OF_SIX = 5.0 / 6.0
"""Power left when one of six alike elements is open."""

WORN = (0.97, 0.94, 0.91, 0.88)

Shot = tuple[Firing, Measures]


@pytest.fixture(scope="module")
def shots(fire: Callable[..., FiringLog]) -> dict[float, list[Shot]]:
    """Measured firings at several powers, with varied loads."""
    out: dict[float, list[Shot]] = {}
    for power in (1.0, ONE_OF_SIX, 0.667, 0.5, *WORN):
        loads = (1.0, 0.8, 1.25) if power == 1.0 else (1.0, 1.2)
        out[power] = [
            measure(KILN, fire(power=(power,), load=load, seed=n, ramps=BISQUE, cooling_h=4.0))
            for n, load in enumerate(loads)
        ]
    return out


def history(
    shots: dict[float, list[Shot]], powers: Sequence[float], entries: dict[int, LogbookEntry] | None = None
) -> tuple[KilnState, list[Condition]]:
    state = begin(KILN)
    out = []
    for number, power in enumerate(powers):
        firing, measures = shots[power][number % len(shots[power])]
        firing = replace(firing, started=BEGUN + timedelta(days=3 * number))
        due = [entries[number]] if entries and number in entries else []
        state, condition = update(KILN, state, firing, measures, due)
        out.append(condition)
    return state, out


def test_a_sound_kiln_stays_at_full_power_whatever_the_load(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 15)
    for condition in conditions:
        assert condition.level is not None
        assert condition.level.value == pytest.approx(0.0, abs=0.02)
        assert condition.step is None
    assert conditions[-1].reference == "first firings"
    assert conditions[-1].reference_firings == 8
    assert conditions[-1].basis == "duty"


def test_a_third_of_the_power_lost_is_told_in_the_first_firing(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 10 + [0.667] * 2)
    first = conditions[10]
    assert first.level is not None
    assert np.exp(first.level.value) == pytest.approx(0.667, abs=0.04)
    assert first.step is not None
    assert first.step.firing == 10
    assert first.step.started == BEGUN + timedelta(days=30)
    assert first.step.probability > 0.5


def test_an_open_element_is_settled_after_a_few_firings(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 10 + [ONE_OF_SIX] * 5)
    last = conditions[-1]
    assert last.level is not None
    assert np.exp(last.level.value) == pytest.approx(ONE_OF_SIX, abs=0.03)
    assert last.level_low is not None
    assert last.level_high is not None
    assert last.level_low < np.log(ONE_OF_SIX) < last.level_high


def test_one_bad_firing_does_not_condemn_a_kiln(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 10 + [ONE_OF_SIX] + [1.0] * 4)
    last = conditions[-1]
    assert last.level is not None
    assert last.level.value == pytest.approx(0.0, abs=0.03)


def test_a_fault_stands_as_one_history_from_its_first_firing_on(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 10 + [0.667] * 8)
    for condition in conditions[11:]:
        best = condition.stories[0]
        assert (best.kind, best.firing) == ("all", 10)
        assert condition.level_low is not None
        assert condition.level_high is not None
        assert condition.level_low < np.log(0.667) < condition.level_high


def test_new_elements_without_a_logbook_entry_bring_the_level_back_and_are_told(shots: dict[float, list[Shot]]) -> None:
    worn = [power for power in WORN for _ in range(3)]
    _, conditions = history(shots, [1.0] * 8 + worn + [1.0] * 5)
    assert all(condition.renewed_firing is None for condition in conditions[:20])
    last = conditions[-1]
    assert last.renewed_firing == 20
    assert last.slow is not None
    assert last.slow.value == pytest.approx(0.0, abs=0.03)


def test_a_worn_kiln_is_not_taken_for_one_with_new_elements(shots: dict[float, list[Shot]]) -> None:
    worn = [power for power in WORN for _ in range(3)]
    _, conditions = history(shots, [1.0] * 8 + worn + [0.88] * 6)
    assert all(condition.renewed_firing is None for condition in conditions)


def test_a_new_set_begins_a_new_reference(shots: dict[float, list[Shot]]) -> None:
    entry = LogbookEntry("heron", BEGUN + timedelta(days=35), "replaced", "elements")
    _, conditions = history(shots, [ONE_OF_SIX] * 12 + [1.0] * 6, {12: entry})
    assert conditions[11].reference == "first firings"
    after = conditions[-1]
    assert after.reference == "after repair"
    assert after.level is not None
    assert after.level.value == pytest.approx(0.0, abs=0.02)


def test_a_mended_circuit_brings_the_level_back(shots: dict[float, list[Shot]]) -> None:
    entry = LogbookEntry("heron", BEGUN + timedelta(days=35), "replaced", "relay", zone="1")
    _, conditions = history(shots, [1.0] * 9 + [0.667] * 3 + [1.0] * 3, {12: entry})
    assert conditions[11].level is not None
    assert conditions[11].level.value < -0.3
    after = conditions[-1]
    assert after.reference == "first firings"
    assert after.level is not None
    assert after.level.value == pytest.approx(0.0, abs=0.03)


def test_a_kiln_that_only_kept_pace_gives_a_bound_and_no_value(fire: Callable[..., FiringLog]) -> None:
    firing, measures = measure(KILN, fire(ramps=((80.0, 950.0, 5.0),), output=False))
    state = begin(KILN)
    for _ in range(2):
        state, condition = update(KILN, state, firing, measures, ())
    assert condition.basis == "kept pace"
    assert condition.at_least is not None
    assert condition.at_least < 0.0


def test_a_gross_loss_is_told_of_a_kiln_that_showed_its_power_but_once(fire: Callable[..., FiringLog]) -> None:
    """It kept every pace and was at full output in one firing; then a lost line leaves it less than half its power."""
    gentle, hard = ((100.0, 600.0, 0.0), (80.0, 1040.0, 10.0)), ((100.0, 600.0, 0.0), (250.0, 1040.0, 10.0))
    shown: dict[tuple[float, bool], Shot] = {}
    for power, ramps in ((1.0, gentle), (1.0, hard), (0.474, gentle)):
        log = fire(power=(power,), ramps=ramps, output=False, cooling_h=2.0)
        shown[power, ramps is hard] = measure(KILN, log)
    state = begin(KILN)
    for key in [*[(1.0, False)] * 4, (1.0, True), (1.0, False), (0.474, False)]:
        state, condition = update(KILN, state, *shown[key], ())
    assert state.informed == 2
    assert condition.step is not None
    assert condition.step.probability > 0.9
    assert condition.level is not None
    assert np.exp(condition.level.value) < 0.6


def test_the_state_is_plain_json_and_does_not_grow(shots: dict[float, list[Shot]]) -> None:
    adapter = TypeAdapter(KilnState)
    state, _ = history(shots, [1.0] * 30)
    size = len(adapter.dump_json(state))
    longer, _ = history(shots, [1.0] * 60)
    assert adapter.validate_json(adapter.dump_json(state)) == state
    assert len(adapter.dump_json(longer)) < 1.5 * size
    condition = TypeAdapter(Condition)
    _, conditions = history(shots, [1.0] * 9 + [0.5] * 2)
    text = condition.dump_json(conditions[-1])
    assert condition.validate_json(text) == conditions[-1]
    assert b"NaN" not in text


def test_the_state_has_room_for_the_programmes_seen_and_no_more(shots: dict[float, list[Shot]]) -> None:
    state, _ = history(shots, [1.0] * 6)
    slots = 1 + max(programme.slot for programme in state.programmes)
    assert {len(h.mean) for h in state.hypotheses} == {Layout(state.zones, slots).size}


def test_a_state_with_room_for_all_programmes_is_still_understood(shots: dict[float, list[Shot]]) -> None:
    state, _ = history(shots, [1.0] * 6)
    now, roomy = Layout(state.zones, len(state.programmes)), Layout(state.zones, MOST_PROGRAMMES)
    wide = tuple(pack(resized(roomy, unpack(h), now.slots)) for h in state.hypotheses)
    assert {len(h.mean) for h in wide} == {roomy.size}
    old = replace(state, hypotheses=wide, zones=0)
    firing, measures = shots[1.0][0]
    assert update(KILN, old, firing, measures, ()) == update(KILN, state, firing, measures, ())


def test_the_same_firings_give_the_same_state(shots: dict[float, list[Shot]]) -> None:
    assert history(shots, [1.0] * 6)[0] == history(shots, [1.0] * 6)[0]


def test_stories_are_ranked_and_their_probabilities_sum_to_one(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 9 + [0.667])
    stories = conditions[-1].stories
    assert sum(s.probability for s in stories) == pytest.approx(1.0, abs=0.05)
    assert [s.probability for s in stories] == sorted((s.probability for s in stories), reverse=True)


def test_the_slow_level_leaves_out_a_standing_fault(shots: dict[float, list[Shot]]) -> None:
    _, conditions = history(shots, [1.0] * 9 + [0.667] * 3)
    assert conditions[-1].slow is not None
    assert conditions[-1].slow.value == pytest.approx(0.0, abs=0.05)


def with_amps(shots: dict[float, list[Shot]], *, supply: float = 1.0) -> dict[float, list[Shot]]:
    """The same firings with the current at full output in the log, without volts: it goes with power over volts."""
    return {
        power: [
            (firing, replace(measures, full_current=Estimate(3.5 + float(np.log(power * supply)), 0.006)))
            for firing, measures in of_power
        ]
        for power, of_power in shots.items()
    }


def test_amps_show_the_wear_of_a_kiln_that_always_keeps_pace(fire: Callable[..., FiringLog]) -> None:
    firing, measures = measure(KILN, fire(ramps=((60.0, 900.0, 0.0),), output=False, cooling_h=0.5))
    state, level = begin(KILN), None
    for number in range(30):
        worn = replace(measures, full_current=Estimate(3.5 - 0.003 * max(0, number - 5), 0.006))
        started = BEGUN + timedelta(days=3 * number)
        state, condition = update(KILN, state, replace(firing, started=started), worn, [])
        level = condition.level
    assert condition.basis == "current"
    assert level is not None
    assert level.value == pytest.approx(-0.003 * 24, abs=0.02)


def test_amps_tell_what_was_lost_since_they_are_logged_as_exactly_as_they_are_measured(
    shots: dict[float, list[Shot]],
) -> None:
    """The balance misjudges a step by a tenth of it, amps do not; but what was lost before them it alone has seen."""
    amps = with_amps(shots)
    meanwhile = {**shots, -0.667: amps[0.667]}  # the same loss, in firings from which on amps are logged
    errors = {}
    for told, powers in (
        ("heat", (shots, [1.0] * 10 + [0.667] * 4)),
        ("amps", (amps, [1.0] * 10 + [0.667] * 4)),
        ("amps since then", (meanwhile, [1.0] * 10 + [0.667] * 2 + [-0.667] * 2)),
    ):
        _, conditions = history(*powers)
        level = conditions[-1].level
        assert level is not None
        assert level.value == pytest.approx(np.log(0.667), abs=2.0 * level.error)
        errors[told] = level.error
    assert errors["amps"] < 0.5 * errors["heat"]
    assert errors["amps since then"] > 0.9 * errors["heat"]


def test_amps_tell_poor_volts_from_lost_power(shots: dict[float, list[Shot]]) -> None:
    sound, lost = with_amps(shots), with_amps(shots)
    volts = 0.667**0.5
    # heat as with two thirds of the power; amps as with two thirds, or as with the volts that give two thirds
    sagged = {**sound, 0.667: with_amps(shots, supply=volts / 0.667)[0.667]}
    for told, kind in ((lost, "all"), (sagged, "supply")):
        _, conditions = history(told, [1.0] * 10 + [0.667] * 3)
        assert conditions[-1].stories[0].kind == kind


def test_a_set_that_wore_slowly_may_begin_to_wear_fast() -> None:
    layout = Layout(1, 1)
    steady = [b for b in first_beliefs(layout) if b.story.pace == "steady"]
    after = quickened(layout, steady, 4)
    weights = {b.story.pace: float(np.exp(b.log_weight)) for b in after}
    assert set(weights) == {"steady", "wearing"}
    assert sum(weights.values()) == pytest.approx(float(np.exp(steady[0].log_weight)))
    assert weights["wearing"] < 0.02
    assert quickened(layout, steady, 5) == steady


def named(programme: str, log: FiringLog) -> tuple[Firing, Measures]:
    firing, measures = measure(KILN, log)
    return replace(firing, programme=programme), measures


@pytest.fixture(scope="module")
def glazed(fire: Callable[..., FiringLog]) -> KilnState:
    """A kiln that was fired with one programme, to 1200 deg C, ten times."""
    state = begin(KILN)
    for seed in range(10):
        state, _ = update(KILN, state, *named("glaze", fire(seed=seed)), ())
    return state


def lower(fire: Callable[..., FiringLog], peak_c: float, wall: float, seed: int = 0) -> FiringLog:
    return fire(ramps=((120.0, 500.0, 0.0), (90.0, peak_c, 20.0)), leak=wall, seed=seed)


@pytest.mark.parametrize(("wall", "held"), [(1.12, True), (1.6, False)])
def test_a_programme_to_a_far_lower_peak_may_find_another_wall(
    fire: Callable[..., FiringLog], glazed: KilnState, wall: float, held: bool
) -> None:
    """A brick whose conductivity grows otherwise with temperature than assumed is no sign of a leak or lost power."""
    _, condition = update(KILN, glazed, *named("lustre", lower(fire, 760.0, wall)), ())
    assert (condition.stories[0].kind == "none") == held


def test_a_new_programme_finds_its_wall_where_the_one_nearest_in_peak_found_it(
    fire: Callable[..., FiringLog], glazed: KilnState
) -> None:
    """What six lustre firings have shown of the wall at low peaks is known when an enamel comes."""
    state = glazed
    for seed in range(20, 26):
        state, _ = update(KILN, state, *named("lustre", lower(fire, 760.0, 1.2, seed)), ())
    _, condition = update(KILN, state, *named("enamel", lower(fire, 725.0, 1.2, 40)), ())
    assert condition.stories[0].kind == "none"
    assert condition.stories[0].probability > 0.95
    assert condition.level is not None
    assert condition.level.value > -0.02


@pytest.mark.parametrize(("fault", "leaks"), [({"gap": 0.25}, True), ({"power": (0.83,)}, False)])
def test_a_gap_is_told_from_lost_power_by_how_its_heat_grows_with_the_temperature(
    fire: Callable[..., FiringLog], fault: dict[str, Any], leaks: bool
) -> None:
    """Loads differ and no log holds the cooling: what parts them is that a gap radiates most where it is hottest."""

    def fired(seed: int, **changed: Any) -> tuple[Firing, Measures]:
        load = float(np.exp(np.random.default_rng(seed).normal(0.0, 0.2)))
        return named("glaze", fire(seed=seed, load=load, cooling_h=0.2, **changed))

    state = begin(KILN)
    for seed in range(10):
        state, _ = update(KILN, state, *fired(seed), ())
    for seed in range(10, 14):
        state, condition = update(KILN, state, *fired(seed, **fault), ())
    leak = sum(story.probability for story in condition.stories if story.kind == "leak")
    assert leak > 0.9 if leaks else leak < 0.1

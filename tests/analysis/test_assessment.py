"""One judgement from log to findings, where log and register do not quite agree."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.assessment import Assessment, assess, begin
from analysis.reading.firing_log import FiringLog
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry

ZONES = ("top", "middle", "bottom")
BISQUE = ((90.0, 600.0, 0.0), (120.0, 1000.0, 10.0))
LOADS = (1.0, 0.8, 1.2)


@pytest.fixture(scope="module")
def even(fire: Callable[..., FiringLog], test_kiln: type) -> list[FiringLog]:
    kiln = test_kiln(zones=3)
    return [fire(kiln, seed=n, load=load, ramps=BISQUE, cooling_h=4.0) for n, load in enumerate(LOADS)]


@pytest.fixture(scope="module")
def halved(fire: Callable[..., FiringLog], test_kiln: type) -> list[FiringLog]:
    """The bottom zone at half its power."""
    kiln = test_kiln(zones=3)
    power = (1.0, 1.0, 0.5)
    return [fire(kiln, power=power, seed=9 + n, load=load, ramps=BISQUE, cooling_h=4.0) for n, load in enumerate(LOADS)]


def of_zones(log: FiringLog, count: int) -> FiringLog:
    assert log.set_point_c is not None
    assert log.output is not None
    return replace(
        log,
        zone_c=log.zone_c[:, :count],
        set_point_c=log.set_point_c[:, :count],
        output=log.output[:, :count],
        zone_names=log.zone_names[:count],
    )


def judged(
    kiln: Kiln, logs: Sequence[FiringLog], entries: dict[int, Sequence[LogbookEntry]] | None = None
) -> list[Assessment]:
    state, told = begin(kiln), []
    for number, log in enumerate(logs):
        state, assessment = assess(kiln, state, log, (entries or {}).get(number, ()))
        told.append(assessment)
    return told


@pytest.mark.parametrize("logged", [1, 2])
@pytest.mark.parametrize("wired", [False, True])
def test_a_kiln_whose_log_holds_fewer_zones_than_its_register_is_judged_all_the_same(even, logged, wired):
    circuits = tuple(Circuit(zone, zone, 2, "parallel", (20.0,)) for zone in ZONES) if wired else ()
    kiln = Kiln("heron", volts=240.0, supply="single-phase", rated_kw=8.0, zones=ZONES, circuits=circuits)
    last = judged(kiln, [of_zones(even[n % 3], logged) for n in range(4)])[-1]
    assert last.power.value == pytest.approx(1.0, abs=0.05)


def test_zones_that_only_the_log_names_are_told_apart_like_those_of_the_register(even, halved):
    logs = [*(even[n % 3] for n in range(9)), *halved]
    by_register = judged(Kiln("heron", zones=even[0].zone_names), logs)[-1]
    by_log = judged(Kiln("heron"), logs)[-1]
    worst = by_log.findings[0]
    assert (worst.cause, worst.zone) == ("open_element", even[0].zone_names[2])
    assert [(f.cause, f.zone, f.probability) for f in by_log.findings] == [
        (f.cause, f.zone, f.probability) for f in by_register.findings
    ]


def test_a_log_of_minutes_does_not_make_the_kiln_forget_its_zones(even, halved):
    few = replace(
        of_zones(even[0], 3),
        elapsed_s=even[0].elapsed_s[:8],
        zone_c=even[0].zone_c[:8],
        set_point_c=even[0].set_point_c[:8],
        output=even[0].output[:8],
    )
    last = judged(Kiln("heron"), [*(even[n % 3] for n in range(9)), *halved, few, *halved[:2]])[-1]
    assert (last.findings[0].cause, last.findings[0].zone) == ("open_element", even[0].zone_names[2])


def test_a_log_with_a_zone_missing_is_judged_by_itself_and_costs_no_history(even, halved):
    kiln = Kiln("heron", zones=ZONES)
    told = judged(kiln, [*(even[n % 3] for n in range(9)), of_zones(even[0], 2), *halved])
    assert told[9].power.value == pytest.approx(1.0, abs=0.05)
    assert [a.index for a in told] == list(range(13))
    assert (told[-1].findings[0].cause, told[-1].findings[0].zone) == ("open_element", "bottom")
    assert told[-1].power.value == pytest.approx(5 / 6, abs=0.05)


def test_a_kiln_logged_with_other_zones_from_now_on_begins_anew(even):
    told = judged(Kiln("heron"), [*(even[n % 3] for n in range(5)), *(of_zones(even[n % 3], 2) for n in range(6))])
    conditions = [a.condition for a in told if a.condition is not None]
    assert [len(c.zone_levels) for c in conditions] == [3] * 5 + [2] * 6
    assert conditions[-1].reference_firings == 4


def test_one_element_lost_is_told_by_the_nameplate_as_well_as_by_listed_ohms(fire):
    def circuits(ohm):
        return tuple(Circuit(name, "1", 2, "parallel", ohm) for name in "abc")

    good = [fire(seed=n, load=load, ramps=BISQUE, cooling_h=4.0) for n, load in enumerate(LOADS)]
    lost = [fire(power=(5 / 6,), seed=7 + n, load=load, ramps=BISQUE, cooling_h=4.0) for n, load in enumerate((1, 1.2))]
    logs = [*(good[n % 3] for n in range(9)), *lost, *lost]
    plain = Kiln("heron", volts=240.0, supply="single-phase", rated_kw=9.0, zones=("1",))
    told = [judged(replace(plain, circuits=circuits(ohm)), logs)[-1] for ohm in ((), (38.4,))]
    assert told[0].power.value == pytest.approx(told[1].power.value, abs=0.005)
    assert [f.cause for f in told[0].findings] == [f.cause for f in told[1].findings]
    assert told[0].power.value == pytest.approx(5 / 6, abs=0.05)


def replaced(part: str, **place: str) -> tuple[LogbookEntry, ...]:
    return (LogbookEntry("heron", datetime(2026, 1, 5, tzinfo=UTC), "replaced", part, **place),)


def test_a_new_set_with_half_a_zone_left_off_is_not_praised(even, halved):
    circuits = tuple(Circuit(zone, zone, 2, "parallel", (20.0,)) for zone in ZONES)
    kiln = Kiln("heron", volts=240.0, supply="single-phase", rated_kw=8.0, zones=ZONES, circuits=circuits)
    for before in (0, 2, 4):
        logs = [*(even[n % 3] for n in range(before)), *halved]
        for told in judged(kiln, logs, {before: replaced("elements")})[before:]:
            assert told.verification is not None
            assert "full power" not in told.verification, before
    sound = judged(kiln, [even[n % 3] for n in range(9)], {6: replaced("elements")})[6].verification
    assert sound is not None
    assert sound.startswith("All circuits give full power")


def test_new_elements_of_one_circuit_are_no_new_set(even):
    kiln = Kiln("heron", zones=ZONES, circuits=tuple(Circuit(zone, zone, 2) for zone in ZONES))
    logs = [even[n % 3] for n in range(6)]
    assert judged(kiln, logs, {4: replaced("elements", circuit="top")})[-1].reference == "first firings"
    assert judged(kiln, logs, {4: replaced("elements")})[-1].reference == "after repair"


def test_a_set_of_elements_grows_as_old_as_its_firings(even):
    kiln = Kiln("heron", zones=ZONES)
    conditions = [a.condition for a in judged(kiln, [even[n % 3] for n in range(14)], {3: replaced("elements")})]
    assert [c.age_firings for c in conditions if c is not None] == [1, 2, 3, *range(1, 12)]


def test_the_volts_told_are_those_of_the_heating(fire):
    """Without load they are better: the hours of cooling, longer than the heating, say nothing of the supply."""
    log = fire(ramps=BISQUE, cooling_h=14.0)
    heated = log.elapsed_s < float(log.elapsed_s[-1]) - 14.0 * 3600.0
    assert 4 <= float(log.elapsed_s[heated][-1]) / 3600.0 < 13
    night = replace(log, volts=np.where(heated, 222.0, 241.0))
    (told,) = judged(Kiln("heron", volts=240.0), [night])
    assert told.measures is not None
    assert told.measures.supply_volts == pytest.approx(222.0)


@pytest.mark.parametrize("volts", [0.0, float("nan")])
def test_a_volts_column_that_says_nothing_costs_nothing(even, volts):
    kiln = Kiln("heron", volts=240.0, rated_kw=8.0, zones=ZONES)
    logs = [replace(even[n % 3], volts=np.full(even[n % 3].elapsed_s.size, volts)) for n in range(3)]
    with_volts, without = judged(kiln, logs)[-1], judged(kiln, [even[n % 3] for n in range(3)])[-1]
    assert with_volts.power == without.power
    assert with_volts.measures is not None
    assert without.measures is not None
    assert with_volts.measures.supply_volts is None
    assert with_volts.measures.energy_kwh == without.measures.energy_kwh


def test_one_dead_couple_of_three_leaves_the_other_zones_to_be_judged(even):
    kiln = Kiln("heron", zones=ZONES)
    logs = [replace(log, zone_c=np.where([True, False, True], log.zone_c, np.nan)) for log in even]
    told = judged(kiln, [logs[n % 3] for n in range(4)])[-1]
    assert told.power.value == pytest.approx(1.0, abs=0.05)


def test_a_circuit_lost_among_the_first_firings_stays_told_for_as_long_as_it_is_dead(fire):
    """What is 100 % is learned from these firings; the loss is no part of it."""
    circuits = tuple(Circuit(name, "1", 1, "series", (28.8,)) for name in "ab")
    kiln = Kiln("heron", volts=240.0, supply="single-phase", rated_kw=4.0, zones=("1",), circuits=circuits)
    good = [fire(seed=n, load=load, cooling_h=4.0) for n, load in enumerate(LOADS)]
    dead = [fire(power=(0.5,), seed=7 + n, load=load, cooling_h=4.0) for n, load in enumerate(LOADS)]
    told = judged(kiln, [*good, *good[:2], *(dead[n % 3] for n in range(10))])[6:]
    assert [a.findings[0].cause for a in told] == ["open_circuit"] * len(told)
    assert {a.findings[0].severity for a in told} == {"urgent"}
    assert told[-1].power.value == pytest.approx(0.5, abs=0.05)


def test_heat_that_the_output_knows_nothing_of_makes_no_power(even):
    """A closed contact heats on after the end: the balance of such a firing would find a kiln many times too strong."""
    log = even[0]
    end = int(np.argmax(log.zone_c.mean(axis=1)))
    welded = log.zone_c.copy()
    welded[end : end + 40] += 6.0 * np.arange(40.0)[:, None]
    told = judged(Kiln("heron", zones=ZONES), [*even, replace(log, zone_c=welded)])[-1]
    assert told.measures is not None
    assert told.measures.heat is None
    assert told.power.value is None
    assert "welded_contact" in {f.cause for f in told.findings}


def test_a_kiln_that_stays_at_the_rooms_temperature_at_full_output_is_judged() -> None:
    """A main contactor that never closes, read in whole degrees: no heat flows anywhere."""
    kiln = Kiln("thrush", volts=240.0, supply="single-phase", rated_kw=8.0, zones=("all",))
    time = np.arange(0.0, 7200.0, 60.0)
    dead = FiringLog(time, np.full((time.size, 1), 20.0), None, np.ones((time.size, 1)), ("all",), output_kind="duty")
    _, judged = assess(kiln, begin(kiln), dead)
    assert judged.measures.no_rise is not None
    assert judged.measures.no_rise.minutes > 60.0

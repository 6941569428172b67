"""Which firings there are in a kiln's logs."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.reading import FiringLog
from daemon import catalogue, clock
from daemon.store.parts import Part

DAY = datetime(2026, 3, 2, 8, tzinfo=UTC)


def part(name: str, begin_h: float, end_h: float, *, dated: int = 2, head: str = "", **other: object) -> Part:
    start, end = (clock.stamp(DAY + timedelta(hours=hours)) for hours in (begin_h, end_h))
    course = " ".join(str(20 + 20 * step) for step in range(int((end_h - begin_h) * 6) + 1))
    return Part("juniper", name, 0, name, start, end, dated, head or name, 100, **({"course": course} | other))


def a_log() -> FiringLog:
    elapsed_s = np.arange(0.0, 600.0, 60.0)
    return FiringLog(elapsed_s, elapsed_s[:, None], None, None, ("kiln",))


def names(parts: list[Part]) -> list[tuple[str, ...]]:
    return [firing.logs for firing in catalogue.arrange(parts)]


def test_firings_are_in_the_order_of_their_beginnings():
    assert names([part("b", 48, 60), part("a", 0, 12)]) == [("a",), ("b",)]


def test_two_parts_that_cover_the_same_hours_are_one_firing_and_the_longer_is_judged():
    assert names([part("short", 0, 5), part("long", 0, 12)]) == [("long", "short")]


def test_a_clock_an_hour_off_does_not_make_a_second_firing():
    assert names([part("a", 0, 12), part("b", 1, 13)]) == [("a", "b")]


def test_the_same_hours_with_other_temperatures_are_another_firing_and_said_to_overlap():
    cooling = part("a", 0, 24, course=" ".join(["1000", *["100"] * 144]))
    second = part("b", 12, 26)
    assert names([cooling, second]) == [("a",), ("b",)]
    first, clashing = catalogue.arrange([cooling, second])
    assert catalogue.as_placed(first, a_log()).problems == ()
    assert catalogue.as_placed(clashing, a_log()).problems[0].startswith("its times overlap with a: ")


def test_logs_without_dates_copied_in_one_go_keep_the_order_of_their_names():
    copied = [part("F10.TXT", 30, 50, dated=0), part("F9.TXT", 20, 50, dated=0), part("f2.txt", 40, 50, dated=0)]
    arranged = catalogue.arrange(copied)
    assert [firing.logs for firing in arranged] == [("f2.txt",), ("F9.TXT",), ("F10.TXT",)]
    assert [firing.started for firing in arranged] == [
        clock.stamp(DAY + timedelta(hours=h)) for h in (30 - 30 - 10, 30 - 30, 30)
    ]
    early, _, last = (catalogue.as_placed(firing, a_log()) for firing in arranged)
    assert early.started == DAY - timedelta(hours=10)
    assert "its date is a guess" in early.problems[0]
    assert last.problems == ()


def test_logs_without_dates_saved_when_their_firings_ended_keep_their_dates():
    saved = [part("b", 0, 12, dated=0), part("a", 40, 52, dated=0)]
    assert [(f.logs, f.by_name) for f in catalogue.arrange(saved)] == [(("b",), False), (("a",), False)]


def test_several_firings_without_dates_in_one_file_follow_one_another():
    both = [part("all", 20, 30, dated=0, head="x"), replace(part("all", 18, 30, dated=0, head="y"), part=1)]
    assert [firing.parts[0].part for firing in catalogue.arrange(both)] == [0, 1]


def test_a_copied_log_without_date_does_not_move_the_dated_ones():
    mixed = [part("dated", 0, 12), part("copied 1", 5, 12, dated=0), part("copied 2", 2, 12, dated=0)]
    dated = next(f for f in catalogue.arrange(mixed) if f.logs == ("dated",))
    assert (dated.started, dated.by_name) == (clock.stamp(DAY), False)


def test_firings_that_merely_touch_are_two():
    assert names([part("a", 0, 12), part("b", 11.5, 24)]) == [("a",), ("b",)]


def test_without_dates_of_their_own_only_equal_beginnings_make_two_parts_one_firing():
    same = [part("a", 0, 12, dated=0, head="x"), part("b", 40, 45, dated=0, head="x")]
    assert names(same) == [("a", "b")]
    other = [part("a", 0, 12, dated=0, head="x"), part("b", 0, 12, dated=0, head="y")]
    assert names(other) == [("a",), ("b",)]


def test_a_part_that_goes_on_from_the_one_before_belongs_to_its_firing():
    first, second = part("a", 0, 5), part("b", 5.2, 12)
    (pair,) = catalogue.to_compare(catalogue.arrange([first, second]))
    assert [each.name for each in pair] == ["a", "b"]
    joined = part("b", 5.2, 12, continues=catalogue.went_on(first, answer=True))
    assert names([first, joined]) == [("a", "b")]
    apart = part("b", 5.2, 12, continues=catalogue.went_on(first, answer=False))
    assert names([first, apart]) == [("a",), ("b",)]
    assert catalogue.to_compare(catalogue.arrange([first, apart])) == []


def test_two_halves_give_way_to_an_export_of_the_whole():
    first = part("a", 0, 5)
    second = part("b", 5.2, 12, continues=catalogue.went_on(first, answer=True))
    assert names([first, second, part("whole", 0, 12.1)]) == [("whole", "b", "a")]


def test_a_part_that_failed_is_left_out():
    assert names([part("a", 0, 5, failed="no sense in it"), part("b", 20, 30)]) == [("b",)]


@given(
    st.lists(st.tuples(st.integers(0, 200), st.integers(0, 30), st.sampled_from([0, 1, 2])), max_size=12), st.randoms()
)
def test_the_arrangement_does_not_depend_on_the_order_of_arrival_and_loses_no_part(spans, random):
    parts = [part(f"p{n}", begin, begin + length, dated=dated) for n, (begin, length, dated) in enumerate(spans)]
    arranged = catalogue.arrange(parts)
    random.shuffle(parts)
    assert catalogue.arrange(parts) == arranged
    assert sorted(name for firing in arranged for name in firing.logs) == sorted(each.name for each in parts)


@given(st.lists(st.tuples(st.integers(0, 200), st.integers(1, 30)), max_size=12))
def test_no_two_firings_dated_by_their_files_alone_ever_overlap(spans):
    parts = [part(f"p{n}", begin, begin + length, dated=0) for n, (begin, length) in enumerate(spans)]
    placed = [each for firing in catalogue.arrange(parts) for each in firing.parts]
    assert all(before.ended <= after.started for before, after in pairwise(placed))

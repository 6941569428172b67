"""Which firings there are in a kiln's logs."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from daemon import catalogue, clock
from daemon.store.parts import Part

DAY = datetime(2026, 3, 2, 8, tzinfo=UTC)


def part(name: str, begin_h: float, end_h: float, *, dated: int = 2, head: str = "", **other: object) -> Part:
    start, end = (clock.stamp(DAY + timedelta(hours=hours)) for hours in (begin_h, end_h))
    course = " ".join(str(20 + 20 * step) for step in range(int((end_h - begin_h) * 6) + 1))
    return Part("juniper", name, 0, name, start, end, dated, head or name, 100, **({"course": course} | other))


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
    assert catalogue.clash(first) == ()
    assert catalogue.clash(clashing)[0].startswith("its times overlap with a: ")


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

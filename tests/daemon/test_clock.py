"""Time as it is kept."""

from datetime import UTC, datetime, timedelta, timezone

import time_machine
from hypothesis import given
from hypothesis import strategies as st

from daemon import clock


@given(st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_a_stamp_is_the_moment_it_was_made_of(moment):
    assert clock.moment(clock.stamp(moment)) == moment


@given(*[st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1), timezones=st.just(UTC))] * 2)  # noqa: DTZ001
def test_stamps_sort_by_time(first, second):
    assert (clock.stamp(first) < clock.stamp(second)) == (first < second)


def test_a_stamp_is_in_utc_whatever_the_zone():
    there = datetime(2026, 3, 2, 9, 14, tzinfo=timezone(timedelta(hours=1)))
    assert clock.stamp(there) == "2026-03-02T08:14:00.000000Z"


def test_a_clock_set_back_or_forward_is_noticed_once():
    sense = clock.JumpSense()
    assert sense.jumped_s() == 0
    for hours in (-2, 3):
        with time_machine.travel(datetime.now(UTC) + timedelta(hours=hours)):
            assert abs(sense.jumped_s() - hours * 3600) < 5
            assert sense.jumped_s() == 0
        assert abs(sense.jumped_s() + hours * 3600) < 5

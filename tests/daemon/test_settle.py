"""When a file counts as settled."""

from daemon.settle import Settling

A, B = (1, 1, 1, 1), (2, 2, 2, 2)


def test_a_file_has_settled_when_nothing_of_it_changed_for_the_settling_time():
    settling = Settling(10, 15)
    settling.saw("a", A, 0)
    settling.saw("a", A, 9)
    assert settling.settled(9) == []
    assert settling.settled(10) == ["a"]


def test_every_change_begins_the_settling_time_anew():
    settling = Settling(10, 15)
    settling.saw("a", A, 0)
    settling.saw("a", B, 9)
    assert settling.settled(18) == []
    assert settling.next_due() == 19
    assert settling.settled(19) == ["a"]


def test_a_file_known_to_be_old_has_settled_at_first_sight():
    settling = Settling(10, 15)
    settling.saw("a", A, 0, unchanged_s=10)
    assert settling.settled(0) == ["a"]


def test_a_file_that_keeps_changing_is_looked_into_now_and_then():
    settling = Settling(10, 15)
    for tick in range(41):
        settling.saw("a", (tick, 0, 0, 0), tick)
    assert settling.settled(40) == []
    assert settling.to_peek(40) == ["a"]
    assert settling.to_peek(41) == []

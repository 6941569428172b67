"""The order in which waiting files are read."""

from pathlib import Path

from daemon.backlog import Backlog
from daemon.folder import Found


def found(key: str, day: int = 1) -> Found:
    return Found(key, Path(key), 1, day * 86_400_000_000_000, 0, 0)


def test_the_oldest_comes_first_by_the_date_in_the_name_or_else_the_files_own():
    backlog = Backlog()
    for key, day in (("k/c 2026-03-01.csv", 1), ("k/a.csv", 20_000), ("k/b_20250101.csv", 9)):
        backlog.add("k", found(key, day))
    assert [backlog.oldest("k").key for _ in range(3)] == ["k/a.csv", "k/b_20250101.csv", "k/c 2026-03-01.csv"]
    assert backlog.oldest("k") is None


def test_a_kiln_with_a_short_queue_does_not_wait_for_one_with_a_long_one():
    backlog = Backlog()
    for number in range(100):
        backlog.add("juniper", found(f"juniper/{number}.csv"))
    backlog.add("heron", found("heron/a.csv"))
    assert backlog.next_kiln(()) == "heron"
    assert backlog.next_kiln(("thrift",)) == "thrift"


def test_a_file_taken_out_is_not_read():
    backlog = Backlog()
    backlog.add("k", found("k/a.csv"))
    backlog.add("k", found("k/a.csv"))
    assert len(backlog) == 1
    backlog.drop("k/a.csv")
    assert (len(backlog), backlog.oldest("k"), backlog.next_kiln(())) == (0, None, None)

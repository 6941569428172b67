"""Tasks in a process of their own."""

import os
import threading
import time

import pytest

from daemon.child import Child, ChildFailed, Stopped


def tasks():
    def hang():
        time.sleep(60)

    return {
        "double": lambda number: 2 * number,
        "hang": hang,
        "die": lambda: os._exit(9),
        "err": lambda: "kiln".index("x"),
        "pid": os.getpid,
    }


@pytest.fixture(scope="module")
def child():
    made = Child("trial", tasks, limit_s=1.0)
    yield made
    made.close()


def test_a_task_is_done_in_another_process(child):
    assert child.ask("double", 21) == 42
    assert child.ask("pid") != os.getpid()


def test_a_task_that_fails_says_why_and_the_process_goes_on(child):
    before = child.ask("pid")
    with pytest.raises(ChildFailed, match="ValueError"):
        child.ask("err")
    assert child.ask("pid") == before


def test_a_process_that_dies_costs_one_task(child):
    with pytest.raises(ChildFailed, match="ended the process"):
        child.ask("die")
    assert child.ask("double", 1) == 2


def test_a_task_that_hangs_is_ended_after_its_time(child):
    child.ask("double", 1)
    began = time.monotonic()
    with pytest.raises(ChildFailed, match="longer than 1 s"):
        child.ask("hang")
    assert time.monotonic() - began < 3
    assert child.ask("double", 1) == 2


def test_a_stop_ends_a_task_at_once():
    stop = threading.Event()
    child = Child("trial", tasks, limit_s=60, stop=stop)
    threading.Timer(0.2, stop.set).start()
    began = time.monotonic()
    with pytest.raises(Stopped):
        child.ask("hang")
    assert time.monotonic() - began < 3

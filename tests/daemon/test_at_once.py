"""Jobs that are asked for more often than they can be done."""

import threading

import pytest

from daemon.at_once import AtOnce


def test_asked_for_while_it_runs_a_job_is_done_exactly_once_more():
    done = []
    job = AtOnce(lambda: done.append(len(done)) or (len(done) == 1 and [job.ask() for _ in range(5)]))
    assert job.ask()
    job.run()
    assert done == [0, 1]
    assert job.ask()
    job.run()
    assert done == [0, 1, 2]


def test_no_request_is_lost_between_threads():
    seen, asked = [0], [0]
    lock = threading.Lock()
    job = AtOnce(lambda: seen.__setitem__(0, asked[0]))

    def ask():
        for _ in range(300):
            with lock:
                asked[0] += 1
            if job.ask():
                job.run()

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert job.wait_idle(1)
    assert seen == asked == [1200]


def test_a_job_asked_for_and_never_begun_holds_up_no_end():
    job = AtOnce(lambda: None)
    assert job.ask()
    assert job.wait_idle(0)


def test_a_job_that_fails_can_be_asked_for_again():
    def fail():
        raise ZeroDivisionError

    job = AtOnce(fail)
    for _ in range(2):
        assert job.ask()
        with pytest.raises(ZeroDivisionError):
            job.run()
    assert job.wait_idle(0)

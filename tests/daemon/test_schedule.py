"""What is done by the clock, also when the clock is set."""

import threading
import time
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from config.settings import load
from daemon.schedule import Schedule


class NoReports:
    """Counts calls; nothing is to be written in these tests."""

    def __init__(self):
        self.calls = 0
        self.kilns = set()

    def add(self, kilns):
        self.kilns.update(kilns)

    def write(self):
        self.calls += 1


@pytest.fixture
def settings(tmp_path):
    (tmp_path / "coilwatch.toml").write_text("[service]\nscan_s = 1\n")
    (tmp_path / "data").mkdir()
    return load(tmp_path / "coilwatch.toml")


@pytest.fixture
def woken():
    return threading.Event()


@pytest.fixture
def schedule(settings, woken):
    stop = threading.Event()
    made = Schedule(settings, woken.set, NoReports(), stop)
    made.start()
    yield made
    stop.set()
    assert made.end(5)
    time.sleep(0.2)


def test_the_folder_is_looked_through_at_once_and_then_regularly(schedule, woken):
    assert woken.wait(5)
    woken.clear()
    assert woken.wait(5)


@pytest.mark.parametrize("hours", [-3, 3])
def test_jobs_go_on_after_the_clock_was_set(schedule, woken, hours):
    assert woken.wait(5)
    with time_machine.travel(datetime.now(UTC) + timedelta(hours=hours)):
        schedule.clock_was_set()
        for _ in range(2):
            woken.clear()
            assert woken.wait(5)


def test_reports_that_are_due_are_written_at_once(schedule):
    schedule.write_reports(["juniper"])
    until = time.monotonic() + 5
    while not schedule._reporter.calls and time.monotonic() < until:
        time.sleep(0.02)
    assert schedule._reporter.calls
    assert schedule._reporter.kilns == {"juniper"}


def test_a_job_that_fails_does_not_end_the_others(schedule, woken, caplog):
    def fail():
        raise ZeroDivisionError

    schedule._guarded(fail)
    assert "a job failed" in caplog.text
    woken.clear()
    assert woken.wait(5)

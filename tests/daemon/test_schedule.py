"""What is done by the clock, also when the clock is set."""

import threading
import time
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from config.settings import load
from daemon import clock, outbox
from daemon.alerts import letters
from daemon.alerts.message import Message
from daemon.schedule import Schedule
from daemon.store.database import open_store, write_tx


class NoReports:
    """Counts calls; nothing is to be written in these tests."""

    def __init__(self):
        self.calls = 0
        self.kilns = set()
        self.written = []

    def add(self, kilns):
        self.kilns.update(kilns)

    def write(self):
        self.calls += 1
        drawn, self.kilns = sorted(self.kilns), set()
        self.written += drawn
        return drawn


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


@pytest.mark.parametrize("hours", [-3, 3, 24 * 365 * 40])  # the last: a computer that begins in 1970
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
    while not schedule._reporter.written and time.monotonic() < until:
        time.sleep(0.02)
    assert schedule._reporter.written == ["juniper"]


def test_a_picture_that_waited_leaves_as_soon_as_it_is_drawn(schedule, settings, monkeypatch):
    rounds = []
    monkeypatch.setattr(outbox, "deliver_due", lambda db, *_, **__: rounds.append(outbox.next_due(db, clock.now())))
    db, now = open_store(settings.folders.database), clock.now()
    with write_tx(db):
        for kiln in ("juniper", "heron"):
            letters.put(
                db, incident=f"{kiln}-1", kiln=kiln, kind="raised", number=1, severity="urgent",
                message=Message("title", "text"), targets=["phone"], now=now, picture=True,
            )  # fmt: skip
        db.execute("update outbox set ended = 'sent' where part = 'text'")
        later = clock.stamp(now + timedelta(seconds=30))
        db.execute("update outbox set next_try_at = ? where part = 'picture'", [later])
    time.sleep(0.2)
    rounds.clear()
    schedule.write_reports(["juniper"])
    until = time.monotonic() + 5
    while not rounds and time.monotonic() < until:
        time.sleep(0.02)
    assert rounds
    assert rounds[0] < now + timedelta(seconds=20)
    held = db.execute("select kiln from outbox where next_try_at is not null").fetchall()
    assert held == [("heron",)]
    db.close()


def test_a_job_that_fails_does_not_end_the_others(schedule, woken, caplog):
    def fail():
        raise ZeroDivisionError

    schedule._guarded(fail)
    assert "a job failed" in caplog.text
    woken.clear()
    assert woken.wait(5)

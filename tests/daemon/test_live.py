"""The live watch in the service: one message per state, closed when it recovers, nothing from a stop or a jump."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.assessment import Assessment
from analysis.findings import Finding, PowerRatio
from analysis.measures import Measures, Trace
from analysis.reading.firing_log import FiringLog
from config.settings import load
from daemon import alerts, live
from daemon.store.database import open_store, write_tx

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
NAME = "juniper/2026-03-02.csv"


@dataclass
class Judged:
    index: int
    assessment: Assessment


def judged(index: int, *findings: Finding, end: Any = "complete") -> Judged:
    elapsed = tuple(np.arange(0.0, 36000.0, 300.0))
    trace = Trace(
        elapsed,
        tuple(20.0 + 1200.0 * e / 35700.0 for e in elapsed),
        tuple(25.0 + 1200.0 * e / 35700.0 for e in elapsed),
    )
    ratio = PowerRatio(0.99, 0.97, 1.01, "duty")
    when = START - timedelta(days=20 - index)
    measures = Measures(35700.0, 1220.0, 60.0, trace)
    return Judged(
        index,
        Assessment("juniper", index, when, "glaze", end, measures, ratio, ratio, "nameplate", findings=findings),
    )


PAST = [judged(n) for n in range(4)]


def rising(minutes: int, *, stuck_from: int | None = None, started: datetime | None = START) -> FiringLog:
    """2 deg C a minute, the set point 5 above; from ``stuck_from`` on at full output without any rise."""
    at = np.arange(minutes + 1.0)
    wanted = 25.0 + 2.0 * at
    got = 20.0 + 2.0 * (at if stuck_from is None else np.minimum(at, stuck_from))
    output = np.where(wanted - got > 10.0, 1.0, 0.6)
    return FiringLog(
        at * 60.0, got[:, None], wanted[:, None], output[:, None], ("",), "duty", started=started, programme="glaze"
    )


class Watching:
    """A watched kiln whose clock and log move together."""

    def __init__(self, folder: Path) -> None:
        (folder / "coilwatch.toml").write_text(
            '[studio]\ntime_zone = "Europe/Dublin"\ntemperature_unit = "F"\n[alerts.targets]\nphone = "json://localhost:9/x"\n'
            '[[kiln]]\nid = "juniper"\nname = "Juniper"\nmax_temp_c = 1290\n',
            encoding="utf-8",
        )
        self.settings = load(folder / "coilwatch.toml")
        self.db = open_store(self.settings.folders.database)
        self.kiln = self.settings.kilns[0]
        self.now, self.steady = START, 1000.0

    def at(self, minutes: float) -> None:
        self.steady += (START + timedelta(minutes=minutes) - self.now).total_seconds()
        self.now = START + timedelta(minutes=minutes)

    def grow(self, minutes: int, past: Any = PAST, name: str = NAME, **how: Any) -> list[str]:
        self.at(minutes)
        with write_tx(self.db):
            log = rising(minutes, **how)
            live.watch_live(self.db, self.kiln, log, name, self.settings, self.now, past, steady_s=self.steady)
        return self.messages()

    def silence(self, minutes: float) -> list[str]:
        self.at(minutes)
        with write_tx(self.db):
            live.watch_silence(self.db, self.settings, self.now, steady_s=self.steady)
        return self.messages()

    def over(self, *findings: Finding) -> list[str]:
        with write_tx(self.db):
            if findings:
                alerts.record(self.db, self.kiln, judged(9, *findings, end="stalled"), self.settings, self.now)
            live.live_over(self.db, self.kiln, NAME, self.settings, self.now, steady_s=self.steady)
        return self.messages()

    def messages(self) -> list[str]:
        return [row["title"] for row in self.db.query("select title from outbox where part = 'text' order by id")]


@pytest.fixture
def watching(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Watching:
    monkeypatch.setattr(live, "_grown", {})
    return Watching(tmp_path)


def test_a_healthy_firing_watched_row_by_row_says_nothing(watching: Watching) -> None:
    for minutes in range(1, 595, 7):
        assert watching.grow(minutes) == []
        assert watching.silence(minutes + 3) == []
    assert watching.over() == []


def test_a_stall_is_told_once_and_closed_when_the_kiln_climbs_again(watching: Watching) -> None:
    told = [watching.grow(minutes, stuck_from=200) for minutes in range(200, 400, 5)][-1]
    assert told == ["Juniper: not climbing"]
    body = next(watching.db.query("select body from outbox"))["body"]
    assert "at 788 °F." in body  # 420 deg C, in the unit this studio reads
    assert "Coilwatch is no safety device." in body
    assert [watching.grow(minutes) for minutes in range(405, 440, 5)][-1] == [
        "Juniper: not climbing",
        "Juniper: over (not climbing)",
    ]


def test_a_state_gone_for_a_few_rows_is_not_over(watching: Watching) -> None:
    watching.grow(300, stuck_from=200)
    assert watching.grow(310) == ["Juniper: not climbing"]
    assert watching.grow(320, stuck_from=200) == ["Juniper: not climbing"]


def test_a_log_gone_silent_is_told_and_closed_when_rows_come_again(watching: Watching) -> None:
    watching.grow(290)
    watching.grow(300)
    assert watching.silence(325) == []
    assert watching.silence(335) == ["Juniper: log went silent"]
    assert watching.silence(500) == ["Juniper: log went silent"]
    assert watching.grow(510) == ["Juniper: log went silent", "Juniper: over (log went silent)"]


def test_a_log_that_ends_near_its_peak_is_simply_over(watching: Watching) -> None:
    watching.grow(592)
    assert watching.silence(900) == []
    assert watching.over() == []


def test_a_log_closed_in_mid_firing_is_told_as_silent_and_over_when_the_next_begins(watching: Watching) -> None:
    watching.grow(250)
    watching.grow(300)
    watching.at(320)
    assert watching.over() == ["Juniper: log went silent"]
    assert watching.silence(400) == ["Juniper: log went silent"]
    watching.now += timedelta(days=1)
    with write_tx(watching.db):
        live.watch_live(
            watching.db, watching.kiln, rising(5), "juniper/next.csv", watching.settings, watching.now, PAST
        )
    assert watching.messages() == ["Juniper: log went silent"]  # a new firing is no news of the old one
    assert alerts.open_alerts(watching.db) == []


def test_an_old_log_copied_in_is_not_a_kiln_gone_silent(watching: Watching) -> None:
    watching.grow(250, started=START - timedelta(days=30))
    watching.grow(300, started=START - timedelta(days=30))
    assert watching.silence(400) == []
    assert watching.over() == []


def test_a_stop_of_coilwatch_is_not_silence(watching: Watching) -> None:
    watching.grow(300)
    live._grown.clear()  # a new process, hours later
    assert watching.silence(700) == []
    assert watching.silence(725) == []
    assert watching.silence(735) == ["Juniper: log went silent"]


def test_a_clock_jumping_on_by_hours_is_not_silence(watching: Watching) -> None:
    watching.grow(300)
    watching.now += timedelta(hours=9)
    with write_tx(watching.db):
        live.watch_silence(watching.db, watching.settings, watching.now, steady_s=watching.steady + 60.0)
    assert watching.messages() == []


def test_the_finding_of_the_firing_takes_over_from_the_live_alert(watching: Watching) -> None:
    watching.grow(300, stuck_from=200)
    watching.at(325)
    dead = Finding("open_circuit", "urgent", 0.95)
    assert watching.over(dead) == ["Juniper: not climbing", "Juniper: a circuit is dead"]
    assert [a.cause for a in alerts.open_alerts(watching.db) if a.hidden_by is None] == ["open_circuit"]


def test_a_log_closed_at_once_for_another_reason_did_not_go_silent(watching: Watching) -> None:
    watching.grow(250)
    watching.grow(300)
    assert watching.over() == []


def test_a_kiln_known_to_have_a_dead_circuit_is_not_told_in_each_firing_that_it_stalls(watching: Watching) -> None:
    with write_tx(watching.db):
        dead = judged(5, Finding("open_circuit", "urgent", 0.95))
        alerts.record(watching.db, watching.kiln, dead, watching.settings, watching.now)
    assert watching.grow(300, stuck_from=200) == ["Juniper: a circuit is dead"]


def test_with_the_live_watch_switched_off_nothing_is_told(watching: Watching) -> None:
    from dataclasses import replace

    watching.settings = replace(watching.settings, alerts=watching.settings.alerts.model_copy(update={"live": False}))
    watching.grow(300, stuck_from=200)
    assert watching.silence(400) == []


def test_a_log_that_runs_behind_tells_by_the_studio_s_clock_when_it_would_end(watching: Watching) -> None:
    at = np.arange(521.0)
    wanted = np.minimum(25.0 + 2.0 * at, 1222.0)
    got = 20.0 + np.where(at < 350, 2.0 * at, 700.0 + 1.1 * (at - 350))
    log = FiringLog(
        at * 60.0, got[:, None], wanted[:, None], np.where(wanted - got > 10, 1.0, 0.6)[:, None], ("",), "duty",
        started=START, programme="glaze",
    )  # fmt: skip
    with write_tx(watching.db):
        view = live.watch_live(
            watching.db, watching.kiln, log, NAME, watching.settings, START + timedelta(hours=9), PAST
        )
    assert [state.kind for state in view.states] == ["behind"]
    body = next(watching.db.query("select body from outbox"))["body"]
    assert re.search(r"It would end (about|not before) 2 Mar 2026, \d\d:\d\d, 1 h \d0 min later", body)
    assert "later than usual for this programme" in body
    assert "{" not in body

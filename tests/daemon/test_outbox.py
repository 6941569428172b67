"""The outbox under any run of failures: nothing is lost, an incident's messages keep their order, waits grow."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.alerts import AlertSettings
from config.settings import load
from daemon import outbox
from daemon.alerts import letters
from daemon.alerts.message import Message
from daemon.delivery import Outcome
from daemon.store.database import open_store, write_tx

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
ANSWERS = st.sampled_from(
    [Outcome(True), Outcome(False, "busy"), Outcome(False, "?", perhaps=True), Outcome(False, "no", True)]
)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder: Path = tmp_path_factory.mktemp("studio")
    (folder / "coilwatch.toml").write_text(
        '[alerts.targets]\nphone = "json://localhost:9"\ndesk = "json://localhost:9/desk"\n[[kiln]]\nid = "juniper"\n',
        encoding="utf-8",
    )
    made = load(folder / "coilwatch.toml")
    return made, open_store(made.folders.database)


@given(
    answers=st.lists(ANSWERS, max_size=40),
    kinds=st.lists(st.tuples(st.integers(0, 2), st.sampled_from(["raised", "worsened", "repeated"])), max_size=8),
    gaps=st.lists(st.integers(1, 1500), min_size=1, max_size=10),
)
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_the_targets_answer_each_message_arrives_in_its_order_or_a_newer_one_in_its_stead(
    studio: Any, answers: list[Outcome], kinds: list[tuple[int, str]], gaps: list[int]
) -> None:
    made, db = studio
    for table in ("outbox", "alert_targets", "alerts"):
        db.execute(f"delete from {table}")
    left, arrived = list(answers), []

    def send(url: str, title: str, body: str, *_: Any) -> Outcome:
        outcome = left.pop() if left else Outcome(True)
        if outcome.ok:
            arrived.append((url, title))
        return outcome

    now = START
    for number, (incident, kind) in enumerate(kinds):
        with write_tx(db):
            letters.put(
                db, incident=f"JUN-{incident}", kiln="juniper", kind=kind, number=number, severity="urgent",
                message=Message(f"{incident} {number:02d}", "x"), targets=["phone", "desk"], now=now,
            )  # fmt: skip
        outbox.deliver_due(db, made, now, send=send)
        now += timedelta(seconds=gaps[number % len(gaps)])
    for _ in range(45):
        outbox.deliver_due(db, made, now, send=send)
        now += timedelta(hours=1, minutes=30)
    rows = list(db.query("select * from outbox where incident like 'JUN%'"))
    assert {row["ended"] for row in rows} <= {"sent", "superseded"}
    for url in {url for url, _ in arrived}:
        for incident in range(3):
            mine = [title for place, title in arrived if place == url and title.startswith(f"{incident} ")]
            assert mine == sorted(mine)
            owed = [f"{incident} {n:02d}" for n, (i, _) in enumerate(kinds) if i == incident]
            assert not owed or mine[-1] == owed[-1]


@given(st.integers(1, 200), st.text(max_size=20))
def test_waits_double_up_to_the_longest_and_stay_within_a_fifth_of_it(tries: int, key: str) -> None:
    alerts = AlertSettings()
    wait = letters.wait_after(tries, key, alerts).total_seconds()
    plain = min(15.0 * 2 ** (tries - 1), 3600.0)
    assert 0.8 * plain <= wait <= 1.2 * plain
    assert wait == letters.wait_after(tries, key, alerts).total_seconds()


def test_different_messages_do_not_all_come_back_at_the_same_moment() -> None:
    waits = {letters.wait_after(5, f"JUN-{n}", AlertSettings()) for n in range(50)}
    assert len(waits) > 40


def test_an_unexpected_error_in_a_plug_in_is_a_failed_try(monkeypatch: pytest.MonkeyPatch) -> None:
    from daemon import delivery

    def explode() -> Any:
        raise RuntimeError("json://secret-secret")

    monkeypatch.setattr(delivery, "_box", explode)
    outcome = delivery.send("json://secret-secret", "t", "b", "warning")
    assert outcome.reason == "sending failed unexpectedly (RuntimeError)"

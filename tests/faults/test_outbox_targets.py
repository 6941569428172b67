"""The outbox against targets that fail: half the time, for a day, by hanging, with 429, with a wrong login.

Time is moved by the ``now`` handed in; the servers, the database and the sends are real.
"""

import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from config.settings import Settings, load
from daemon import alerts, clock, outbox
from daemon.alerts import letters
from daemon.alerts.message import Message
from daemon.store.database import open_store, write_tx

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
Studio = Callable[..., tuple[Settings, Database]]


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    def make(*targets: str, more: str = "") -> tuple[Settings, Database]:
        for name in ("COILWATCH_SETTINGS", "HTTP_PROXY", "http_proxy"):
            monkeypatch.delenv(name, raising=False)
        listed = "\n".join(f'{label} = "{url}"' for label, url in (t.split(" ") for t in targets))
        (tmp_path / "coilwatch.toml").write_text(
            f'[studio]\nname = "Tidewrack Clay Studio"\ntime_zone = "Europe/Dublin"\n[alerts]\n{more}\n'
            f'[alerts.targets]\n{listed}\n[[kiln]]\nid = "juniper"\nname = "Juniper"\n',
            encoding="utf-8",
        )
        settings = load(tmp_path / "coilwatch.toml")
        return settings, open_store(settings.folders.database)

    return make


def owe(
    db: Database, settings: Settings, n: int, now: datetime, kind: str = "raised", severity: Any = "urgent"
) -> None:
    with write_tx(db):
        for i in range(n):
            letters.put(
                db,
                incident=f"JUN-{i:04d}",
                kiln="juniper",
                kind=kind,
                number=kind,
                severity=severity,
                message=Message(f"Juniper {i}", f"What changed. Incident JUN-{i:04d}."),
                targets=settings.alerts.first_told,
                now=now,
            )


def ends(db: Database) -> dict[str, int]:
    return {r["ended"] or "owed": r["n"] for r in db.query("select ended, count(*) n from outbox group by 1")}


def test_a_target_that_fails_half_the_time_gets_everything_once(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 500 if n % 2 else 200
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 20, START)
    now, rounds = START, 0
    while "owed" in ends(db) and rounds < 200:
        outbox.deliver_due(db, settings, now)
        now += timedelta(seconds=20)
        rounds += 1
    assert ends(db) == {"sent": 20}
    assert len(sink.got) == 40
    taken = [body["title"] for n, body in enumerate(sink.bodies(), 1) if n % 2 == 0]
    assert sorted(taken) == sorted(f"Juniper {i}" for i in range(20))


def test_a_target_down_for_a_day_is_tried_less_and_less_and_then_gets_what_still_holds(
    studio: Studio, sink: Any
) -> None:
    sink.answer = lambda n: 503
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 3, START)
    now = START
    while now < START + 24 * HOUR:
        outbox.deliver_due(db, settings, now)
        now += timedelta(minutes=1)
    tries = len(sink.got)
    assert 24 <= tries <= 45  # at most about one an hour once the wait has grown: not one every minute
    owe(db, settings, 1, now, kind="cleared")  # one of the three is over meanwhile: never told, nothing to close
    sink.answer = lambda n: 200
    for _ in range(3):
        now += 2 * HOUR
        outbox.deliver_due(db, settings, now)
    assert ends(db) == {"sent": 2, "withdrawn": 2}
    bodies = sink.bodies()[tries:]
    assert sorted(body["title"] for body in bodies) == ["Juniper 1", "Juniper 2"]
    assert all("Written 2 Mar 2026, 12:00." in body["message"] for body in bodies)
    assert all(len(body["message"]) < 600 for body in bodies)


def test_a_target_that_hangs_holds_up_neither_the_other_target_nor_the_end(studio: Studio, sink: Any) -> None:
    hanging = threading.Event()
    settings, db = studio(
        f"slow json://localhost:{sink.port}/slow",
        f"phone json://localhost:{sink.port}/phone",
        more="send_limit_s = 1.0",
    )

    def answer(n: int) -> int:
        if sink.got[n - 1][0].endswith("/slow"):
            hanging.wait(20)
        return 200

    sink.answer = answer
    owe(db, settings, 3, START)
    began = time.monotonic()
    assert outbox.deliver_due(db, settings, START) == 3
    assert time.monotonic() - began < 4.0
    state = {row["label"]: row for row in outbox.summary(db)["targets"]}
    assert state["slow"]["last_error"] == "no answer within 1 s"
    assert state["phone"]["failures"] == 0
    outbox.deliver_due(db, settings, START + HOUR)  # the send under way still hangs: no second one is piled on it
    assert sum(place.endswith("/slow") for place, _, _ in sink.got) == 1
    hanging.set()


def test_a_stop_ends_the_round_at_once_and_the_message_is_sent_at_the_next_start(studio: Studio, sink: Any) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 1, START)
    stop, sent = threading.Event(), []

    def slow(*args: Any) -> Any:
        stop.set()
        time.sleep(1.5)
        return outbox.Outcome(ok=True)

    began = time.monotonic()
    assert outbox.deliver_due(db, settings, START, stop=stop, send=slow) == 0
    assert time.monotonic() - began < 0.5
    assert outbox.deliver_due(db, settings, START, send=lambda *a: sent.append(a) or outbox.Outcome(ok=True)) == 1
    assert len(sent) == 1


def test_too_many_requests_slow_the_target_down(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 429 if n <= 3 else 200
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 5, START)
    for second in range(0, 600, 5):
        outbox.deliver_due(db, settings, START + timedelta(seconds=second))
    assert ends(db) == {"sent": 5}
    assert len(sink.got) == 8


def test_a_wrong_login_is_told_through_the_other_target_and_closed_when_mended(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 401 if "/phone" in sink.got[n - 1][0] and not mended else 200
    mended: list[bool] = []
    settings, db = studio(f"phone json://localhost:{sink.port}/phone", f"desk json://localhost:{sink.port}/desk")
    owe(db, settings, 1, START)
    outbox.deliver_due(db, settings, START)
    outbox.deliver_due(db, settings, START + timedelta(seconds=1))
    (trouble,) = alerts.summary(db)
    assert trouble["cause"] == "target:phone"
    at_desk = [b["message"] for (place, _, _), b in zip(sink.got, sink.bodies(), strict=True) if "/desk" in place]
    assert any("Messages to phone have not got through" in text and "refused the login" in text for text in at_desk)
    assert not any("/phone" in text or "localhost" in text for text in at_desk)
    mended.append(True)
    outbox.deliver_due(db, settings, START + 2 * HOUR)
    outbox.deliver_due(db, settings, START + 2 * HOUR)
    assert alerts.summary(db) == []
    assert sink.bodies()[-1]["title"] == "Coilwatch: all right again"


def test_a_target_that_fails_for_hours_is_told_through_the_other_and_not_before(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 503 if "/phone" in sink.got[n - 1][0] else 200
    settings, db = studio(f"phone json://localhost:{sink.port}/phone", f"desk json://localhost:{sink.port}/desk")
    owe(db, settings, 1, START)
    told_at = []
    for hours in range(12):
        outbox.deliver_due(db, settings, START + hours * HOUR)
        told_at += [hours] if alerts.summary(db) and not told_at else []
    assert told_at in ([6], [7])
    at_desk = [b["title"] for (place, _, _), b in zip(sink.got, sink.bodies(), strict=True) if "/desk" in place]
    assert at_desk == ["Juniper 0", "Coilwatch: needs a look at the computer"]


def test_a_target_taken_out_of_the_settings_is_no_trouble_any_more(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 401
    settings, db = studio(f"phone json://localhost:{sink.port}/phone")
    owe(db, settings, 1, START)
    outbox.deliver_due(db, settings, START)
    assert [alert["cause"] for alert in alerts.summary(db)] == ["target:phone"]
    settings, _ = studio(f"desk json://localhost:{sink.port}/desk")
    outbox.deliver_due(db, settings, START + HOUR)
    assert alerts.summary(db) == []
    assert outbox.summary(db)["owed"] == 1
    outbox.deliver_due(db, settings, START + timedelta(days=8))
    assert (outbox.summary(db)["owed"], outbox.summary(db)["given_up"]) == (0, 1)


def test_a_message_a_target_refuses_does_not_hold_up_the_others(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 400 if b"Juniper 0" in sink.got[n - 1][2] else 200
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 4, START)
    for minute in range(60):
        outbox.deliver_due(db, settings, START + timedelta(minutes=minute))
    assert ends(db) == {"sent": 3, "owed": 1}


def test_what_cannot_be_sent_is_given_up_after_the_setting_and_shown(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 500
    settings, db = studio(f"phone json://localhost:{sink.port}", more="give_up_days = 2")
    owe(db, settings, 1, START)
    for hours in range(0, 60, 6):
        outbox.deliver_due(db, settings, START + hours * HOUR)
    shown = outbox.summary(db)
    assert (shown["owed"], shown["given_up"]) == (0, 1)
    assert shown["undelivered"][0]["last_error"] == "the service could not take it (code 500)"
    assert "json://" not in str(shown)


def test_a_message_written_before_the_computer_was_off_for_weeks_is_still_sent(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 503 if n == 1 else 200
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 1, START)
    outbox.deliver_due(db, settings, START)
    assert outbox.deliver_due(db, settings, START + timedelta(days=30)) == 1
    assert "Written 2 Mar 2026, 12:00." in sink.bodies()[-1]["message"]


def test_a_clock_set_back_by_a_year_does_not_hold_messages_for_a_year(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 500 if n == 1 else 200
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 1, START + timedelta(days=365))
    outbox.deliver_due(db, settings, START + timedelta(days=365))
    assert outbox.deliver_due(db, settings, START) == 1


def test_quiet_hours_hold_a_warning_until_morning_and_let_the_urgent_one_through(studio: Studio, sink: Any) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}", more='quiet_from = "22:00"\nquiet_to = "07:00"')
    night = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    owe(db, settings, 1, night, severity="warning")
    with write_tx(db):
        letters.put(
            db, incident="JUN-HOT1", kiln="juniper", kind="raised", number=1, severity="urgent",
            message=Message("Juniper: TOO HOT", "x"), targets=["phone"], now=night,
        )  # fmt: skip
        letters.put(
            db, incident="JUN-HOT1", kiln="juniper", kind="cleared", number=2, severity="urgent",
            message=Message("Juniper, over (TOO HOT)", "x"), targets=["phone"], now=night,
        )  # fmt: skip
    outbox.deliver_due(db, settings, night)
    assert [body["title"] for body in sink.bodies()] == ["Juniper: TOO HOT"]
    outbox.deliver_due(db, settings, night + 7.6 * HOUR)
    assert sorted(body["title"] for body in sink.bodies()[1:]) == ["Juniper 0", "Juniper, over (TOO HOT)"]


def test_a_warning_raised_and_over_within_the_quiet_hours_says_nothing_in_the_morning(
    studio: Studio, sink: Any
) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}", more='quiet_from = "22:00"\nquiet_to = "07:00"')
    night = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    owe(db, settings, 1, night, severity="warning")
    outbox.deliver_due(db, settings, night)
    owe(db, settings, 1, night + HOUR, kind="cleared", severity="warning")
    outbox.deliver_due(db, settings, night + 8 * HOUR)
    assert sink.got == []
    assert ends(db) == {"withdrawn": 2}


def test_a_warning_held_at_night_does_not_hold_back_its_turn_for_the_worse(studio: Studio, sink: Any) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}", more='quiet_from = "22:00"\nquiet_to = "07:00"')
    night = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    owe(db, settings, 1, night, severity="warning")
    owe(db, settings, 1, night + HOUR, kind="worsened", severity="urgent")
    outbox.deliver_due(db, settings, night + HOUR)
    assert len(sink.got) == 1
    outbox.deliver_due(db, settings, night + 9 * HOUR)
    assert len(sink.got) == 1
    assert ends(db) == {"sent": 1, "superseded": 1}


def test_the_picture_follows_its_text_and_is_left_out_if_none_is_drawn(
    studio: Studio, sink: Any, tmp_path: Path
) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}")
    with write_tx(db):
        letters.put(
            db, incident="JUN-7K2M", kiln="juniper", kind="raised", number=1, severity="urgent",
            message=Message("Juniper: a circuit is dead", "x"), targets=["phone"], now=START, picture=True,
        )  # fmt: skip
    assert outbox.deliver_due(db, settings, START) == 1
    drawn = settings.folders.reports / "juniper.png"
    drawn.parent.mkdir(parents=True)
    drawn.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(32))
    assert outbox.deliver_due(db, settings, START + timedelta(minutes=1)) == 1
    text, picture = sink.bodies()
    assert "attachments" not in text or not text["attachments"]
    assert picture["attachments"]
    owe(db, settings, 1, START)
    with write_tx(db):
        db.execute("update outbox set ended = null, ended_at = null where part = 'picture'")
    drawn.unlink()
    outbox.deliver_due(db, settings, START + HOUR)
    assert ends(db) == {"sent": 2, "given up": 1}


def test_the_same_message_is_never_owed_twice(studio: Studio, sink: Any) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 3, START)
    owe(db, settings, 3, START + HOUR)
    assert outbox.deliver_due(db, settings, START + HOUR) == 3
    assert outbox.next_due(db, START) is None


def test_messages_written_while_others_are_sent_neither_wait_long_nor_get_lost(studio: Studio, sink: Any) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}")
    done, faults = threading.Event(), []

    def send_all() -> None:
        own = open_store(settings.folders.database)
        try:
            while not done.is_set() or "owed" in ends(own):
                outbox.deliver_due(own, settings, START)
        except Exception as fault:  # noqa: BLE001 - told below
            faults.append(fault)
        finally:
            own.close()

    sender = threading.Thread(target=send_all)
    sender.start()
    for n in range(30):
        with write_tx(db):
            alerts.trouble(db, f"trouble {n}", f"Trouble {n}.", "urgent", settings, START)
    done.set()
    sender.join(30)
    assert faults == []
    assert ends(db) == {"sent": 30}
    assert len(sink.got) == 30


def test_next_due_names_the_end_of_the_wait(studio: Studio, sink: Any) -> None:
    sink.answer = lambda n: 500
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 1, START)
    assert outbox.next_due(db, START) == START
    outbox.deliver_due(db, settings, START)
    due = outbox.next_due(db, START)
    assert due is not None
    assert timedelta(seconds=10) < due - START < timedelta(seconds=25)


@pytest.mark.parametrize("point", ["before the send", "between send and record", "after the record"])
def test_ended_at_any_point_of_a_send_the_next_start_delivers_it(studio: Studio, sink: Any, point: str) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}")
    owe(db, settings, 1, START)

    class PowerCut(BaseException):
        pass

    def cut(*_: Any, **__: Any) -> Any:
        raise PowerCut

    with pytest.MonkeyPatch.context() as patch:
        if point == "before the send":
            patch.setattr(outbox, "Sending", cut)
        elif point == "between send and record":
            patch.setattr(letters, "sent", cut)
        else:
            patch.setattr(outbox.log, "info", cut)
        with pytest.raises(PowerCut):
            outbox.deliver_due(db, settings, START)
    outbox.deliver_due(db, settings, START + timedelta(seconds=1))
    assert ends(db) == {"sent": 1}
    assert len(sink.got) == (2 if point == "between send and record" else 1)


@pytest.mark.slow
def test_killed_again_and_again_in_mid_send_nothing_is_lost_and_each_kill_doubles_one_message_at_most(
    studio: Studio, sink: Any
) -> None:
    settings, db = studio(f"phone json://localhost:{sink.port}", more="first_wait_s = 0.01\nlongest_wait_s = 0.05")
    sink.answer = lambda n: 500 if n % 2 else 200
    sink.delay_s = 0.01
    owe(db, settings, 24, START)
    script = (
        "import sys, time, datetime as dt; from pathlib import Path; from config.settings import load; "
        "from daemon import delivery, outbox; delivery._load_library(); from daemon.store.database import open_store\n"
        "s = load(Path(sys.argv[1])); db = open_store(s.folders.database); print('up', flush=True)\n"
        "while True:\n    outbox.deliver_due(db, s, dt.datetime.now(dt.UTC)); time.sleep(0.01)\n"
    )
    with write_tx(db):  # as if just written, so that nothing is given up as too old
        db.execute("update outbox set created_at = ?", [clock.stamp(clock.now())])
    chance, kills, began = random.Random(7), 0, time.monotonic()
    while "owed" in ends(db) and time.monotonic() - began < 240:
        with subprocess.Popen([sys.executable, "-c", script, str(settings.file)], stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(0.2 + chance.random() * 0.6)
            child.kill()
        kills += 1
    assert ends(db) == {"sent": 24}
    taken = [body["title"] for n, body in enumerate(sink.bodies(), 1) if n % 2 == 0]
    assert set(taken) == {f"Juniper {i}" for i in range(24)}
    assert len(taken) - 24 <= kills
    assert kills >= 2
    assert [row[0] for row in db.execute("pragma integrity_check").fetchall()] == ["ok"]

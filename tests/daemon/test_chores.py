"""The service's regular chores."""

import http.server
import threading
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from config.settings import load
from daemon import alerts, chores, clock
from daemon.store import files, notes
from daemon.store.database import open_store, write_tx
from daemon.store.files import SeenFile

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def make(tmp_path):
    opened = []

    def studio(extra: str = ""):
        (tmp_path / "coilwatch.toml").write_text(f"[service]\n{extra}\n")
        settings = load(tmp_path / "coilwatch.toml")
        opened.append(open_store(settings.folders.database))
        return opened[-1], settings

    yield studio
    for db in opened:
        db.close()


def troubles(db):
    return [(each["cause"], each["state"]) for each in alerts.summary(db)]


def test_a_disk_nearly_full_is_told_and_taken_back(make):
    db, settings = make("disk_free_mb = 1e15")
    chores.check_disk(db, settings)
    assert troubles(db) == [("disk", "open")]
    db, settings = make("disk_free_mb = 0")
    chores.check_disk(db, settings)
    assert troubles(db) == []


@pytest.fixture
def unread(make):
    """A phone is set up and two of juniper's files were set aside at noon on 2 March."""
    db, settings = make('[alerts.targets]\nphone = "json://localhost:9/x"\n[[kiln]]\nid = "juniper"')
    with write_tx(db):
        for name in ("a.csv", "b.csv"):
            row = SeenFile(f"juniper/{name}", 1, 1, 1, 1, clock.stamp(NOON), clock.stamp(NOON), kiln="juniper")
            files.put(db, files.moved_to(row, "set aside", "no temperature in it"))
    return db, settings


def messages_after(db, settings, after):
    with time_machine.travel(NOON + after, tick=False):
        chores.check_files(db, settings)
    return [(row["kind"], row["body"]) for row in db.query("select kind, body from outbox order by id")]


def test_files_that_lie_unread_for_a_day_are_told_once_and_closed_when_gone(unread):
    assert messages_after(*unread, timedelta(hours=20)) == []
    for hours in (25, 26, 49):
        ((kind, body),) = messages_after(*unread, timedelta(hours=hours))
    assert kind == "raised"
    assert "2 file(s) of juniper could not be taken in" in body
    assert "no temperature in it" in body
    assert "coilwatch status --files" in body
    with write_tx(unread[0]):
        for row in files.in_states(unread[0], *files.ATTENTION):
            files.put(unread[0], files.moved_to(row, "taken in"))
    assert [kind for kind, _ in messages_after(*unread, timedelta(hours=50))] == ["raised", "cleared"]


def test_files_nobody_saw_to_for_a_month_are_let_go_in_silence_so_that_new_ones_are_told(unread):
    db, settings = unread
    messages_after(db, settings, timedelta(days=2))
    assert len(messages_after(db, settings, timedelta(days=31))) == 1
    assert troubles(db) == []
    later = clock.stamp(NOON + timedelta(days=40))
    with write_tx(db):
        row = SeenFile("juniper/new.csv", 1, 1, 1, 1, later, later, kiln="juniper")
        files.put(db, files.moved_to(row, "set aside", "another form"))
    kinds = [kind for kind, _ in messages_after(db, settings, timedelta(days=41, hours=1))]
    assert kinds == ["raised", "returned"]


def test_a_back_up_is_made_once_a_day(make):
    db, settings = make()
    chores.back_up(db, settings)
    (made,) = settings.folders.backups.iterdir()
    when = made.stat().st_mtime_ns
    chores.back_up(db, settings)
    assert made.stat().st_mtime_ns == when


def test_a_back_up_that_cannot_be_made_is_told(make):
    db, settings = make()
    settings.folders.backups.write_text("a file in its place")
    chores.back_up(db, settings)
    assert troubles(db) == [("back-up", "open")]
    settings.folders.backups.unlink()
    chores.back_up(db, settings)
    assert troubles(db) == []


@pytest.fixture
def monitor(monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1,localhost")

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.server.asked.append(self.path)
            self.send_response(self.server.status)
            self.end_headers()

        def log_message(self, *args):
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Answer)
    server.asked, server.status = [], 200
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join(2)


def test_the_heart_beats_only_while_the_folder_is_looked_through(make, monitor):
    db, settings = make(f'heartbeat_url = "http://127.0.0.1:{monitor.server_port}/hush-hush"')
    assert not chores.beat(db, settings)
    assert monitor.asked == []
    notes.put(db, "looked", "0")
    assert chores.beat(db, settings)
    assert monitor.asked == ["/hush-hush"]
    db.execute("update notes set at = '2020-01-01T00:00:00.000000Z' where key = 'looked'")
    assert not chores.beat(db, settings)


def test_a_heartbeat_that_is_not_answered_is_noted_without_its_address(make, monitor, caplog):
    monitor.status = 500
    db, settings = make(f'heartbeat_url = "http://127.0.0.1:{monitor.server_port}/hush-hush"')
    notes.put(db, "looked", "0")
    assert not chores.beat(db, settings)
    assert notes.get(db, "heartbeat").startswith("not answered")
    assert "hush" not in caplog.text + notes.get(db, "heartbeat")


def test_only_the_web_is_asked_for_a_heartbeat():
    import urllib.error

    with pytest.raises(urllib.error.URLError):
        chores._opener().open("file:///etc/hostname", timeout=1)

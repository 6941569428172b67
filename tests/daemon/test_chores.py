"""The service's regular chores."""

import http.server
import threading

import pytest

from config.settings import load
from daemon import alerts, chores
from daemon.store import notes
from daemon.store.database import open_store


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

"""Back-ups of the database and how they are put back."""

import sqlite3
import subprocess
import sys
from datetime import datetime, timedelta

import pytest

from daemon import backup
from daemon.store import notes
from daemon.store.database import StoreError, damage, open_store

DAY = datetime(2026, 3, 2, 5)  # noqa: DTZ001 - the studio's own day


def test_a_back_up_is_a_whole_database_of_its_own_made_while_it_is_in_use(tmp_path):
    db = open_store(tmp_path / "coilwatch.db")
    notes.put(db, "what", "before")
    made = backup.back_up(tmp_path / "coilwatch.db", tmp_path / "backups", DAY, keep=3)
    notes.put(db, "what", "after")
    copy = open_store(made)
    assert notes.get(copy, "what") == "before"
    assert damage(copy) is None
    copy.close()
    db.close()


def test_only_the_newest_are_kept_and_one_a_day_is_enough(tmp_path):
    open_store(tmp_path / "coilwatch.db").close()
    for days in range(5):
        assert backup.is_due(tmp_path / "backups", DAY + timedelta(days=days))
        backup.back_up(tmp_path / "coilwatch.db", tmp_path / "backups", DAY + timedelta(days=days), keep=3)
        assert not backup.is_due(tmp_path / "backups", DAY + timedelta(days=days))
    assert [file.name for file in backup.backups(tmp_path / "backups")] == [
        "coilwatch-2026-03-06.db",
        "coilwatch-2026-03-05.db",
        "coilwatch-2026-03-04.db",
    ]


def test_back_ups_made_while_the_clock_was_years_ahead_do_not_take_the_places_of_todays(tmp_path):
    open_store(tmp_path / "coilwatch.db").close()
    for days in (700, 701, 702, 0, 1):
        backup.back_up(tmp_path / "coilwatch.db", tmp_path / "backups", DAY + timedelta(days=days), keep=3)
    kept = [file.name for file in backup.backups(tmp_path / "backups")]
    assert kept[-2:] == ["coilwatch-2026-03-03.db", "coilwatch-2026-03-02.db"]
    assert len(kept) == 3


def test_a_restored_database_is_as_it_was_and_the_one_before_is_kept(tmp_path):
    place = tmp_path / "coilwatch.db"
    db = open_store(place)
    notes.put(db, "what", "good")
    made = backup.back_up(place, tmp_path / "backups", DAY, keep=3)
    notes.put(db, "what", "bad")
    db.close()
    kept = backup.restore(place, made, DAY)
    restored, before = open_store(place), open_store(kept)
    assert (notes.get(restored, "what"), notes.get(before, "what")) == ("good", "bad")
    restored.close()
    before.close()


def test_a_damaged_back_up_is_refused_and_changes_nothing(tmp_path):
    place = tmp_path / "coilwatch.db"
    open_store(place).close()
    bad = tmp_path / "coilwatch-2026-03-02.db"
    bad.write_bytes(b"no database at all" * 400)
    with pytest.raises(StoreError, match="Choose another"):
        backup.restore(place, bad, DAY)
    assert damage(open_store(place)) is None


def test_a_damaged_database_makes_no_back_up_over_the_good_ones(tmp_path):
    place = tmp_path / "coilwatch.db"
    db = open_store(place)
    db.execute("create table filler (text text)")
    db.executescript("insert into filler select hex(randomblob(400)) from (select 1 from sqlite_master, sqlite_master)")
    db.close()
    data = bytearray(place.read_bytes())
    data[4096 * 2 : 4096 * 6] = b"\xa5" * 4096 * 4
    place.write_bytes(data)
    with pytest.raises((StoreError, sqlite3.DatabaseError)):
        backup.back_up(place, tmp_path / "backups", DAY, keep=3)
    assert backup.backups(tmp_path / "backups") == []


WRITE_AND_DIE = """
import os, sys
from pathlib import Path
from daemon.store import notes
from daemon.store.database import open_store
notes.put(open_store(Path(sys.argv[1])), "what", "bad")
os._exit(9)
"""
RESTORE_AND_DIE = """
import os, sys
from datetime import datetime
from pathlib import Path
from daemon import backup
left, rename = int(sys.argv[3]), Path.replace
def replace(self, target):
    global left
    if left == 0:
        os._exit(9)
    left -= 1
    return rename(self, target)
Path.replace = replace
backup.restore(Path(sys.argv[1]), Path(sys.argv[2]), datetime(2026, 3, 2, 5))
"""


@pytest.mark.parametrize("renames", range(6))
def test_a_restore_killed_between_any_two_of_its_renames_is_finished_at_the_next_opening(tmp_path, renames, caplog):
    place = tmp_path / "coilwatch.db"
    db = open_store(place)
    notes.put(db, "what", "good")
    made = backup.back_up(place, tmp_path / "backups", DAY, keep=3)
    db.close()
    killed = [sys.executable, "-P", "-c", WRITE_AND_DIE, str(place)]
    assert subprocess.run(killed, check=False, timeout=60).returncode == 9, "its last words are in the log beside it"
    assert place.with_name("coilwatch.db-wal").exists()
    killed = [sys.executable, "-P", "-c", RESTORE_AND_DIE, str(place), str(made), str(renames)]
    ended = subprocess.run(killed, check=False, timeout=60).returncode
    decided, whole = renames > 0, ended == 0
    assert whole == (renames == 5), "there are five renames"
    after = open_store(place)
    assert notes.get(after, "what") == ("good" if decided else "bad")
    after.close()
    kept = list(tmp_path.glob("coilwatch-before-restore-*.db"))
    assert len(kept) == decided, "the database before it is never lost"
    for file in kept:
        before = open_store(file)
        assert notes.get(before, "what") == "bad"
        before.close()
    assert ("broken off was finished" in caplog.text) == (decided and not whole)
    assert list(tmp_path.glob("*-restoring-*")) == []


def test_a_restore_that_cannot_put_the_database_aside_changes_nothing(tmp_path, monkeypatch):
    place = tmp_path / "coilwatch.db"
    db = open_store(place)
    made = backup.back_up(place, tmp_path / "backups", DAY, keep=3)
    notes.put(db, "what", "now")
    db.close()
    rename = type(place).replace

    def held(self, target):
        if self == place:
            raise PermissionError(13, "in use")
        return rename(self, target)

    monkeypatch.setattr(type(place), "replace", held)
    with pytest.raises(StoreError, match="Close what has it open"):
        backup.restore(place, made, DAY)
    monkeypatch.undo()
    assert notes.get(open_store(place), "what") == "now"

"""Back-ups of the database and how they are put back."""

import sqlite3
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

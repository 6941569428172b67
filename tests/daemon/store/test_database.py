"""Opening the database, and writing to it from several sides."""

import json
import sqlite3
import threading
import zlib
from datetime import UTC, datetime

import pytest
from pydantic import TypeAdapter
from sqlite_utils import Database

from analysis.assessment import begin
from analysis.state import KilnState
from config.kiln import Kiln
from config.logbook import LogbookEntry
from daemon import clock
from daemon.store import files, firings, kilns, logbook, notes
from daemon.store.database import NewerDatabase, StoreError, damage, open_store, write_tx
from daemon.store.files import SeenFile


@pytest.fixture
def place(tmp_path):
    return tmp_path / "data" / "coilwatch.db"


@pytest.fixture
def db(place):
    opened = open_store(place)
    yield opened
    opened.close()


def test_the_database_logs_ahead_and_every_table_of_ours_is_strict(db):
    assert db.execute("pragma journal_mode").fetchone() == ("wal",)
    assert db.execute("pragma foreign_keys").fetchone() == (1,)
    loose = db.execute(
        "select name from pragma_table_list where schema = 'main' and type = 'table' and strict = 0"
    ).fetchall()
    assert {name for (name,) in loose} <= {"_sqlite_migrations", "sqlite_schema", "sqlite_sequence"}


def test_opening_again_changes_nothing(db, place):
    notes.put(db, "a", "b")
    again = open_store(place)
    assert notes.get(again, "a") == "b"
    again.close()


def test_a_database_of_a_newer_version_is_refused_with_a_clear_word(db, place):
    db.execute("insert into _sqlite_migrations (migration_set, name, applied_at) values ('store', 'm999_later', 'x')")
    with pytest.raises(NewerDatabase, match=r"newer Coilwatch.*m999_later.*restore"):
        open_store(place)


def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(place):
    place.parent.mkdir()
    place.write_bytes(b"this is no database, whatever its name says" * 100)
    before = place.read_bytes()
    with pytest.raises(StoreError, match="restore"):
        open_store(place)
    assert place.read_bytes() == before


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match=r"folders\.data"):
        open_store(tmp_path / "file" / "coilwatch.db")


def test_a_transaction_that_fails_leaves_nothing(db):
    with pytest.raises(ValueError, match="Invalid isoformat"), write_tx(db):  # noqa: PT012 - what comes first matters
        notes.put(db, "a", "b")
        kilns.mark_stale(db, "juniper", "2026")
        clock.moment("no moment")
    assert notes.get(db, "a") is None
    assert kilns.get(db, "juniper") is None


def test_writers_wait_for_each_other(place):
    open_store(place).close()
    faults = []

    def write(number):
        db = open_store(place)
        try:
            for _ in range(25):
                with write_tx(db):
                    count = int(notes.get(db, "count") or 0)
                    notes.put(db, "count", str(count + 1))
        except sqlite3.Error as error:
            faults.append(error)
        finally:
            db.close()

    threads = [threading.Thread(target=write, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    db = open_store(place)
    assert faults == []
    assert notes.get(db, "count") == "100"
    assert damage(db) is None
    db.close()


def test_a_file_row_comes_back_as_it_was_put(db):
    row = SeenFile("juniper/a.csv", 1, 2, 3, 4, "t0", "t1", "set aside", "why", hash="h", kiln="juniper", attempts=2)
    with write_tx(db):
        files.put(db, row)
        files.put(db, row)
    assert files.all_files(db) == {"juniper/a.csv": row}
    assert files.counts(db) == {"set aside": 1}


def test_a_state_that_does_not_exist_is_refused(db):
    with pytest.raises(sqlite3.IntegrityError), write_tx(db):
        files.put(db, SeenFile("a", 1, 2, 3, 4, "t", "t", "lost"))


def test_the_same_logbook_entry_twice_is_one_and_makes_the_kiln_stale_from_its_time(db):
    entry = LogbookEntry("juniper", datetime(2026, 4, 6, tzinfo=UTC), "replaced", part="elements", note="full set")
    with write_tx(db):
        first = logbook.add(db, entry)
        kilns.set_stale(db, "juniper", None, told=True)
        second = logbook.add(db, entry)
    assert first == second
    assert [each.note for each in logbook.of_kiln(db, "juniper")] == ["full set"]
    assert kilns.behind(db) == []


def test_an_entry_taken_back_has_its_own_time_judged_again(db):
    entry = LogbookEntry("juniper", datetime(2026, 4, 6, tzinfo=UTC), "replaced", part="elements")
    with write_tx(db):
        number = logbook.add(db, entry)
        kilns.set_stale(db, "juniper", None, told=True)
        logbook.add(db, LogbookEntry("juniper", datetime(2026, 5, 1, tzinfo=UTC), "note", withdraws=number))
    assert kilns.get(db, "juniper").stale_from.startswith("2026-04-06")


def test_stale_firings_reach_back_as_far_as_the_earliest_change(db):
    with write_tx(db):
        for since in ("2026-03-02", "2026-02-01", "2026-05-01"):
            kilns.mark_stale(db, "juniper", since)
    assert kilns.get(db, "juniper").stale_from == "2026-02-01"


def test_a_database_of_the_first_version_is_packed_and_loses_nothing(place):
    from daemon.store.schema import migrations

    place.parent.mkdir(parents=True)
    first = Database(sqlite3.connect(place))
    migrations.apply(first, stop_before="m002_packed_assessments")
    said, state = json.dumps({"said": "°" * 3000}), json.dumps({"state": 1})
    sql = "insert into firings (kiln, position, started, parts, logs, assessment, state_after) values (?,?,?,?,?,?,?)"
    first.execute(sql, ["juniper", 0, "2026", "[]", "[]", said, state])
    first.execute(sql, ["juniper", 1, "2027", "[]", "[]", None, None])
    first.conn.commit()
    first.close()
    db = open_store(place)
    rows = db.execute("select position, assessment, state_after from firings order by id").fetchall()
    assert [row[0] for row in rows] == [0, 1]
    assert [zlib.decompress(part).decode() for part in rows[0][1:]] == [said, state]
    assert rows[1][1:] == (None, None)
    assert len(rows[0][1]) < len(said) / 10
    db.close()


def test_a_state_that_keeps_other_things_than_this_version_does_is_no_state(db):
    """Read as it is, what a version no longer keeps would be lost and what it keeps besides would be empty."""
    state = begin(Kiln("juniper", zones=("1",)))
    sql = "insert into firings (kiln, position, started, parts, logs, state_after) values (?, ?, '2026', '[]', '[]', ?)"
    ours = TypeAdapter(KilnState).dump_json(state)
    other = json.loads(ours)
    other["causes"]["torn"] |= {"median": 1.0}
    with write_tx(db):
        for position, kept in enumerate((ours, json.dumps(other, separators=(",", ":")).encode(), b"{")):
            db.execute(sql, ["juniper", position, zlib.compress(kept)])
    assert [firings.state_before(db, "juniper", position) for position in (0, 1, 2, 3)] == [
        (0, None),
        (1, state),
        (1, state),
        (1, state),
    ]

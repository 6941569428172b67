"""Report files: written whole, only when what they say changes, and under safe names."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.assessment import begin
from config.settings import load
from config.wording import WordingError
from daemon.report import write
from daemon.report.files import slug
from daemon.report.write import pages_of, replace_file, write_reports
from daemon.store import firings, logbook
from daemon.store.database import open_store, write_tx

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)
TOML = """
[studio]
name = "Tidewrack Clay Studio"
time_zone = "Europe/Dublin"
[[kiln]]
id = "juniper"
name = "Juniper"
zones = ["top", "middle", "bottom"]
[[kiln]]
id = "Old Thrift.2"
[alerts.targets]
phone = "ntfy://secret-topic-4711"
"""


@pytest.fixture
def studio(tmp_path: Path, thrift):
    """A settings file and a real store with a few firings (of the kiln whose pages are the quickest to draw)."""
    file = tmp_path / "coilwatch.toml"
    file.write_text(TOML, encoding="utf-8")
    settings = load(file)
    db = open_store(settings.folders.database)
    with write_tx(db):
        for fired in thrift.firings[:6]:
            started = fired.assessment.started.isoformat()
            place = firings.arrange(db, "juniper", None, fired.index, started, ((f"h{fired.index}", 0),), fired.logs)
            firings.put_assessment(db, place, fired.assessment, begin(settings.kiln("juniper")))
    yield settings, db
    db.close()


def test_a_studio_gets_a_page_and_a_sheet_for_each_kiln_an_index_and_a_picture(studio):
    settings, db = studio
    names = {path.name for path in write_reports(db, settings, None, NOW)}
    other = slug("Old Thrift.2")
    assert names == {
        "index.html",
        "juniper.html",
        "juniper-visit.html",
        "juniper.png",
        f"{other}.html",
        f"{other}-visit.html",
    }
    assert names == {path.name for path in settings.folders.reports.iterdir()}, "no half file stays behind"
    index = (settings.folders.reports / "index.html").read_text(encoding="utf-8")
    assert f'href="{other}.html"' in index


def test_nothing_is_rewritten_while_nothing_changes(studio):
    settings, db = studio
    write_reports(db, settings, None, NOW)
    before = {p: p.stat().st_mtime_ns for p in settings.folders.reports.iterdir()}
    assert write_reports(db, settings, None, NOW + timedelta(days=1)) == []
    assert before == {p: p.stat().st_mtime_ns for p in settings.folders.reports.iterdir()}


def test_a_logbook_entry_rewrites_that_kilns_page_and_no_other(studio):
    from config.logbook import LogbookEntry

    settings, db = studio
    write_reports(db, settings, None, NOW)
    with write_tx(db):
        logbook.add(db, LogbookEntry("juniper", NOW, "note", note="lid hinge loose"))
    assert [p.name for p in write_reports(db, settings, ["juniper"], NOW)] == ["juniper.html"]


def test_the_index_says_the_same_of_a_kiln_whose_page_is_not_written_anew(studio, monkeypatch):
    settings, db = studio
    monkeypatch.setattr(write, "ENOUGH_FOR_A_LINE", 4)
    write_reports(db, settings, None, NOW)
    index = (settings.folders.reports / "index.html").read_bytes()
    write_reports(db, settings, ["Old Thrift.2"], NOW + timedelta(days=1))
    assert (settings.folders.reports / "index.html").read_bytes() == index
    assert b"6 in all" in index


def test_an_entry_taken_back_leaves_the_page(studio):
    from config.logbook import LogbookEntry

    settings, db = studio
    with write_tx(db):
        wrong = logbook.add(db, LogbookEntry("juniper", NOW, "note", note="wrong kiln"))
        logbook.add(db, LogbookEntry("juniper", NOW, "note", note="", withdraws=wrong))
    write_reports(db, settings, ["juniper"], NOW)
    assert "Wrong kiln" not in pages_of(settings, settings.kiln("juniper"))[0].read_text(encoding="utf-8")


def test_the_date_of_making_stands_in_the_page_in_the_studios_time(studio):
    settings, db = studio
    write_reports(db, settings, None, NOW)
    page = pages_of(settings, settings.kiln("juniper"))[0].read_text(encoding="utf-8")
    assert "Made 26 Jul 2026, 10:00 by Coilwatch" in page
    assert write.MADE not in page


def test_no_secret_of_the_settings_reaches_a_page(studio):
    settings, db = studio
    for path in write_reports(db, settings, None, NOW):
        assert b"4711" not in path.read_bytes()


def test_the_studios_own_wording_is_used_and_its_faults_are_said(studio, tmp_path):
    settings, db = studio
    own = tmp_path / "wording"
    own.mkdir()
    (own / "cautions.toml").write_text('no_safety_device = "Kein Sicherheitsgerät."', encoding="utf-8")
    translated = replace(settings, folders=replace(settings.folders, wording=own))
    write_reports(db, translated, None, NOW)
    assert "Kein Sicherheitsgerät." in (settings.folders.reports / "index.html").read_text(encoding="utf-8")
    (own / "cautions.toml").write_text("nonsense", encoding="utf-8")
    with pytest.raises(WordingError, match=r"cautions\.toml"):
        write_reports(db, translated, None, NOW)


def test_a_file_that_is_being_read_is_waited_for(tmp_path, monkeypatch):
    place = tmp_path / "page.html"
    place.write_text("old")
    real, tries = Path.replace, []

    def busy(self, target):
        tries.append(target)
        if len(tries) < 3:
            raise PermissionError(13, "being read", str(target))
        return real(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    monkeypatch.setattr(write, "WAITS_S", (0.0, 0.0, 0.0))
    replace_file(place, b"new")
    assert place.read_bytes() == b"new"
    assert len(tries) == 3


def test_a_page_that_cannot_be_replaced_stays_as_it_was(tmp_path, monkeypatch):
    place = tmp_path / "page.html"
    place.write_text("old")

    def never(self, target):
        raise PermissionError(13, "being read", str(target))

    monkeypatch.setattr(Path, "replace", never)
    monkeypatch.setattr(write, "WAITS_S", (0.0,))
    with pytest.raises(PermissionError):
        replace_file(place, b"new")
    assert place.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


@given(st.text(min_size=1, max_size=80), st.text(min_size=1, max_size=80))
def test_any_two_kilns_have_two_safe_file_names(one: str, other: str):
    for kiln in (one, other):
        name = slug(kiln)
        assert name
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_-")
        assert name not in ("con", "nul", "index", "..")
    assert (slug(one) == slug(other)) == (one == other)


@pytest.mark.parametrize("kiln", ["juniper", "kiln-2", "k_3"])
def test_a_plain_id_is_its_own_file_name(kiln):
    assert slug(kiln) == kiln


@pytest.mark.parametrize("kiln", ["../../etc/passwd", "CON", "index", "Juniper", "a/b", "a b", "窯"])
def test_an_id_that_is_no_file_name_gets_a_safe_one(kiln):
    assert slug(kiln) != kiln
    assert "/" not in slug(kiln)

"""What becomes of files in the drop folder."""

import os
from datetime import UTC, datetime, timedelta

import pytest

from config.logbook import LogbookEntry
from daemon.store import logbook
from daemon.store.database import write_tx

from .conftest import log_text  # type: ignore[import-not-found]

DAY = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_a_log_becomes_a_judged_firing(studio):
    studio.drop("juniper/2026-03-02.csv", log_text(DAY))
    studio.work()
    assert [(firing.index, firing.logs) for firing in studio.firings()] == [(0, ("juniper/2026-03-02.csv",))]
    assert studio.firings()[0].assessment.started == DAY
    assert studio.state("juniper/2026-03-02.csv") == "taken in"


def test_a_file_is_left_alone_until_it_has_not_changed_for_the_settling_time(studio):
    studio.drop("juniper/a.csv", log_text(DAY), age_s=0)
    studio.work()
    assert studio.state("juniper/a.csv") == "settling"
    studio.pass_time(6)
    studio.drop("juniper/a.csv", log_text(DAY, peak_c=1210.0), age_s=0)
    studio.work()
    studio.pass_time(6)
    studio.work()
    assert studio.state("juniper/a.csv") == "settling"
    studio.pass_time(5)
    studio.work()
    assert studio.state("juniper/a.csv") == "taken in"


def test_logs_are_judged_in_the_order_of_their_firings_whatever_the_order_of_arrival(studio):
    for days in (14, 0, 7):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=days)))
        studio.work()
    assert [firing.logs[0] for firing in studio.firings()] == ["juniper/0.csv", "juniper/7.csv", "juniper/14.csv"]
    assert [firing.assessment.index for firing in studio.firings()] == [0, 1, 2]


def test_arrival_order_does_not_change_what_is_said(make_studio, tmp_path):
    studio = make_studio()
    for days in (0, 7, 14):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=days), climb_c_per_h=150 - days))
    studio.work()
    in_order = [firing.assessment for firing in studio.firings()]
    for row in ("firings", "parts", "files", "kilns"):
        studio.db.execute(f"delete from {row}")
    studio.restart()
    names = {days: studio.root / f"drop/juniper/{days}.csv" for days in (0, 7, 14)}
    texts = {days: file.read_bytes() for days, file in names.items()}
    for file in names.values():
        file.unlink()
    for days in (14, 0, 7):
        studio.drop(f"juniper/{days}.csv", texts[days])
        studio.work()
    assert [firing.assessment for firing in studio.firings()] == in_order


def test_the_same_content_under_two_names_is_one_firing(studio):
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    studio.drop("juniper/copy of a.csv", log_text(DAY))
    studio.work()
    assert len(studio.firings()) == 1
    assert studio.state("juniper/copy of a.csv") == "same as another"
    assert "juniper/a.csv" in studio.reason("juniper/copy of a.csv")


def test_the_same_firing_in_two_different_files_is_counted_once_and_the_longer_is_judged(studio):
    studio.drop("juniper/short.csv", log_text(DAY, upto=200))
    studio.drop("juniper/whole.csv", log_text(DAY).replace("time,", "when,"))
    studio.work()
    (firing,) = studio.firings()
    assert firing.logs == ("juniper/whole.csv", "juniper/short.csv")


def test_a_log_exported_again_with_more_rows_replaces_its_earlier_reading_and_what_followed(studio):
    studio.drop("juniper/a.csv", log_text(DAY, upto=100))
    studio.drop("juniper/b.csv", log_text(DAY + timedelta(days=5)))
    studio.work()
    first, second = studio.firings()
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.pass_time(11)
    studio.work()
    again, after = studio.firings()
    assert (again.id, after.id) == (first.id, second.id)
    assert again.assessment.measures.duration_s > 2 * first.assessment.measures.duration_s
    assert after.assessment.index == 1
    assert studio.here.judged == 4


def test_a_late_log_has_the_firings_from_the_last_kept_state_on_judged_again_and_changes_no_earlier_one(studio):
    days = [DAY + timedelta(days=5 * number) for number in range(30)]
    for number, day in enumerate(days):
        studio.drop(f"juniper/{number:02}.csv", log_text(day, step_min=15, climb_c_per_h=150.0 - number))
    studio.work()
    before = [firing.assessment for firing in studio.firings()]
    kept = [row[0] for row in studio.db.execute("select position from firings where state_after is not null")]
    assert kept == [0, 8, 16, *range(22, 30)]
    studio.here.judged = 0
    studio.drop("juniper/late.csv", log_text(days[13] + timedelta(days=2), step_min=15))
    studio.pass_time(11)
    studio.work()
    assert studio.here.judged == 31 - 9  # from the state after number 8 on
    after = [firing.assessment for firing in studio.firings()]
    assert after[:14] == before[:14]
    assert len(after) == 31
    assert after[14].index == 14


def test_a_firing_cut_over_two_files_is_one_firing(studio):
    header, *body = log_text(DAY, climb_c_per_h=150.0).splitlines()
    studio.drop("juniper/a.csv", "\n".join([header, *body[:120]]) + "\n")
    studio.drop("juniper/b.csv", "\n".join([header, *body[121:]]) + "\n")
    studio.work()
    (firing,) = studio.firings()
    assert firing.logs == ("juniper/a.csv", "juniper/b.csv")


def test_a_renamed_log_keeps_its_firing(studio):
    file = studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    before = studio.firings()[0].id
    file.rename(file.with_name("b.csv"))
    studio.work()
    (firing,) = studio.firings()
    assert (firing.id, firing.logs) == (before, ("juniper/b.csv",))
    assert (studio.state("juniper/a.csv"), studio.state("juniper/b.csv")) == ("gone", "taken in")


def test_a_log_moved_to_another_kilns_folder_moves_its_firing(studio):
    file = studio.drop("heron/a.csv", log_text(DAY))
    studio.work()
    (studio.root / "drop/juniper").mkdir()
    file.rename(studio.root / "drop/juniper/a.csv")
    studio.work()
    studio.work()
    assert (len(studio.firings("juniper")), len(studio.firings("heron"))) == (1, 0)


def test_a_deleted_log_keeps_its_firing(studio):
    studio.drop("juniper/a.csv", log_text(DAY)).unlink()
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    (studio.root / "drop/juniper/a.csv").unlink()
    studio.work()
    assert len(studio.firings()) == 1
    assert studio.state("juniper/a.csv") == "gone"


def test_an_earlier_log_can_still_be_taken_account_of_when_the_later_ones_were_deleted(studio):
    later = studio.drop("juniper/b.csv", log_text(DAY + timedelta(days=9)))
    studio.work()
    later.unlink()
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    assert [firing.logs[0] for firing in studio.firings()] == ["juniper/a.csv", "juniper/b.csv"]
    assert [firing.assessment.index for firing in studio.firings()] == [0, 1]


def test_a_touched_log_is_not_read_again(studio):
    file = studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    os.utime(file, (1.7e9, 1.7e9))
    studio.pass_time(11)
    studio.work()
    assert studio.here.read_names == ["juniper/a.csv"]
    assert studio.state("juniper/a.csv") == "taken in"


def test_a_log_replaced_by_one_of_the_same_size_and_date_is_read_again(studio):
    file = studio.drop("juniper/a.csv", log_text(DAY))
    about = file.stat()
    studio.work()
    file.write_text(log_text(DAY).replace(",80", ",79"))
    os.utime(file, ns=(about.st_atime_ns, about.st_mtime_ns))
    studio.pass_time(11)
    studio.work()
    assert studio.here.read_names.count("juniper/a.csv") == 2


RUBBISH = {
    "empty": b"",
    "binary": bytes(range(256)) * 40,
    "zip": b"PK\x03\x04" + b"\x00" * 500,
    "prose": b"Dear studio,\nplease find nothing attached.\n",
    "header only": b"time,temperature\n",
    "nuls": b"\x00" * 4096,
    "html": b"<html><body><script>alert(1)</script></body></html>",
}


@pytest.mark.parametrize("what", RUBBISH)
def test_rubbish_is_set_aside_with_the_reason_and_stops_nothing(studio, what):
    studio.drop(f"juniper/{what}.csv", RUBBISH[what])
    studio.drop("juniper/good.csv", log_text(DAY))
    studio.work()
    assert studio.state(f"juniper/{what}.csv") == "set aside"
    assert studio.reason(f"juniper/{what}.csv")
    assert len(studio.firings()) == 1


def test_a_file_set_aside_is_tried_again_when_it_changes(studio):
    studio.drop("juniper/a.csv", b"")
    studio.work()
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/a.csv") == "taken in"


def test_a_log_of_an_unknown_kiln_waits_for_the_register(make_studio):
    studio = make_studio(kilns=("juniper", "thrift"))
    studio.drop("heron/a.csv", log_text(DAY))
    studio.work()
    assert studio.state("heron/a.csv") == "no kiln"
    studio.restart(make_studio(kilns=("juniper", "heron")).settings)
    studio.work()
    assert studio.state("heron/a.csv") == "taken in"
    assert len(studio.firings("heron")) == 1


def test_a_changed_register_entry_has_its_kilns_logs_read_and_judged_again(make_studio):
    studio = make_studio()
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.drop("heron/a.csv", log_text(DAY))
    studio.work()
    changed = studio.root / "coilwatch.toml"
    changed.write_text(changed.read_text().replace('id = "heron"', 'id = "heron"\nvolts = 240'))
    from config.settings import load

    studio.here.read_names.clear()
    studio.restart(load(changed))
    studio.work()
    assert studio.here.read_names == ["heron/a.csv"]


def test_a_file_over_the_size_limit_is_set_aside_unread(make_studio):
    studio = make_studio(extra="file_limit_mb = 0.001\n")
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    assert studio.state("juniper/a.csv") == "set aside"
    assert studio.here.read_names == []


def test_what_systems_and_sync_programs_leave_behind_is_no_log(studio):
    for name in (".DS_Store", "._a.csv", "Thumbs.db", "a.csv.part", "~$a.csv", ".sync/a.csv", "@eaDir/a.csv"):
        studio.drop(f"juniper/{name}", log_text(DAY))
    studio.work()
    assert studio.firings() == []


def test_originals_are_never_changed(studio):
    files = [studio.drop(f"juniper/{name}", data) for name, data in (("a.csv", log_text(DAY)), ("b.csv", b"\x00"))]
    before = [(file.read_bytes(), file.stat().st_mtime_ns) for file in files]
    studio.work()
    assert [(file.read_bytes(), file.stat().st_mtime_ns) for file in files] == before


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be made there")
@pytest.mark.parametrize(
    "name", ["new\nline.csv", "<b>&amp;.csv", "a..%2f..csv", "=cmd().csv", "a\x1b[31m.csv", "é" * 60 + ".csv"]
)
def test_no_name_is_too_strange(studio, name):
    studio.drop(f"juniper/{name}", log_text(DAY))
    studio.work()
    assert len(studio.firings()) == 1


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be made there")
def test_a_name_that_is_no_text_is_taken_in_too(studio):
    studio.drop(os.fsdecode(b"juniper/\xff\xfe.csv"), log_text(DAY))
    studio.work()
    assert studio.firings()[0].logs == ("juniper/\\xff\\xfe.csv",)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_loop_of_links_is_named_and_harmless(studio):
    (studio.root / "drop/juniper").mkdir()
    (studio.root / "drop/juniper/up").symlink_to(studio.root / "drop")
    (studio.root / "drop/juniper/self.csv").symlink_to("self.csv")
    (studio.root / "drop/juniper/nowhere.csv").symlink_to("nowhere at all")
    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    assert len(studio.firings()) == 1
    assert studio.state("juniper/self.csv") == "set aside"


def test_a_logbook_entry_has_the_firings_from_its_time_on_judged_again(studio):
    for days in (0, 7, 14):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=days)))
    studio.work()
    with write_tx(studio.db):
        logbook.add(studio.db, LogbookEntry("juniper", DAY + timedelta(days=3), "replaced", part="elements"))
    judged = studio.here.judged
    studio.work()
    assert studio.here.judged == judged + 2


def test_a_log_still_growing_is_watched_and_judged_when_it_is_finished(studio):
    body = log_text(studio.moment - timedelta(hours=4)).splitlines(keepends=True)
    upto = 4 * 20 + 1
    studio.drop("juniper/live.csv", "".join(body[:upto]), age_s=0)
    studio.work()
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/live.csv") == "growing"
    assert studio.firings() == []
    assert [row["log"] for row in studio.db.query("select log from live_watch")] == ["juniper/live.csv"]
    studio.pass_time(180)
    studio.drop("juniper/live.csv", "".join(body[: upto + 1]), age_s=0)
    studio.work()
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/live.csv") == "growing"
    studio.pass_time(21 * 60)
    studio.work()
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/live.csv") == "taken in"
    assert len(studio.firings()) == 1


def test_a_log_without_dates_is_judged_at_once_unless_it_is_seen_growing(studio):
    lines = ["minutes,temperature", *(f"{minute},{20 + 2 * minute}" for minute in range(0, 300, 2))]
    studio.drop("juniper/a.csv", "\n".join(lines[:100]) + "\n", age_s=90)
    studio.work()
    assert studio.state("juniper/a.csv") == "taken in"
    studio.drop("juniper/a.csv", "\n".join(lines) + "\n", age_s=0)
    studio.pass_time(11)
    studio.work()
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/a.csv") == "growing"


def test_a_file_that_cannot_be_opened_is_tried_again_with_growing_waits(studio, monkeypatch):
    file = studio.drop("juniper/a.csv", log_text(DAY))
    from daemon import taking_in

    real = taking_in.read_bytes
    monkeypatch.setattr(taking_in, "read_bytes", lambda found: (_ for _ in ()).throw(taking_in.NotNow("it is in use")))
    studio.work()
    assert (studio.state("juniper/a.csv"), studio.reason("juniper/a.csv")) == ("set aside", "it is in use")
    monkeypatch.setattr(taking_in, "read_bytes", real)
    studio.work()
    assert studio.state("juniper/a.csv") == "set aside"
    studio.pass_time(11)
    studio.work()
    assert studio.state("juniper/a.csv") == "taken in"
    assert file.exists()


def test_a_log_that_keeps_growing_without_pause_is_watched_though_it_never_settles(studio):
    body = log_text(studio.moment - timedelta(hours=4)).splitlines(keepends=True)
    for second in range(40):
        studio.drop("juniper/live.csv", "".join(body[: 60 + second // 2]) + "2026-05-01T", age_s=0)
        studio.work()
        studio.intake.peek()
        studio.pass_time(1)
    assert studio.firings() == []
    assert [row["log"] for row in studio.db.query("select log from live_watch")] == ["juniper/live.csv"]
    assert studio.reason("juniper/live.csv") == "its firing is still going on"


def test_a_firing_that_cannot_be_judged_is_set_aside_and_the_others_are_judged(studio, monkeypatch):
    from daemon.child import ChildFailed

    real = studio.here.assess

    def assess(kiln, state, log, entries):
        if log.started == DAY + timedelta(days=7):
            raise ChildFailed("it makes no sense")
        return real(kiln, state, log, entries)

    monkeypatch.setattr(studio.here, "assess", assess)
    for days in (0, 7, 14):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=days)))
    studio.work()
    assert [firing.logs[0] for firing in studio.firings()] == ["juniper/0.csv", "juniper/14.csv"]
    assert studio.reason("juniper/7.csv") == "it could not be judged: it makes no sense"


def test_work_cut_short_anywhere_is_finished_after_a_restart(studio):
    for days in range(4):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=7 * days)))
    done = 0
    while len(studio.firings()) < 4:
        studio.restart()
        studio.intake.look()
        studio.intake.glance()
        for _ in range(2 + done):  # a little more each time, and killed
            studio.intake.step()
        done += 1
        assert done < 20
    assert [firing.assessment.index for firing in studio.firings()] == [0, 1, 2, 3]
    assert studio.db.execute("select count(*) from firings").fetchone() == (4,)


def test_files_that_vanish_with_their_disk_are_not_taken_for_deleted(studio):
    from daemon.folder import FolderTrouble

    studio.drop("juniper/a.csv", log_text(DAY))
    studio.work()
    (studio.root / "drop").rename(studio.root / "unmounted")
    (studio.root / "drop").mkdir()
    with pytest.raises(FolderTrouble, match="is empty and not the folder it was"):
        studio.intake.look()
    assert studio.state("juniper/a.csv") == "taken in"
    (studio.root / "drop").rmdir()
    (studio.root / "unmounted").rename(studio.root / "drop")
    studio.work()
    assert studio.here.read_names == ["juniper/a.csv"]


def test_a_new_log_does_not_wait_for_another_kilns_long_history(studio):
    for days in range(6):
        studio.drop(f"juniper/{days}.csv", log_text(DAY + timedelta(days=7 * days)))
    studio.intake.look()
    studio.intake.glance()
    while not studio.firings("juniper"):
        studio.intake.step()
    studio.drop("heron/new.csv", log_text(DAY))
    studio.intake.look()
    studio.intake.glance()
    while not studio.firings("heron"):
        studio.intake.step()
    assert len(studio.firings("juniper")) < 4
    studio.work()
    assert [firing.assessment.index for firing in studio.firings("juniper")] == list(range(6))

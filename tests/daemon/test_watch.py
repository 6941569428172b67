"""Being woken by changes in the drop folder, also after it was taken away."""

import threading

import pytest

from daemon.watch import Watch


@pytest.fixture
def wake():
    return threading.Event()


@pytest.fixture
def drop(tmp_path):
    (tmp_path / "drop/juniper").mkdir(parents=True)
    return tmp_path / "drop"


@pytest.fixture
def watch(drop, wake):
    made = Watch(drop, wake)
    made.start()
    yield made
    made.stop()


def woken_by(wake, write) -> bool:
    wake.clear()
    write()
    return wake.wait(3)


def test_a_new_file_wakes(watch, wake, drop):
    assert woken_by(wake, (drop / "juniper/a.csv").touch)


def test_a_folder_deleted_and_made_again_is_listened_to_again(watch, wake, drop):
    (drop / "juniper").rmdir()
    drop.rmdir()
    watch.check()
    drop.mkdir()
    assert watch.check()
    assert woken_by(wake, (drop / "a.csv").touch)


def test_a_folder_swapped_for_another_is_listened_to_instead(watch, wake, drop):
    drop.rename(drop.with_name("old"))
    drop.mkdir()
    assert watch.check()
    assert woken_by(wake, (drop / "a.csv").touch)


def test_a_dead_observer_is_noticed_and_replaced(watch, wake, drop):
    watch._observer.stop()
    watch._observer.join(2)
    assert watch.check()
    assert woken_by(wake, (drop / "a.csv").touch)


def test_a_linked_folder_is_listened_to_at_its_real_place(tmp_path, wake, drop):
    (tmp_path / "link").symlink_to(drop)
    watch = Watch(tmp_path / "link", wake)
    watch.start()
    assert woken_by(wake, (drop / "a.csv").touch)
    watch.stop()


def test_nothing_is_done_anew_while_all_is_well(watch):
    assert not watch.check()


def test_a_folder_that_reports_nothing_is_found_out_and_only_looked_through(drop, wake):
    watch = Watch(drop, wake)
    watch.start()
    for tick in (1e12, 2e12, 3e12):
        assert watch.listening
        watch.missed(since=tick)
    assert not watch.listening
    assert not watch.check()

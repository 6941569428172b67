"""The demo's studio is made only where nothing else is, and can be made again after a kill."""

import os
from datetime import date

import pytest

from config.settings import load
from daemon.demo.story import SAMPLES
from daemon.demo.studio_folder import FolderInUse, drop, leave_own_settings_behind, make_studio, set_phone


def test_the_studio_has_its_kilns_and_tells_only_the_demo_phone(tmp_path):
    settings_file = make_studio(tmp_path / "studio", SAMPLES)
    set_phone(tmp_path / "studio", "json://127.0.0.1:9/")
    settings = load(settings_file)
    assert [kiln.id for kiln in settings.kilns] == ["juniper", "heron", "thrift"]
    assert {label: url.get_secret_value() for label, url in settings.alerts.targets.items()} == {
        "phone": "json://127.0.0.1:9/"
    }
    assert "127.0.0.1" not in settings_file.read_text(encoding="utf-8")


def test_a_folder_with_other_things_in_it_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FolderInUse, match="not empty"):
        make_studio(tmp_path, SAMPLES)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_making_it_again_keeps_what_was_played(tmp_path):
    make_studio(tmp_path, SAMPLES)
    log = SAMPLES / "logs" / "juniper" / "juniper-2025-10-07.csv"
    assert drop(log, tmp_path, "juniper/juniper-2025-10-07.csv", date(2025, 10, 7))
    (tmp_path / "arriving").write_bytes(b"left by a kill in mid-copy")
    make_studio(tmp_path, SAMPLES)
    assert not drop(log, tmp_path, "juniper/juniper-2025-10-07.csv", date(2025, 10, 7))
    assert (tmp_path / "drop" / "juniper" / log.name).read_bytes() == log.read_bytes()


def test_a_real_studios_environment_is_left_behind(monkeypatch):
    monkeypatch.setenv("COILWATCH_ALERTS__TARGETS__OWNER", "json://a-real-phone/")
    monkeypatch.setenv("COILWATCH_SETTINGS", "real.toml")
    leave_own_settings_behind()
    assert not [name for name in os.environ if name.startswith("COILWATCH_")]

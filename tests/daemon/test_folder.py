"""What is seen in the drop folder, and whose it is."""

import os

import pytest

from config.kiln import Kiln
from daemon import folder

KILNS = (Kiln("juniper", patterns=("jun-*.csv",)), Kiln("heron"))


@pytest.mark.parametrize(
    ("key", "kiln"),
    [
        ("juniper/a.csv", "juniper"),
        ("Juniper/2026/march/a.csv", "juniper"),
        ("heron/jun-1.csv", "heron"),
        ("juniper/heron/a.csv", "heron"),
        ("JUN-1.CSV", "juniper"),
        ("other/jun-1.csv", "juniper"),
        ("a.csv", None),
        ("thrift/a.csv", None),
    ],
)
def test_a_log_belongs_to_the_kiln_of_its_nearest_folder_or_else_of_its_pattern(key, kiln):
    found = folder.kiln_of(key, KILNS)
    assert (found.id if found else None) == kiln


def test_in_a_studio_of_one_kiln_the_logs_in_the_drop_folder_itself_are_its_own():
    assert folder.kiln_of("a.csv", (Kiln("heron"),)) == Kiln("heron")
    assert folder.kiln_of("thrift/a.csv", (Kiln("heron"),)) is None


def test_a_missing_folder_is_trouble_and_no_empty_folder(tmp_path):
    with pytest.raises(folder.FolderTrouble):
        folder.look(tmp_path / "nowhere")
    (tmp_path / "file").touch()
    with pytest.raises(folder.FolderTrouble):
        folder.look(tmp_path / "file")


def test_the_services_own_folder_is_not_looked_into(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "coilwatch.db").touch()
    (tmp_path / "a.csv").touch()
    assert list(folder.look(tmp_path, [tmp_path / "data"]).files) == ["a.csv"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_linked_folder_is_looked_into_once(tmp_path):
    (tmp_path / "drop/juniper").mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere/b.csv").touch()
    (tmp_path / "drop/juniper/link").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "drop/juniper/again").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "drop/juniper/back").symlink_to(tmp_path / "drop")
    (tmp_path / "via").symlink_to(tmp_path / "drop")
    assert len(folder.look(tmp_path / "via").files) == 1


def test_a_name_is_shown_without_what_moves_a_cursor_or_turns_the_text_round():
    assert folder.shown("a\x1b[2Jb\n\u202egpj.csv") == "a\\u001b[2Jb\\u000a\\u202egpj.csv"
    assert folder.shown("Töpferei 窯.csv") == "Töpferei 窯.csv"


def test_a_name_that_is_no_text_can_be_held_and_told_from_others():
    keys = {folder.key_of([os.fsdecode(name)]) for name in (b"\xff.csv", b"\xfe.csv", b"a.csv")}
    assert len(keys) == 3
    for key in keys:
        key.encode("utf-8")

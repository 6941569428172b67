"""Copies of the logs taken in."""

from daemon import kept


def test_a_kept_content_comes_back(tmp_path):
    data = b"time,temperature\n" * 500
    name = kept.content_hash(data)
    kept.keep(tmp_path, name, data)
    assert kept.fetch(tmp_path, name) == data


def test_only_old_copies_that_nothing_refers_to_are_removed(tmp_path):
    names = [kept.content_hash(data) for data in (b"wanted", b"unwanted", b"new")]
    for name, data in zip(names, (b"wanted", b"unwanted", b"new"), strict=True):
        kept.keep(tmp_path, name, data)
    now = next(tmp_path.rglob("*.gz")).stat().st_mtime
    assert kept.tidy(tmp_path, {names[0]}, now + 60) == 0
    assert kept.tidy(tmp_path, {names[0], names[2]}, now + 90_000) == 1
    assert [kept.fetch(tmp_path, name) for name in names] == [b"wanted", None, b"new"]


def test_a_spoiled_copy_is_as_good_as_none(tmp_path):
    data = b"x" * 5000
    name = kept.content_hash(data)
    kept.keep(tmp_path, name, data)
    (copy,) = tmp_path.rglob("*.gz")
    whole = copy.read_bytes()
    for spoiled in (whole[:-9], b"", b"\x00" * 40, whole[:20] + b"\xff" + whole[21:]):
        copy.write_bytes(spoiled)
        assert kept.fetch(tmp_path, name) is None
    assert kept.fetch(tmp_path, kept.content_hash(b"never seen")) is None

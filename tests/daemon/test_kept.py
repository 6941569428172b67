"""Copies of the logs taken in."""

from daemon import kept


def test_a_kept_content_comes_back(tmp_path):
    data = b"time,temperature\n" * 500
    name = kept.content_hash(data)
    kept.keep(tmp_path, name, data)
    assert kept.fetch(tmp_path, name) == data


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

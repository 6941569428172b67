"""A full disk and a folder that is unmounted: on small file systems of our own, which takes an administrator."""

import contextlib
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((PROJECT / "sample_logs" / "logs" / "juniper").iterdir())
START = "import sys; from daemon.main import main; sys.exit(main())"


def mount(place: Path, size: str) -> bool:
    place.mkdir(parents=True, exist_ok=True)
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(place)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def unmount(place: Path) -> None:
    subprocess.run(["umount", "-l", str(place)], capture_output=True, check=False)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "disk"
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("mount") is None or not mount(place, "700k"):
        pytest.skip("needs an administrator who may mount a small file system")
    yield place
    unmount(place)


def settings(root: Path, drop: Path, data: Path) -> None:
    text = f'[folders]\ndrop = "{drop}"\ndata = "{data}"\n[service]\nsettle_s = 0\nscan_s = 1\ndisk_free_mb = 0\n'
    (root / "coilwatch.toml").write_text(text + '[[kiln]]\nid = "juniper"\n[kiln.log]\ntemperature_unit = "C"\n')
    (drop / "juniper").mkdir(parents=True, exist_ok=True)


@contextlib.contextmanager
def service(root: Path) -> Iterator["subprocess.Popen[bytes]"]:
    with (root / "output.txt").open("wb") as out:
        process = subprocess.Popen([sys.executable, "-P", "-c", START, "start"], cwd=root, stdout=out, stderr=out)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def judged(data: Path) -> int | None:
    """Firings judged so far; None if the database cannot be read now."""
    import sqlite3

    if not (data / "coilwatch.db").exists():
        return None
    with (
        contextlib.suppress(sqlite3.Error),
        contextlib.closing(sqlite3.connect(data / "coilwatch.db", timeout=10)) as db,
    ):
        return int(db.execute("select count(*) from firings where assessment is not null").fetchone()[0])
    return None


def wait(what, root: Path, limit_s: float = 60) -> None:
    until = time.monotonic() + limit_s
    while not what():
        assert time.monotonic() < until, (root / "output.txt").read_text()
        time.sleep(0.1)


@pytest.mark.slow
def test_a_full_disk_stops_nothing_for_good_and_loses_nothing(tmp_path, small_disk):
    drop, data = tmp_path / "drop", small_disk / "data"
    settings(tmp_path, drop, data)
    ballast = small_disk / "ballast"
    with service(tmp_path) as process:
        # a disk that is full before this lets it begin nothing
        wait(lambda: "watching" in (tmp_path / "output.txt").read_text(), tmp_path)
        with contextlib.suppress(OSError), ballast.open("wb") as file:
            while True:
                file.write(bytes(4096))
                file.flush()
        for sample in SAMPLES[:3]:
            shutil.copy(sample, drop / "juniper")
        wait(lambda: "nothing is lost" in (tmp_path / "output.txt").read_text(), tmp_path)
        assert process.poll() is None
        unmount_free = ballast.stat().st_size
        assert unmount_free > 0
        subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)
        wait(lambda: judged(data) == 3, tmp_path)


def test_an_unmounted_drop_folder_is_told_from_an_emptied_one_and_taken_up_again(tmp_path, small_disk):
    subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)
    data = tmp_path / "data"
    settings(tmp_path, small_disk, data)
    with service(tmp_path):
        shutil.copy(SAMPLES[0], small_disk / "juniper")
        wait(lambda: judged(data) == 1, tmp_path)
        unmount(small_disk)
        wait(lambda: "is empty" in (tmp_path / "output.txt").read_text(), tmp_path)
        assert mount(small_disk, "64m")
        (small_disk / "juniper").mkdir()
        for sample in SAMPLES[:2]:
            shutil.copy(sample, small_disk / "juniper")
        wait(lambda: judged(data) == 2, tmp_path)

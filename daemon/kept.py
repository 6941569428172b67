"""Packed copies of the logs taken in, named by their content.

A firing may have to be judged again after its log has left the drop folder: a late log, a corrected register, a
new version. The copies are written before the database speaks of them and are checked when read, so a copy that a
power cut spoiled is merely absent.
"""

import contextlib
import gzip
import hashlib
import os
import zlib
from collections.abc import Container
from pathlib import Path

_DAY_S = 86400.0


def content_hash(data: bytes) -> str:
    """Return the name of a content: its SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()


def _place(kept: Path, name: str) -> Path:
    return kept / name[:2] / f"{name}.gz"


def keep(kept: Path, name: str, data: bytes) -> None:
    """Keep a copy of a content; does nothing if there is one. Raises OSError (disk full, not writable)."""
    place = _place(kept, name)
    if place.exists():
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    half = place.with_suffix(f".{os.getpid()}.half")
    try:
        half.write_bytes(gzip.compress(data, compresslevel=2, mtime=0))
        half.replace(place)
    except OSError:
        with contextlib.suppress(OSError):
            half.unlink()
        raise


def fetch(kept: Path, name: str) -> bytes | None:
    """Return a kept content, or None if there is no whole copy of it."""
    try:
        data = gzip.decompress(_place(kept, name).read_bytes())
    except (OSError, EOFError, zlib.error):
        return None
    return data if content_hash(data) == name else None


def tidy(kept: Path, wanted: Container[str], now_s: float) -> int:
    """Remove copies that nothing refers to any more and what a power cut left half-written; return how many.

    What is younger than a day is left: it may be about to be referred to.
    """
    removed = 0
    for file in kept.glob("*/*"):
        name = file.name.removesuffix(".gz")
        with contextlib.suppress(OSError):
            if name not in wanted and now_s - file.stat().st_mtime > _DAY_S:
                file.unlink()
                removed += 1
    return removed

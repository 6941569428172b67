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
from pathlib import Path


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


def drop(kept: Path, name: str) -> None:
    """Remove a copy that nothing refers to any more."""
    with contextlib.suppress(OSError):
        _place(kept, name).unlink()

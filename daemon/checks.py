"""The checks of ``coilwatch check``: each looks at one thing and says in a sentence how it is."""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import Literal

from config.settings import Settings
from daemon import backup, clock, delivery, folder
from daemon.folder import FolderTrouble
from daemon.store.database import StoreError, damage, open_store

OUR_PACKAGES = ("analysis", "config", "daemon")
_SHARES = ("nfs", "cifs", "smb", "9p", "fuse.sshfs", "afs", "davfs")


@dataclass(frozen=True, slots=True)
class Check:
    """One thing checked: ``state`` wrong means that something does not work until it is mended."""

    what: str
    state: Literal["ok", "note", "wrong"]
    said: str


def every(settings: Settings, *, send: bool = False) -> list[Check]:
    """Make all checks; with ``send`` every target gets a test message."""
    return [
        _settings(settings),
        *_drop(settings),
        *_data(settings),
        _clock(settings),
        _disk(settings),
        _installation(),
        *_targets(settings, send=send),
    ]


def _settings(settings: Settings) -> Check:
    kilns = ", ".join(kiln.id for kiln in settings.kilns)
    if not kilns:
        return Check("settings", "wrong", f"{settings.file} names no kiln: add a [[kiln]] with an id")
    return Check("settings", "ok", f"{settings.file}, kilns: {kilns}")


def _drop(settings: Settings) -> Iterator[Check]:
    drop = settings.folders.drop
    try:
        seen = folder.look(drop, [settings.folders.data])
    except FolderTrouble as trouble:
        yield Check("drop folder", "wrong", f"{trouble}; make it, mount it, or correct folders.drop")
        return
    owned = [key for key in seen.files if folder.kiln_of(key, settings.kilns) is not None]
    yield Check("drop folder", "ok", f"{drop}, {len(seen.files)} files, {len(owned)} of them of a kiln in the register")
    for key, reason in sorted(seen.closed.items())[:5]:
        yield Check("drop folder", "wrong", f"{folder.shown(key)} cannot be looked at: {reason}")
    if settings.service.watch == "auto" and (kind := _kind_of_disk(drop)).startswith(_SHARES):
        yield Check("drop folder", "note", f'it is a network share ({kind}): set service.watch = "scan"')


def _data(settings: Settings) -> Iterator[Check]:
    data = settings.folders.data
    try:
        data.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=data) as trial:
            trial.write(b"x")
    except OSError as error:
        yield Check("data folder", "wrong", f"{data} cannot be written: {error.strerror}; correct folders.data")
        return
    if (kind := _kind_of_disk(data)).startswith(_SHARES):
        yield Check("data folder", "wrong", f"{data} is on a network share ({kind}); the database needs a local disk")
    else:
        yield Check("data folder", "ok", f"{data}")
    try:
        db = open_store(settings.folders.database)
        try:
            wrong = damage(db)
        finally:
            db.close()
    except (StoreError, sqlite3.Error) as error:
        yield Check("database", "wrong", str(error))
        return
    if wrong is None:
        yield Check("database", "ok", "whole")
    else:
        yield Check("database", "wrong", f"damaged ({wrong}); `coilwatch restore` puts back a back-up")
    kept = backup.backups(settings.folders.backups)
    yield Check(
        "back-up", "ok" if kept else "note", kept[0].name if kept else "none yet; the service makes one each day"
    )


def _clock(settings: Settings) -> Check:
    now = clock.now()
    built = datetime.fromtimestamp(Path(__file__).stat().st_mtime, UTC)
    if now < built - timedelta(days=1):
        return Check("clock", "wrong", f"it says {now:%Y-%m-%d %H:%M} UTC, before this program was installed: set it")
    ahead = [
        Path(found.path).name
        for found in _newest_files(settings)
        if datetime.fromtimestamp(found.modified_ns / 1e9, UTC) > now + timedelta(hours=26)
    ]
    if ahead:
        return Check("clock", "note", f"{ahead[0]} is dated in the future: this clock or the logger's is wrong")
    return Check("clock", "ok", f"{now:%Y-%m-%d %H:%M} UTC, studio in {settings.studio.time_zone}")


def _newest_files(settings: Settings) -> list[folder.Found]:
    try:
        found = folder.look(settings.folders.drop, [settings.folders.data]).files.values()
    except FolderTrouble:
        return []
    return sorted(found, key=lambda file: file.modified_ns)[-3:]


def _disk(settings: Settings) -> Check:
    free_mb = shutil.disk_usage(settings.folders.data).free / 1e6
    state: Literal["ok", "wrong"] = "ok" if free_mb >= settings.service.disk_free_mb else "wrong"
    return Check("disk", state, f"{free_mb:.0f} MB free (service.disk_free_mb = {settings.service.disk_free_mb:g})")


def _installation() -> Check:
    """Another package may bring folders of the same names into the same environment and replace ours in silence."""
    owners = packages_distributions()
    strangers = sorted({name for package in OUR_PACKAGES for name in owners.get(package, ())} - {"coilwatch"})
    if strangers:
        return Check(
            "installation",
            "wrong",
            f"{', '.join(strangers)} brings packages of the same names as Coilwatch's; "
            "install Coilwatch in an environment of its own",
        )
    return Check("installation", "ok", "the packages analysis, config and daemon are Coilwatch's own")


def _targets(settings: Settings, *, send: bool) -> Iterator[Check]:
    labels = sorted(settings.alerts.targets)
    if not labels:
        yield Check("delivery", "note", "no targets: nobody is told. Write the file secrets/alerts__targets__phone")
    elif not send:
        yield Check("delivery", "ok", f"targets: {', '.join(labels)} (not tried; --send tries them)")
    else:
        for label, came, detail in delivery.send_test(settings):
            yield Check(f"delivery to {label}", "ok" if came else "wrong", detail)


def _kind_of_disk(place: Path) -> str:
    """Return the file system a folder is on, as far as the system tells (Linux); else an empty text."""
    try:
        mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace").splitlines()
        real = os.path.realpath(place)
    except OSError:
        return ""
    best, kind = "", ""
    for line in mounts:
        _, where, what, *_ = line.split(" ")
        where = where.replace("\\040", " ")
        if (real == where or real.startswith(where.rstrip("/") + "/")) and len(where) >= len(best):
            best, kind = where, what
    return kind

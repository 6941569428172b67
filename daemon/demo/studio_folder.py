"""The demo's studio on disk: settings, drop folder and the phone's address, made so that it can be made again."""

import os
import shutil
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from config.settings import PREFIX

MARK = "This folder was made by `coilwatch demo`: an invented studio. It may be deleted.\n"
MARK_NAME = "READ ME - invented demo studio.txt"
PHONE = "phone"

# The demo shows half a year in a minute: nobody's night is disturbed, and a log is read as soon as it lies still.
_SETTINGS = """
[alerts]
digest_day = "never"
first_wait_s = 1

[service]
settle_s = 0.1
scan_s = 1
disk_free_mb = 0
"""


class FolderInUse(Exception):  # noqa: N818 - named for what it says of the folder
    """The folder named holds something that is not a demo studio."""


def make_studio(folder: Path, samples: Path) -> Path:
    """Make the studio in ``folder``, or find it there half used, and return its settings file.

    Raises ``FolderInUse`` rather than touch a folder that holds anything the demo did not make.
    """
    mark = folder / MARK_NAME
    if folder.is_dir() and any(folder.iterdir()) and not mark.is_file():
        raise FolderInUse(f"{folder} is not empty and no demo was played there. Name a new or an empty folder.")
    folder.mkdir(parents=True, exist_ok=True)
    mark.write_text(MARK, encoding="utf-8")
    (folder / "drop").mkdir(exist_ok=True)
    settings = folder / "coilwatch.toml"
    register = (samples / "coilwatch.toml").read_text(encoding="utf-8")
    _replace_text(settings, register + _SETTINGS)
    return settings


def set_phone(folder: Path, url: str) -> None:
    """Write the phone's address where a secret belongs: into the secrets folder, not into the settings."""
    secrets = folder / "secrets"
    secrets.mkdir(exist_ok=True)
    _replace_text(secrets / f"alerts__targets__{PHONE}", url)


def drop(log: Path, folder: Path, key: str, day: date) -> bool:
    """Put a log into the drop folder in one move, so that it is never seen half written; False if it is there.

    It is dated the morning after its firing, as a copied log would be: a file that has long not changed needs no
    time to settle.
    """
    target = folder / "drop" / key
    if target.exists():
        return False
    target.parent.mkdir(parents=True, exist_ok=True)
    arriving = folder / "arriving"
    shutil.copyfile(log, arriving)
    morning = datetime.combine(day + timedelta(days=1), time(9), tzinfo=UTC).timestamp()
    os.utime(arriving, (morning, morning))
    arriving.replace(target)
    return True


def leave_own_settings_behind() -> None:
    """Forget every ``COILWATCH_`` variable: a real studio's settings (and its phones) have no place in a demo."""
    for variable in [name for name in os.environ if name.upper().startswith(PREFIX)]:
        del os.environ[variable]
    os.environ.pop("CREDENTIALS_DIRECTORY", None)


def _replace_text(path: Path, text: str) -> None:
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, encoding="utf-8", newline="\n")
    beside.replace(path)

"""What a log was read and judged with: the program's version and the kiln's entry in the register."""

import hashlib

from config.kiln import Kiln
from config.settings import Settings
from daemon.version import program_version


def of_kiln(kiln: Kiln) -> str:
    """Return a short text that changes when the kiln's register entry or the program's version does."""
    return hashlib.sha256(f"{program_version()}|{kiln!r}".encode()).hexdigest()[:16]


def of_try(kiln: Kiln | None, settings: Settings) -> str:
    """Return a text that changes when trying a file again may turn out differently."""
    limits = f"{settings.service.file_limit_mb:g} {settings.service.file_limit_s:g}"
    return f"{of_kiln(kiln) if kiln is not None else '-'} {limits}"

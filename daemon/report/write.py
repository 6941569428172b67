"""Writing the pages: each file replaced whole, only where what it says has changed."""

import contextlib
import hashlib
import os
import re
import time
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from config.kiln import Kiln
from config.settings import Settings
from config.wording import Wording, load
from daemon.report import shown
from daemon.report.files import slug
from daemon.report.gather import history_of, studio_of
from daemon.report.history import KilnHistory
from daemon.report.kiln_page import kiln_page
from daemon.report.picture import power_picture
from daemon.report.studio_page import studio_page
from daemon.report.visit_sheet import visit_sheet

# Stands for the moment of writing until it is known whether anything else changed.
MADE = "⁂made⁂"
MARK = re.compile(r'<meta name="coilwatch-content" content="([0-9a-f]{64})">')
HEAD_BYTES = 4096
ENOUGH_FOR_A_LINE = 24  # firings the studio page needs of a kiln: the newest, and its pace
WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)  # a reader on Windows holds a file for a moment


def write_reports(db: Database, settings: Settings, kiln_ids: Iterable[str] | None, now: datetime) -> list[Path]:
    """Write the pages of some kilns (None: all) and the studio page into ``data/reports``.

    Returns the files that changed. Raises OSError where the folder cannot be written, WordingError for a fault in
    the studio's own wording.
    """
    folder = settings.folders.reports
    folder.mkdir(parents=True, exist_ok=True)
    words = load(settings.folders.wording)
    wanted = None if kiln_ids is None else set(kiln_ids)
    histories: list[KilnHistory] = []
    written: list[Path] = []
    for kiln in settings.kilns:
        whole = wanted is None or kiln.id in wanted
        history = history_of(db, settings, kiln, newest=-1 if whole else ENOUGH_FOR_A_LINE)
        if whole:
            written += write_kiln(history, folder, now, words)
        histories.append(history)
    studio = studio_of(settings)
    page = studio_page(histories, studio, MADE, words)
    written += _page(folder / "index.html", page, shown.moment(now, studio.time_zone))
    return written


def write_kiln(history: KilnHistory, folder: Path, now: datetime, words: Wording) -> list[Path]:
    """Write one kiln's page, visit sheet and picture; return those that changed."""
    name = slug(history.kiln.id)
    made = shown.moment(now, history.studio.time_zone)
    written = _page(folder / f"{name}.html", kiln_page(history, MADE, words, files=name), made)
    written += _page(folder / f"{name}-visit.html", visit_sheet(history, MADE, words, files=name), made)
    picture = power_picture(history)
    if picture is not None:
        place = folder / f"{name}.png"
        if not (place.is_file() and place.read_bytes() == picture):
            replace_file(place, picture)
            written.append(place)
    return written


def pages_of(settings: Settings, kiln: Kiln) -> tuple[Path, Path]:
    """Return where a kiln's report and visit sheet are written."""
    name = slug(kiln.id)
    return settings.folders.reports / f"{name}.html", settings.folders.reports / f"{name}-visit.html"


def dated(page: str, made: str) -> str:
    """Return a page with its date of making, and the mark of what it says without that date."""
    mark = hashlib.sha256(page.encode("utf-8", "surrogatepass")).hexdigest()
    head = f'<meta charset="utf-8">\n<meta name="coilwatch-content" content="{mark}">'
    return page.replace(MADE, made).replace('<meta charset="utf-8">', head, 1)


def _page(place: Path, page: str, made: str) -> list[Path]:
    text = dated(page, made)
    new = MARK.search(text[:HEAD_BYTES])
    if new is not None and new[1] == _mark_of(place):
        return []
    replace_file(place, text.encode("utf-8", "replace"))
    return [place]


def _mark_of(place: Path) -> str | None:
    """Return what the file there says of its content, or None if there is none such."""
    try:
        with place.open("rb") as file:
            found = MARK.search(file.read(HEAD_BYTES).decode("utf-8", "replace"))
    except OSError:
        return None
    return found[1] if found else None


def replace_file(place: Path, data: bytes) -> None:
    """Replace a file whole: a reader sees the old or the new one, never half. Waits out a reader on Windows."""
    half = place.with_name(f".{place.name}.{os.getpid()}.half")
    try:
        with half.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        for wait in (*WAITS_S, None):
            try:
                half.replace(place)
            except PermissionError:
                if wait is None:
                    raise
                time.sleep(wait)
            else:
                return
    except OSError:
        with contextlib.suppress(OSError):
            half.unlink()
        raise

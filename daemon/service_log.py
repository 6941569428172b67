"""The service's log: one JSON object a line in ``data/service.log`` (rotated), one plain line on the terminal.

Secrets are taken out of every record, and no text from a log or a file name can begin a new line or move the cursor.
"""

import json
import logging
import logging.handlers
import sys
from datetime import UTC, datetime

from config.settings import Settings
from daemon import redaction
from daemon.folder import shown

_BYTES = 1_000_000
_FILES = 5
_QUIET = ("apprise", "urllib3", "requests", "watchdog", "apscheduler", "asyncio")


class _JsonLine(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        """Write a record as one JSON object."""
        entry = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "part": record.name.removeprefix("coilwatch."),
            "said": record.getMessage(),
        }
        if record.exc_text or record.exc_info:
            entry["trace"] = record.exc_text or (self.formatException(record.exc_info) if record.exc_info else "")
        return json.dumps(entry, ensure_ascii=False)


class _PlainLine(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        """Write a record as one plain line with the local time."""
        at = datetime.fromtimestamp(record.created).astimezone().strftime("%H:%M:%S")
        level = "" if record.levelno < logging.WARNING else f"{record.levelname.lower()}: "
        return f"{at} {level}{shown(record.getMessage())}"


def begin(settings: Settings, *, quiet: bool = False) -> None:
    """Set up the log file and the terminal (``quiet``: the file only), with secrets taken out of both."""
    settings.folders.data.mkdir(parents=True, exist_ok=True)
    to_file = logging.handlers.RotatingFileHandler(
        settings.folders.service_log, maxBytes=_BYTES, backupCount=_FILES, encoding="utf-8", errors="backslashreplace"
    )
    to_file.setFormatter(_JsonLine())
    to_terminal = logging.StreamHandler(sys.stderr)
    to_terminal.setFormatter(_PlainLine())
    root = logging.getLogger()
    for old in [handler for handler in root.handlers if isinstance(handler.formatter, (_JsonLine, _PlainLine))]:
        root.removeHandler(old)
        old.close()
    root.addHandler(to_file)
    if not quiet:
        root.addHandler(to_terminal)
    root.setLevel(logging.WARNING)
    logging.getLogger("coilwatch").setLevel(settings.service.log_level.upper())
    for name in _QUIET:
        logging.getLogger(name).setLevel(logging.WARNING)
    logging.raiseExceptions = False  # a full disk must not turn every log line into a traceback
    redaction.install(settings)

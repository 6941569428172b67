"""Secrets stay out of every log line, traceback and error text.

Notification URLs are secrets as a whole and in parts: a password, a token in the path, a topic that is its own
password. All parts long enough to be recognised are replaced wherever text leaves the program. The logger names of
the delivery libraries are held at warnings besides, because their debug lines show headers and whole paths.
"""

import base64
import logging
import re
import sys
import threading
import traceback
from collections.abc import Iterable
from typing import Protocol
from urllib.parse import quote, unquote

HIDDEN = "[hidden]"
NOISY = ("apprise", "urllib3", "requests", "httpx", "paho", "aiosmtpd", "markdown")
_SHORTEST = 4
_SPLIT = re.compile(r"[/?&=:@#,;|\s]+")
PUBLIC = frozenset(
    {"localhost", "true", "false", "none", "html", "text", "markdown", "https", "http", "title", "body", "warning"}
)
_OPTIONS = "priority image format verify cto rto overflow mode method emojis tz retry wait redirect attach smtp sound"
_PUBLIC_OPTIONS = frozenset(_OPTIONS.split())
_STANDARD = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime"}


class HasSecrets(Protocol):
    """Settings that can name their secrets."""

    def secrets(self) -> tuple[str, ...]:
        """Return every secret value."""
        ...


def secret_parts(secret: str) -> tuple[str, ...]:
    """Return every text that would give a secret away: itself, its pieces, and how they look when encoded.

    Public host names are no secret; a piece shorter than four characters cannot be told from ordinary text.
    """
    pieces = {secret, secret.strip()}
    scheme, mark, rest = secret.partition("://")
    body = rest if mark else scheme
    place, *options = re.split(r"[?&]", body)
    values = [value for name, _, value in (o.partition("=") for o in options) if name.lower() not in _PUBLIC_OPTIONS]
    pieces.update(values)
    for text in (place, *values):
        pieces.update(_SPLIT.split(text))
    login = place.rpartition("@")[0]
    if login:
        pieces.add(login)
        pieces.add(base64.b64encode(unquote(login).encode()).decode())
    decoded = {unquote(piece) for piece in pieces}
    encoded = {quote(piece, safe="") for piece in pieces | decoded}
    return tuple(sorted((p for p in pieces | decoded | encoded if _telling(p)), key=lambda p: (-len(p), p)))


def _telling(piece: str) -> bool:
    if len(piece) < _SHORTEST or piece.lower() in PUBLIC:
        return False
    host = re.fullmatch(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*\.[A-Za-z]{2,}|\d{1,3}(\.\d{1,3}){3}|\d{1,5}", piece)
    return host is None


class Redactor:
    """Replaces secrets in text."""

    def __init__(self, secrets: Iterable[str] = ()) -> None:
        parts = sorted({part for secret in secrets for part in secret_parts(secret)}, key=lambda p: (-len(p), p))
        self._pattern = re.compile("|".join(re.escape(part) for part in parts)) if parts else None

    def __call__(self, text: str) -> str:
        """Return the text without any secret."""
        return text if self._pattern is None else self._pattern.sub(HIDDEN, text)


class RedactionFilter(logging.Filter):
    """Cleans every record a handler is about to write: message, traceback, stack and extra fields."""

    def __init__(self, redact: Redactor) -> None:
        super().__init__()
        self.redact = redact

    def filter(self, record: logging.LogRecord) -> bool:
        """Clean the record; never drops one."""
        try:
            message = record.getMessage()
        except Exception:  # noqa: BLE001 - a record that cannot be formatted must still not leak its arguments
            message = f"a log line that could not be written out: {type(record.msg).__name__}"
        record.msg, record.args = self.redact(message), None
        if isinstance(record.exc_info, tuple) and record.exc_info[0] is not None:
            record.exc_text = record.exc_text or "".join(traceback.format_exception(*record.exc_info)).rstrip()
        if record.exc_text:
            record.exc_text = self.redact(record.exc_text)
            record.exc_info = None
        if record.stack_info:
            record.stack_info = self.redact(record.stack_info)
        for name, value in list(vars(record).items()):
            if name not in _STANDARD and isinstance(value, str | list | tuple | dict | Exception):
                cleaned = self.redact(value if isinstance(value, str) else repr(value))
                if not isinstance(value, list | tuple | dict) or cleaned != repr(value):
                    setattr(record, name, cleaned)
        return True


def install(settings: HasSecrets) -> Redactor:
    """Guard all handlers of the root logger and both hooks for uncaught exceptions. Returns the redactor."""
    redact = Redactor(settings.secrets())
    for handler in logging.getLogger().handlers:
        guard(handler, redact)
    quieten()

    def uncaught(kind: type[BaseException], error: BaseException, trace: object) -> None:  # noqa: ARG001
        sys.stderr.write(redact("".join(traceback.format_exception(error))))

    def uncaught_in_thread(args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None and not isinstance(args.exc_value, SystemExit):
            sys.stderr.write(redact("".join(traceback.format_exception(args.exc_value))))

    sys.excepthook = uncaught
    threading.excepthook = uncaught_in_thread
    return redact


def guard(handler: logging.Handler, redact: Redactor) -> logging.Handler:
    """Put the filter on a handler, in place of an earlier one; returns the handler."""
    for old in [f for f in handler.filters if isinstance(f, RedactionFilter)]:
        handler.removeFilter(old)
    handler.addFilter(RedactionFilter(redact))
    return handler


def quieten() -> None:
    """Hold the delivery libraries' loggers at warnings, whatever level the root logger has."""
    for name in NOISY:
        logger = logging.getLogger(name)
        if logger.level < logging.WARNING:
            logger.setLevel(logging.WARNING)
    delivery = logging.getLogger("apprise")  # its warnings name topics and addresses: delivery reads them itself
    delivery.propagate = False
    if not delivery.handlers:
        delivery.addHandler(logging.NullHandler())

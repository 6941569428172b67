"""Delivery: one message to one target through Apprise, with what became of it in plain words.

A new Apprise object is made for each send (an object kept waits between sends), nothing is fetched from elsewhere,
redirects are not followed, and no text that leaves this module holds the target's URL.
"""

import contextlib
import logging
import os
import queue
import re
import socket
import ssl
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.findings import Severity
from config.settings import Settings
from daemon.redaction import Redactor, quieten

if TYPE_CHECKING:
    from apprise import Apprise, NotifyType

CONNECT_S = 4.0
_loading = threading.Lock()
_STATUS = re.compile(r"(?:error|code|status)[=: ]+(\d{3})\b", re.IGNORECASE)
_TO_BE_MENDED = frozenset({401, 403, 404, 405, 410})
_IN_WORDS = {
    400: "the service refused the message",
    401: "the service refused the login",
    403: "the service does not allow this sender",
    404: "the service does not know this address",
    413: "the service says the message is too large",
    429: "the service asks to send less often",
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a send.

    ``permanent``: waiting will not help, a person must mend something. ``perhaps``: it may have arrived all the
    same (no answer in time). ``reason`` is free of secrets.
    """

    ok: bool
    reason: str = ""
    permanent: bool = False
    perhaps: bool = False


Send = Callable[[str, str, str, Severity, str, Path | None], Outcome]
"""(secret URL, title, body, severity, kind, picture) -> Outcome."""


def send(
    url: str, title: str, body: str, severity: Severity, kind: str = "raised", picture: Path | None = None
) -> Outcome:
    """Send one message to one target and wait for its answer. Never raises; blocks as long as the target does."""
    redact = Redactor([url])
    try:
        return _send(url, title, body, severity, kind, picture, redact)
    except Exception as error:  # noqa: BLE001 - whatever a plug-in does, the outbox goes on
        return Outcome(ok=False, reason=redact(f"sending failed unexpectedly ({type(error).__name__})"))


def _send(
    url: str, title: str, body: str, severity: Severity, kind: str, picture: Path | None, redact: Redactor
) -> Outcome:
    quieten()
    from apprise import NotifyFormat

    lines = _Lines()
    with lines.captured():
        box = _box()
        if not box.add(url) or len(box) == 0:
            return Outcome(ok=False, reason="the notification URL is not understood; check its form", permanent=True)
        _settle(box, url, severity, kind)
        result = box.notify(
            body=body or title,
            title=title,
            notify_type=_type(severity, kind),
            body_format=NotifyFormat.TEXT,
            attach=str(picture) if picture is not None else None,
        )
    if result:
        return Outcome(ok=True)
    text = redact(" ".join(lines.kept))
    found = _STATUS.search(text)
    if found:
        code = int(found[1])
        usual = "the service could not take it" if code >= 500 else "the service refused it"
        moved = 300 <= code < 400
        words = "the address only points to another one: set that" if moved else _IN_WORDS.get(code, usual)
        return Outcome(ok=False, reason=f"{words} (code {code})", permanent=moved or code in _TO_BE_MENDED)
    return _why_no_answer(box, redact)


@cache
def _load_library() -> None:
    """Load all plug-ins once; one of them warns of a module that later Pythons lack, which is not our concern."""
    from apprise import Apprise

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        Apprise.instantiate("json://localhost")


def _box() -> "Apprise":
    from apprise import Apprise, AppriseAsset

    with _loading:
        _load_library()
    asset = AppriseAsset(
        http_redirects=False,
        service_timeout=0,
        secure_logging=True,
        app_id="Coilwatch",
        app_desc="Coilwatch",
        app_url="",
        async_mode=False,
        pgp_autogen=False,
        pem_autogen=False,
    )
    return Apprise(asset=asset)


def _settle(box: "Apprise", url: str, severity: Severity, kind: str) -> None:
    """Set what the URL does not: short waits for an answer, no pictures fetched from elsewhere, urgent ones loud."""
    for service in box:
        options: Any = service
        if "cto=" not in url:
            options.socket_connect_timeout = CONNECT_S
        if "image=" not in url and hasattr(service, "include_image"):
            options.include_image = False
        if url.startswith("ntfy") and severity == "urgent" and kind != "cleared" and "priority=" not in url:
            options.priority = "max"
        options.request_rate_per_sec = 0


def _type(severity: Severity, kind: str) -> "NotifyType":
    from apprise import NotifyType

    if kind == "cleared":
        return NotifyType.SUCCESS
    return {"urgent": NotifyType.FAILURE, "warning": NotifyType.WARNING, "info": NotifyType.INFO}[severity]


class _Lines(logging.Handler):
    """Keeps what the library says during a send, in place of writing it to our log."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.kept: list[str] = []
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the line if it is of this thread."""
        if record.thread == self._thread:
            with contextlib.suppress(Exception):
                self.kept.append(record.getMessage())

    @contextlib.contextmanager
    def captured(self) -> Any:  # noqa: ANN401 - a context manager without a value
        """Listen to the library's logger; its lines name topics and addresses and go nowhere else."""
        logger = logging.getLogger("apprise")
        logger.addHandler(self)
        try:
            yield
        finally:
            logger.removeHandler(self)


def _why_no_answer(box: "Apprise", redact: Redactor) -> Outcome:
    """Look at the connection ourselves, for a reason a person can act on: the library only says that it failed."""
    service: Any = next(iter(box))
    host = getattr(service, "smtp_host", None) or getattr(service, "host", None)
    port = getattr(service, "port", None)
    secure = bool(getattr(service, "secure", False))
    behind_proxy = any(os.environ.get(name) for name in ("HTTPS_PROXY", "https_proxy", "HTTP_PROXY", "http_proxy"))
    if not isinstance(host, str) or not host or (behind_proxy and host not in ("localhost", "127.0.0.1")):
        return Outcome(ok=False, reason="no connection, or no answer in time", perhaps=True)
    try:
        with socket.create_connection((host, int(port or (443 if secure else 80))), timeout=CONNECT_S) as line:
            if secure and getattr(service, "verify_certificate", True):
                with ssl.create_default_context().wrap_socket(line, server_hostname=host):
                    pass
    except ssl.SSLCertVerificationError as error:
        return Outcome(ok=False, reason=redact(f"its certificate is not trusted ({error.verify_message})"))
    except ssl.SSLError:
        return Outcome(ok=False, reason="it does not speak TLS as expected")
    except socket.gaierror:
        return Outcome(ok=False, reason="its name is not found: no network, or a name mistyped")
    except ConnectionRefusedError:
        return Outcome(ok=False, reason="it refuses the connection: not running, or another port")
    except TimeoutError:
        return Outcome(ok=False, reason="no connection in time")
    except OSError as error:
        return Outcome(ok=False, reason=redact(f"no connection ({error.strerror or type(error).__name__})"))
    if getattr(service, "smtp_host", None):
        return Outcome(ok=False, reason="the mail server did not take it: check the login, the sender and the address")
    return Outcome(ok=False, reason="no answer in time, or the connection broke", perhaps=True)


class Sending:
    """One send under way in a thread of its own, which a program that must end does not wait for."""

    def __init__(
        self, work: Callable[[], Outcome], done: "queue.SimpleQueue[tuple[str, Outcome]]", target: str
    ) -> None:
        def run() -> None:
            done.put((target, work()))

        self._thread = threading.Thread(target=run, name=f"send to {target}", daemon=True)
        self._thread.start()

    def is_alive(self) -> bool:
        """Whether it has not come back yet."""
        return self._thread.is_alive()


def send_test(settings: Settings, send: Send = send) -> list[tuple[str, bool, str]]:
    """Send a test message to every target: (label, whether it went, what to do if not)."""
    answers: queue.SimpleQueue[tuple[str, Outcome]] = queue.SimpleQueue()
    studio = settings.studio.name or "your studio"
    body = f"A test from Coilwatch at {studio}. If you read this, alerts reach you here. Nothing is wrong."
    waiting: dict[str, Sending] = {}
    for label, url in settings.alerts.targets.items():
        secret = url.get_secret_value()

        def work(secret: str = secret) -> Outcome:
            return send(secret, "Coilwatch: test message", body, "info", "test", None)

        waiting[label] = Sending(work, answers, label)
    outcomes: dict[str, Outcome] = {}
    while len(outcomes) < len(waiting):
        try:
            label, outcome = answers.get(timeout=settings.alerts.send_limit_s)
        except queue.Empty:
            break
        outcomes[label] = outcome
    late = Outcome(ok=False, reason=f"no answer within {settings.alerts.send_limit_s:.0f} s")
    return [(label, (o := outcomes.get(label, late)).ok, "sent" if o.ok else o.reason) for label in waiting]

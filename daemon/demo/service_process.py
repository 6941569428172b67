"""Starting and stopping the real service beside the demo."""

import os
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import FileLock, Timeout

STOP_S = 15.0
_CODE = "import sys; from daemon.demo.child import main; sys.exit(main())"


class ServiceEnded(Exception):  # noqa: N818 - named for what it says of the service
    """The service could not start, or stopped by itself; the message says why or holds the last lines it wrote."""


class ServiceProcess:
    """``coilwatch start`` on the demo's settings, as a child process; use it in a ``with`` block.

    The child watches its standard input and stops when it closes: a killed demo leaves no service behind.
    """

    def __init__(self, settings: Path, data: Path, said: Path) -> None:
        self._settings, self._data, self._said = settings, data, said
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        """Start the service, once that of an interrupted demo has noticed its end and let go of the data folder."""
        self._data.mkdir(parents=True, exist_ok=True)
        try:
            with FileLock(self._data / "service.lock").acquire(timeout=STOP_S):
                pass
        except Timeout:
            raise ServiceEnded(f"another service is at work on {self._data}. Stop it, or use another folder.") from None
        with self._said.open("ab") as said:
            self._child = subprocess.Popen(  # noqa: S603 - our own program
                [sys.executable, "-P", "-c", _CODE, str(self._settings)],
                stdin=subprocess.PIPE,
                stdout=said,
                stderr=subprocess.STDOUT,
                cwd=self._settings.parent,
                env=_loopback_without_proxy(),
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let the service finish what it is at and stop."""
        if self._child is None:
            return
        if self._child.stdin is not None:
            self._child.stdin.close()
        try:
            self._child.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()

    def check(self) -> None:
        """Raise ``ServiceEnded`` if the service is no longer running."""
        if self._child is not None and self._child.poll() is not None:
            lines = self._said.read_text(encoding="utf-8", errors="replace").splitlines()[-8:]
            raise ServiceEnded("the service stopped by itself:\n" + "\n".join(f"  {line}" for line in lines))

    def wait_until(self, limit_s: float, what: str) -> "Patience":
        """Return a count-down that checks the service while something is waited for."""
        return Patience(self, time.monotonic() + limit_s, what)


def _loopback_without_proxy() -> dict[str, str]:
    """Return the environment, with this computer itself left out of what goes through a proxy."""
    environment = dict(os.environ)
    for name in ("NO_PROXY", "no_proxy"):
        environment[name] = ",".join(filter(None, (environment.get(name), "127.0.0.1", "localhost")))
    return environment


class Patience:
    """Waits in small steps until a deadline; complains with what was waited for."""

    def __init__(self, service: ServiceProcess, deadline: float, what: str) -> None:
        self._service, self._deadline, self._what = service, deadline, what

    def wait(self) -> None:
        """Wait a moment; raises ``TimeoutError`` past the deadline and ``ServiceEnded`` if the service is gone."""
        self._service.check()
        if time.monotonic() > self._deadline:
            raise TimeoutError(f"waited too long for {self._what}")
        time.sleep(0.03)

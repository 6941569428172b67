"""A child process that does one task at a time, with a time limit, and is gone when there has been none for a while.

What a log provokes (a hang, a crash, a run on memory) costs one process and one file; the service goes on, and an
idle service stays small.
"""

import logging
import multiprocessing
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

if sys.platform == "win32":
    from multiprocessing.connection import PipeConnection as Connection
else:
    from multiprocessing.connection import Connection

log = logging.getLogger("coilwatch.child")
IDLE_S = 60.0
_GLANCE_S = 0.25
_START_S = 120.0
Tasks = Callable[[], Mapping[str, Callable[..., object]]]


class ChildFailed(Exception):  # noqa: N818 - named for what happened
    """A task could not be done; the message is one plain sentence."""


class Stopped(Exception):  # noqa: N818 - named for what happened
    """The service is ending; the task was given up and will be done after the next start."""


class Child:
    """Does tasks in a process of its own. ``tasks`` is a module's function: it is called in the child."""

    def __init__(self, name: str, tasks: Tasks, limit_s: float, stop: threading.Event | None = None) -> None:
        self._name = name
        self._tasks = tasks
        self._limit_s = limit_s
        self._stop = stop or threading.Event()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._line: Connection | None = None
        self._last_used = time.monotonic()

    def ask(self, task: str, *details: object) -> object:
        """Do a task and return its result; raises what the task says, ``ChildFailed`` or ``Stopped``."""
        line = self._line or self._start()
        self._last_used = time.monotonic()
        try:
            line.send((task, details))
            self._wait(line, self._limit_s)
            answer = line.recv()
        except (EOFError, OSError) as error:
            self.close()
            if self._stop.is_set():
                raise Stopped from None
            raise ChildFailed("it ended the process that worked on it (too large for the memory?)") from error
        self._last_used = time.monotonic()
        if isinstance(answer, BaseException):
            raise answer
        return answer

    def _wait(self, line: Connection, limit_s: float) -> None:
        until = time.monotonic() + limit_s
        while not line.poll(_GLANCE_S):
            if self._stop.is_set():
                self.close()
                raise Stopped
            if time.monotonic() > until:
                self.close()
                raise ChildFailed(f"it took longer than {limit_s:g} s")

    def rest(self) -> None:
        """End the process if it has had nothing to do for a while."""
        if self._process is not None and time.monotonic() - self._last_used > IDLE_S:
            self.close()

    def close(self) -> None:
        """End the process at once; there is nothing in it to lose."""
        process, line = self._process, self._line
        self._process = self._line = None
        if line is not None:
            line.close()
        if process is not None:
            process.kill()
            process.join(2.0)

    def _start(self) -> Connection:
        context = multiprocessing.get_context("spawn")
        line, far_end = context.Pipe()
        process = context.Process(
            target=_work, args=(far_end, self._tasks), name=f"coilwatch-{self._name}", daemon=True
        )
        process.start()
        self._process, self._line = process, line
        far_end.close()
        try:
            self._wait(line, _START_S)  # loading what it needs is not the task's time
            line.recv()
        except (EOFError, OSError) as error:
            self.close()
            if self._stop.is_set():
                raise Stopped from None
            raise ChildFailed("the process that works on it could not be started") from error
        return line


def _work(line: Connection, tasks: Tasks) -> None:
    """Answer tasks until the service hangs up (also when it was killed: the line then ends)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's to handle
    known: Mapping[str, Callable[..., Any]] = tasks()
    line.send("ready")
    while True:
        try:
            task, details = line.recv()
        except (EOFError, OSError):
            return
        try:
            answer: object = known[task](*details)
        except MemoryError:
            answer = ChildFailed("it is too large for this computer's memory")
        except Exception as error:  # noqa: BLE001 - whatever a log provokes must not stop the service
            answer = ChildFailed(_said(error))
        try:
            line.send(answer)
        except OSError:
            return


def _said(error: Exception) -> str:
    where = error.__traceback__
    while where is not None and where.tb_next is not None:
        where = where.tb_next
    line = f", line {where.tb_lineno} of {where.tb_frame.f_code.co_name}" if where is not None else ""
    return f"Coilwatch failed on it ({type(error).__name__}: {error}{line}); please report this"[:400]

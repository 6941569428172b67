"""Reading and judging in a process of their own, so that no log can stop the service."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, cast

from analysis.reading.firing_log import UnreadableLog
from daemon.child import Child

if TYPE_CHECKING:  # the service itself never reads or judges: what only names types is not loaded
    from analysis.assessment import Assessment
    from analysis.reading import FiringLog, Reading
    from analysis.state import KilnState
    from config.kiln import Kiln
    from config.logbook import LogbookEntry


class Analyst:
    """Reads and judges in a child process; every call may raise ``ChildFailed`` or ``Stopped``."""

    def __init__(self, limit_s: float, stop: threading.Event | None = None) -> None:
        self._child = Child("analyst", _tasks, limit_s, stop)
        self.rest = self._child.rest
        self.close = self._child.close

    def read(self, data: bytes, name: str, kiln: Kiln | None, modified: datetime | None) -> Reading:
        """Read a log (``analysis.reading.read_log``); raises ``UnreadableLog`` too."""
        answer = self._child.ask("read", data, name, kiln, modified)
        if isinstance(answer, _Unreadable):
            raise UnreadableLog(answer.reason, line=answer.line, remedy=answer.remedy)
        return cast("Reading", answer)

    def join(self, earlier: FiringLog, later: FiringLog) -> FiringLog | None:
        """Join a firing cut over two files (``analysis.reading.join_logs``)."""
        return cast("FiringLog | None", self._child.ask("join", earlier, later))

    def assess(
        self, kiln: Kiln, state: KilnState | None, log: FiringLog, entries: Sequence[LogbookEntry]
    ) -> tuple[KilnState, Assessment]:
        """Judge a firing (``analysis.assessment.assess``); ``state`` None stands for a kiln not seen before."""
        return cast("tuple[KilnState, Assessment]", self._child.ask("assess", kiln, state, log, tuple(entries)))


class _Unreadable:
    """What ``UnreadableLog`` says, on its way between the processes."""

    def __init__(self, error: UnreadableLog) -> None:
        self.reason, self.line, self.remedy = error.reason, error.line, error.remedy


def _tasks() -> Mapping[str, Callable[..., object]]:
    from analysis.assessment import assess, begin
    from analysis.reading import join_logs, read_log

    def read(data: bytes, name: str, kiln: Kiln | None, modified: datetime | None) -> object:
        try:
            # service.file_limit_mb was looked at before the file was read
            return read_log(data, name=name, kiln=kiln, modified=modified, size_limit_bytes=len(data))
        except UnreadableLog as unreadable:
            return _Unreadable(unreadable)

    def judge(
        kiln: Kiln, state: KilnState | None, log: FiringLog, entries: tuple[LogbookEntry, ...]
    ) -> tuple[KilnState, Assessment]:
        return assess(kiln, begin(kiln) if state is None else state, log, entries)

    return {"read": read, "join": join_logs, "assess": judge}

"""A progress bar on a terminal; silence anywhere else."""

import sys
from types import TracebackType
from typing import Any, Self


class Progress:
    """Shows how much of a long work is done, on the error stream, if that is a terminal."""

    def __init__(self, what: str, total: int) -> None:
        self._bar: Any = None
        self._task: Any = None
        self._what = what
        self._total = total

    def __enter__(self) -> Self:
        if sys.stderr.isatty() and self._total > 1:
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
            from rich.progress import Progress as Bar

            self._bar = Bar(
                TextColumn("{task.description}"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self._bar.start()
            self._task = self._bar.add_task(self._what, total=self._total)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def step(self, count: int = 1) -> None:
        """Note that ``count`` more are done."""
        if self._bar is not None:
            self._bar.advance(self._task, count)

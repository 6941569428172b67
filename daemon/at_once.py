"""A job that is done soon after it is asked for, never twice at a time, and once more if asked for meanwhile."""

import threading
from collections.abc import Callable


class AtOnce:
    """Joins requests: however often a job is asked for while it runs, it runs exactly once more."""

    def __init__(self, work: Callable[[], None]) -> None:
        self._work = work
        self._lock = threading.Lock()
        self._going = False
        self._again = False
        self._idle = threading.Event()
        self._idle.set()

    def ask(self) -> bool:
        """Ask for the job; True if the caller is to have ``run`` called, False if that is under way already."""
        with self._lock:
            if self._going:
                self._again = True
                return False
            self._going = True
            return True

    def run(self) -> None:
        """Do the job until nobody asked for it any more."""
        self._idle.clear()
        try:
            while True:
                self._work()
                with self._lock:
                    if not self._again:
                        self._end()
                        return
                    self._again = False
        except BaseException:
            with self._lock:
                self._end()
            raise

    def _end(self) -> None:
        self._going = self._again = False
        self._idle.set()

    def wait_idle(self, within_s: float) -> bool:
        """Wait until the job is not running (it may never have been begun); False if it still is after that time."""
        return self._idle.wait(within_s)

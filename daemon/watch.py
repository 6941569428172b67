"""Being woken when something happens in the drop folder, and noticing when that stops working.

Events are only a wake-up: what happened is found out by looking. The observer falls silent without a word when the
folder is deleted, unmounted or swapped for another, so it is checked now and then and set up anew.
"""

import contextlib
import logging
import os
import threading
import time
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

from daemon import folder

log = logging.getLogger("coilwatch.watch")
_OWN_READING = ("opened", "closed_no_write")
_JOIN_S = 2.0
_UNSEEN_BEFORE_SCAN_ONLY = 3


class _Waker(FileSystemEventHandler):
    """Sets an event, whatever happens: a handler that raises would end the observer's thread for good."""

    def __init__(self, wake: threading.Event) -> None:
        self._wake = wake
        self.last = 0.0

    def dispatch(self, event: FileSystemEvent) -> None:
        """Wake the service, except for its own reading."""
        if event.event_type not in _OWN_READING:
            self.last = time.monotonic()
            self._wake.set()


class Watch:
    """Wakes ``wake`` on changes in the drop folder. ``check`` is to be called every half minute or so."""

    def __init__(self, drop: Path, wake: threading.Event, *, listen: bool = True) -> None:
        self._drop = drop
        self._wake = wake
        self._listen = listen
        self._observer: BaseObserver | None = None
        self._identity: tuple[int, int] | None = None
        self._waker = _Waker(wake)
        self._unseen = 0

    @property
    def listening(self) -> bool:
        """Whether events are expected at all."""
        return self._listen and self._observer is not None

    def start(self) -> None:
        """Begin to listen; without success the folder is only looked through."""
        self._identity = folder.identity(self._drop)
        if not self._listen or self._identity is None:
            return
        observer = Observer()
        try:
            # a link to a folder reports nothing of the files in it: listen at the real place
            observer.schedule(self._waker, os.path.realpath(self._drop), recursive=True)
            observer.start()
        except (OSError, RuntimeError) as error:
            log.warning("changes in the drop folder are not reported (%s): it is only looked through", error)
            return
        self._observer = observer

    def stop(self) -> None:
        """Stop listening."""
        observer, self._observer = self._observer, None
        if observer is not None:
            with contextlib.suppress(RuntimeError, OSError):
                observer.stop()
                observer.join(_JOIN_S)

    def check(self) -> bool:
        """Set the observer up anew if it is dead or the folder is no longer the same; True if it had to be."""
        if self._identity == folder.identity(self._drop) and (not self._listen or self._alive()):
            return False
        self.stop()
        self.start()
        self._wake.set()
        return True

    def _alive(self) -> bool:
        observer = self._observer
        if observer is None:
            return self._identity is None
        emitters = list(observer.emitters)
        return observer.is_alive() and bool(emitters) and all(emitter.is_alive() for emitter in emitters)

    def missed(self, since: float) -> None:
        """Note that a look found changes of which no event told since the tick ``since``.

        A network share reports nothing of what other computers write. After a few such finds listening is given up.
        """
        if not self.listening or self._waker.last >= since:
            self._unseen = 0
            return
        self._unseen += 1
        if self._unseen >= _UNSEEN_BEFORE_SCAN_ONLY:
            log.warning("the drop folder reports no changes (a network share?): from now on it is only looked through")
            self._listen = False
            self.stop()

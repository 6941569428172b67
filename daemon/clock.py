"""Time as Coilwatch keeps it: aware UTC for moments, fixed-width text in the database, a steady count for waits."""

import time
from datetime import UTC, datetime

JUMP_S = 30.0


def now() -> datetime:
    """Return the present moment, aware UTC."""
    return datetime.now(UTC)


def stamp(moment: datetime) -> str:
    """Return a moment as text that sorts by time: ``2026-03-02T08:14:00.000000Z``."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def moment(text: str) -> datetime:
    """Return the moment that ``stamp`` wrote."""
    return datetime.fromisoformat(text)


class JumpSense:
    """Notices that the computer's clock was set: wall time and the steady count have drifted apart.

    A machine that slept looks the same on systems whose steady count stands still in sleep, and is treated alike.
    """

    def __init__(self) -> None:
        self._offset = time.time() - time.monotonic()

    def jumped_s(self) -> float:
        """Return by how many seconds the clock jumped since the last call (0 for less than half a minute)."""
        offset = time.time() - time.monotonic()
        jump = offset - self._offset
        if abs(jump) < JUMP_S:
            return 0.0
        self._offset = offset
        return jump

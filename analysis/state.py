"""What is remembered of a kiln between firings: KilnState (plain, small, JSON-able, bounded in size)."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KilnState:
    """The online state of one kiln."""

    firings: int = 0

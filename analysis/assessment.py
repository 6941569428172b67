"""The way through the house for one kiln: each firing is judged from itself and the state earlier ones left.

``assess`` is the only door ``daemon`` needs: FiringLog in, new KilnState and Assessment out. Its cost does not
depend on how many firings came before.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from analysis.findings import Climb, End, Finding, Outlook, PowerRatio, Reference
from analysis.measures import Measures
from analysis.reading import FiringLog
from analysis.state import KilnState
from config.kiln import Kiln
from config.logbook import LogbookEntry


@dataclass(frozen=True, slots=True)
class ZonePower:
    """The power ratio of one zone."""

    zone: str
    power: PowerRatio


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything said of a kiln after one firing (the contract record plus what reports draw).

    ``firing_power`` is what this firing alone shows; ``power`` is the kiln's condition after it. ``verification``
    is set for the first firings after a repair: one plain sentence on whether the repair gave full power.
    """

    kiln: str
    index: int
    started: datetime | None
    programme: str
    end: End
    measures: Measures
    power: PowerRatio
    firing_power: PowerRatio
    reference: Reference
    zones: tuple[ZonePower, ...] = ()
    climb: Climb | None = None
    cone: str | None = None
    outlook: Outlook | None = None
    findings: tuple[Finding, ...] = ()
    verification: str | None = None
    missing: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def begin(kiln: Kiln) -> KilnState:
    """Return the state of a kiln of which no firing has been seen."""
    raise NotImplementedError


def assess(
    kiln: Kiln, state: KilnState, log: FiringLog, entries: Sequence[LogbookEntry] = ()
) -> tuple[KilnState, Assessment]:
    """Judge one firing.

    ``entries`` are the logbook entries since the previous firing (repairs reset what they touch; readings
    update the odds of the causes). Returns the state for the next firing and what is said of this one.
    """
    raise NotImplementedError

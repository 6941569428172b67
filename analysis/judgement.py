"""What is said of a kiln after one firing: Assessment, the form that is stored, told and drawn."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analysis.condition import Condition
from analysis.findings import Climb, End, Finding, Outlook, PowerRatio, Reference
from analysis.firing import Firing
from analysis.heatwork import HeatWork
from analysis.measures import Measures


@dataclass(frozen=True, slots=True)
class ZonePower:
    """The power ratio of one zone."""

    zone: str
    power: PowerRatio


RepairOutcome = Literal["full power", "short of power", "still faulty", "nothing against it", "not enough to tell"]


@dataclass(frozen=True, slots=True)
class Verification:
    """What a firing shows of the latest repair: the outcome, one plain sentence, and the zone it speaks of, if one."""

    outcome: RepairOutcome
    text: str
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything said of a kiln after one firing (the contract record plus what reports draw).

    ``firing_power`` is what this firing alone shows; ``power`` is the kiln's condition after it. ``verification``
    is set for the first firings after a repair: one plain sentence on whether the repair gave full power, whose outcome
    ``repair`` is.
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
    repair: RepairOutcome | None = None
    missing: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    condition: Condition | None = None
    firing: Firing | None = None
    heat_work: HeatWork | None = None

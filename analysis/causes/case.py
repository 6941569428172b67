"""One firing as the causes see it (Case), and what each family of causes answers (Suspicion)."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from analysis.causes.memory import CausesMemory
from analysis.circuit_faults import FaultStep, fault_steps
from analysis.condition import Condition
from analysis.findings import Cause, Evidence
from analysis.firing import Firing
from analysis.measures import Measures
from analysis.reading import FiringLog
from analysis.signs import Signs
from config.kiln import Kiln
from config.logbook import LogbookEntry


@dataclass(frozen=True)
class Case:
    """All that is known when the causes of one firing are weighed. ``memory`` is from before this firing."""

    kiln: Kiln
    log: FiringLog
    firing: Firing
    measures: Measures
    signs: Signs
    condition: Condition
    memory: CausesMemory
    entries: tuple[LogbookEntry, ...] = ()

    @property
    def index(self) -> int:
        """Number of this firing, from 0."""
        return self.condition.index

    @property
    def started(self) -> datetime | None:
        """Start of this firing."""
        return self.log.started

    @cached_property
    def steps(self) -> tuple[FaultStep, ...]:
        """What every single fault of the kiln's circuits would do."""
        return fault_steps(self.kiln)

    @cached_property
    def zones(self) -> tuple[str, ...]:
        """Zone names in the log's order; the register's where they fit."""
        count = self.log.zone_c.shape[1]
        if len(self.kiln.zones) == count:
            return self.kiln.zones
        return self.log.zone_names if len(self.log.zone_names) == count else tuple(str(i + 1) for i in range(count))

    def zone_name(self, number: int) -> str | None:
        """Name of a zone, None in a kiln of one zone that has none."""
        return self.zones[number] if 0 <= number < len(self.zones) else None


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A cause one family suspects.

    ``log_odds`` are natural log odds against "nothing of the kind", from all firings so far if ``lasting`` is False;
    if True, from this firing alone, to be added to what stands; ``quiet`` counts the firings since it last showed.
    """

    cause: Cause
    log_odds: float
    zone: str | None = None
    circuit: str | None = None
    since_firing: int | None = None
    since: datetime | None = None
    power_step: float | None = None
    urgent: bool = False
    info_only: bool = False
    lasting: bool = False
    quiet: int = 0
    evidence: tuple[Evidence, ...] = ()


def backs(text: str, log_odds: float) -> Evidence:
    """Return evidence for a cause; its weight is shown as log10 odds."""
    return Evidence(text, supports=True, weight=round(abs(log_odds) / 2.302585, 2))


def speaks_against(text: str, log_odds: float) -> Evidence:
    """Return evidence against a cause."""
    return Evidence(text, supports=False, weight=round(abs(log_odds) / 2.302585, 2))

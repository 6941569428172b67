"""What a page is made from: one kiln's firings as judged, its logbook, and the studio's own facts."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from analysis.assessment import Assessment
from analysis.causes.readings import with_readings
from analysis.findings import Finding
from config.kiln import Kiln, TemperatureUnit
from config.logbook import LogbookEntry
from daemon.report.condition_shown import condition_of

_SEVERITY_ORDER = {"urgent": 0, "warning": 1, "info": 2}


class FiringRecord(Protocol):
    """A firing as the store keeps it (``daemon.store.firings.StoredFiring`` is one)."""

    @property
    def index(self) -> int:
        """Number of the firing, from 0."""

    @property
    def logs(self) -> tuple[str, ...]:
        """Names of the files it was read from."""

    @property
    def assessment(self) -> Assessment:
        """What was said of the kiln after it."""


@dataclass(frozen=True, slots=True)
class Studio:
    """The studio's facts that pages need."""

    name: str = ""
    time_zone: str = "UTC"
    energy_price: float | None = None
    currency: str = ""
    temperature_unit: TemperatureUnit = "C"


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that people were told of and that is not over, in words."""

    incident: str
    text: str
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A log that is not part of the picture, with the reason."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class KilnHistory:
    """One kiln with everything its pages show. ``firings`` oldest first; ``logbook`` the entries that stand.

    ``firings_in_all`` is set where ``firings`` holds only the newest ones.
    """

    kiln: Kiln
    firings: Sequence[FiringRecord]
    logbook: Sequence[LogbookEntry] = ()
    studio: Studio = field(default_factory=Studio)
    open_alerts: Sequence[OpenAlert] = ()
    left_out: Sequence[LeftOut] = ()
    firings_in_all: int | None = None

    @property
    def judged(self) -> list[Assessment]:
        """Return the assessments of all firings whose log could be read, oldest first."""
        return [f.assessment for f in self.firings if f.assessment.end != "unreadable"]

    @property
    def latest(self) -> Assessment | None:
        """Return the newest assessment, or None before the first firing."""
        judged = self.judged
        return judged[-1] if judged else None

    @property
    def findings(self) -> list[Finding]:
        """Return the newest firing's findings, the gravest and most probable first.

        Readings entered since that firing have not been judged with any: their say is added here.
        """
        latest = self.latest
        if latest is None:
            return []
        since = latest.started
        fresh = [e for e in self.logbook if e.what == "measured" and (since is None or e.at > since)]
        found = latest.findings
        if fresh:
            found = with_readings(self.kiln, condition_of(latest), found, fresh)
        return ranked(found)


def ranked(findings: Sequence[Finding]) -> list[Finding]:
    """Return findings with the gravest first, then the most probable."""
    return sorted(findings, key=lambda f: (_SEVERITY_ORDER[f.severity], -f.probability))


def repairs(history: KilnHistory) -> list[LogbookEntry]:
    """Return the logbook's repairs and replacements, oldest first."""
    return [entry for entry in history.logbook if entry.what in ("replaced", "repaired")]


def firings_before(history: KilnHistory, at: datetime) -> int:
    """Return how many judged firings started before a moment (undated ones count where they stand)."""
    count = 0
    for number, said in enumerate(history.judged, 1):
        if said.started is not None and said.started < at:
            count = number
    return count

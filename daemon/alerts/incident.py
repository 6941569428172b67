"""What an alert is: the facts a person is told, the incident they belong to, and what can happen to it.

Plain frozen dataclasses. An incident has one id for its whole life, so that a repeated message is recognisable.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analysis.findings import Severity

Source = Literal["firing", "live", "machine"]
State = Literal["watching", "open", "acknowledged", "cleared"]
ChangeKind = Literal[
    "noticed",  # seen, not yet sure enough to tell
    "raised",
    "returned",  # cleared before, and back
    "renamed",  # the same trouble, now thought to have another cause
    "hidden",  # a worse cause explains it
    "shown",  # no longer explained by a worse one
    "acknowledged",
    "muted",
    "unmuted",
    "cleared",
    "withdrawn",  # a fuller log shows it never was
    "dropped",  # seen once, not confirmed, never told
]
TellingKind = Literal["raised", "returned", "worsened", "revised", "repeated", "escalated", "cleared"]

RANK: dict[Severity, int] = {"info": 0, "warning": 1, "urgent": 2}
WARNING, URGENT = 1, 2
_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # without those a voice or a worn print confuses


@dataclass(frozen=True, slots=True)
class Facts:
    """What is told of one trouble. Temperatures in ``text`` and ``evidence`` are ``{c:...}``/``{dc:...}`` places.

    ``cause`` is a cause of ``analysis.findings`` (source ``firing``), a state of ``analysis.live`` (``live``) or a
    key the service chose (``machine``). ``scope`` separates what must not be taken for the same: the log's name for
    live states, nothing else. ``gone_at`` is the start of the firing in which it was found gone. ``power`` and its
    90 % interval are ratios to the reference.
    """

    cause: str
    severity: Severity
    zone: str | None = None
    circuit: str | None = None
    scope: str = ""
    since: datetime | None = None
    probability: float | None = None
    power: float | None = None
    power_low: float | None = None
    power_high: float | None = None
    power_step: float | None = None
    reference: str = ""
    firings_left: tuple[float, float | None] | None = None
    threshold: float | None = None
    inspection: str = ""
    evidence: tuple[str, ...] = ()
    rivals: tuple[tuple[str, float], ...] = ()
    text: str = ""
    closing: str = ""
    gone_at: datetime | None = None

    @property
    def rank(self) -> int:
        """0 info, 1 warning, 2 urgent."""
        return RANK[self.severity]


@dataclass(frozen=True, slots=True)
class Alert:
    """One incident of one kiln (``kiln`` is empty for the machine room) and everything remembered of it.

    ``seen`` holds (firing number, rank) of the newest firings since it was first seen, 0 meaning "not there".
    ``told_*`` is what people were last told; the difference between that and the present state is what there is
    to tell. ``tellings`` counts messages and numbers them.
    """

    incident: str
    source: Source
    kiln: str
    facts: Facts
    state: State
    first_seen_at: datetime
    first_index: int = -1
    seen: tuple[tuple[int, int], ...] = ()
    raised_at: datetime | None = None
    cleared_at: datetime | None = None
    cleared_index: int = -1
    returns: int = 0
    hidden_by: str | None = None
    acknowledged_at: datetime | None = None
    muted_until: datetime | None = None
    muted_rank: int = 0
    told_at: datetime | None = None
    told_rank: int = 0
    told_cause: str = ""
    told_index: int = -1
    told_power: float | None = None
    urgent_told_at: datetime | None = None
    escalated_at: datetime | None = None
    repeats: int = 0
    tellings: int = 0

    @property
    def standing(self) -> bool:
        """Whether it is raised and not cleared."""
        return self.state in ("open", "acknowledged")

    @property
    def cause(self) -> str:
        """The cause as now understood."""
        return self.facts.cause

    @property
    def severity(self) -> Severity:
        """The severity as last seen."""
        return self.facts.severity

    @property
    def zone(self) -> str | None:
        """The zone, if one can be named."""
        return self.facts.zone

    @property
    def circuit(self) -> str | None:
        """The circuit, if one can be named."""
        return self.facts.circuit

    @property
    def since(self) -> datetime | None:
        """Since when, as the finding tells it."""
        return self.facts.since


@dataclass(frozen=True, slots=True)
class FiringSeen:
    """A kiln's firing, begun ``at``, was judged; ``facts`` are its findings.

    An uninformative firing says nothing of what it lacks.
    ``verified``: first firing after a repair, whose judgement clears what is gone at once; ``closing`` says it.
    """

    kiln: str
    index: int
    facts: tuple[Facts, ...]
    informative: bool = True
    verified: bool = False
    closing: str = ""
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Sighted:
    """The present truth about live or machine states: those of ``causes`` (all if None) not in ``facts`` are over.

    ``closing`` says why, if there is more to say than that; ``in_silence`` if nobody needs to hear that it is over.
    """

    source: Source
    kiln: str
    facts: tuple[Facts, ...]
    scope: str = ""
    causes: tuple[str, ...] | None = None
    closing: str = ""
    in_silence: bool = False


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """A person has seen it: no repeats and no escalation until it clears or gets worse."""

    incident: str


@dataclass(frozen=True, slots=True)
class Muted:
    """A person wants silence about it until then, unless it gets worse; ``until`` None ends the mute."""

    incident: str
    until: datetime | None


Event = FiringSeen | Sighted | Acknowledged | Muted


@dataclass(frozen=True, slots=True)
class Change:
    """One transition of one incident, with the rule that made it in a few words."""

    incident: str
    kind: ChangeKind
    reason: str


@dataclass(frozen=True, slots=True)
class Telling:
    """One message owed about ``alert`` (as it was before telling), numbered within its incident."""

    alert: Alert
    kind: TellingKind
    number: int
    reason: str


def incident_id(source: Source, kiln: str, facts: Facts, first: str) -> str:
    """Return the id of a new incident, the same for the same beginnings, e.g. ``JUN-7K2M``."""
    about = "|".join((source, kiln, facts.cause, facts.zone or "", facts.circuit or "", facts.scope, first))
    number = int.from_bytes(hashlib.sha256(about.encode("utf-8", "surrogatepass")).digest()[:8], "big")
    letters = ""
    for _ in range(4):
        number, place = divmod(number, len(_LETTERS))
        letters += _LETTERS[place]
    plain = "".join(c for c in kiln.upper() if c.isascii() and c.isalnum())[:3]
    return f"{plain or 'COIL'}-{letters}"

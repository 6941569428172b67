"""The logbook's form: what people did to a kiln and what they measured (one JSON object a line).

A plain type that ``analysis`` may import. Reading and writing the file is the daemon's work.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

What = Literal["replaced", "repaired", "measured", "note"]
Part = Literal["elements", "element", "relay", "fuse", "thermocouple", "wiring", "lid", "brickwork", "supply"]
Quantity = Literal["ohm", "amp", "volt"]
OPEN_OHM = 1e6  # an ohm reading from here on is "open": no heating wire, relay contact or couple reads so much


@dataclass(frozen=True, slots=True)
class LogbookEntry:
    """One entry. ``at`` is aware UTC (a bare date counts as the start of that day in the kiln's time zone).

    ``part`` is set for ``replaced`` and ``repaired`` (``elements`` = the whole set, or all of ``zone``);
    ``quantity``, ``value`` and ``where`` for ``measured`` (``where`` such as ``"circuit top"``, ``"L1-L2"``).
    ``withdraws`` is the id of an earlier entry that this one takes back; entries are never edited.
    """

    kiln: str
    at: datetime
    what: What
    part: Part | None = None
    zone: str | None = None
    circuit: str | None = None
    note: str = ""
    quantity: Quantity | None = None
    value: float | None = None
    where: str | None = None
    id: str = ""
    withdraws: str | None = None

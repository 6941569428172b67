"""What a visit measures: one reading or look in its place, what each case would read, and the whole inspection."""

from dataclasses import dataclass
from typing import Literal

from analysis.findings import Cause
from analysis.parts import PartNeeded


@dataclass(frozen=True, slots=True)
class Expected:
    """What one case would read. ``value`` is None where nothing conducts; ``cause`` names the finding it proves."""

    case: str
    cause: Cause | None
    value: float | None
    low: float | None
    high: float | None
    shown: str


@dataclass(frozen=True, slots=True)
class Measurement:
    """One reading or look, in order. ``key`` is the ``where`` under which the logbook records it.

    ``circuit`` and ``zone`` name what is measured, where it is one circuit.
    """

    order: int
    quantity: Literal["ohm", "amp", "volt", "look"]
    where: str
    key: str
    tells: str
    expected: tuple[Expected, ...] = ()
    live: bool = False
    circuit: str = ""
    zone: str = ""


@dataclass(frozen=True, slots=True)
class Inspection:
    """A visit's measurements in order, parts to bring, and what the register lacks for more."""

    measurements: tuple[Measurement, ...]
    parts: tuple[PartNeeded, ...]
    notes: tuple[str, ...] = ()

"""What can be said of a kiln after a firing: the shared types of causes, evidence, outlook and assessment.

All of these are plain frozen dataclasses without NaN, so that they can be stored as JSON and read back.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

Severity = Literal["info", "warning", "urgent"]
Cause = Literal[
    "element_ageing",
    "open_element",
    "open_circuit",
    "lost_phase",
    "loose_connection",
    "welded_contact",
    "low_supply",
    "thermocouple_drift",
    "thermocouple_fault",
    "heat_leak",
    "heavy_load",
    "programme_change",
    "aborted_firing",
    "incomplete_log",
]
CAUSES: tuple[Cause, ...] = get_args(Cause)
End = Literal["complete", "aborted", "stalled", "time limit", "incomplete", "unreadable"]
Basis = Literal["full-output climb", "duty", "current", "kept pace", "none"]
Reference = Literal["nameplate", "first firings", "after repair"]


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation for or against a cause. ``text`` is complete in itself; ``weight`` is log10 odds given.

    ``text`` holds temperatures as ``{c:1222}`` and differences or rates as ``{dc:60}``: the daemon renders
    both in the studio's unit (``config.units.render``).
    """

    text: str
    supports: bool
    weight: float = 0.0


@dataclass(frozen=True, slots=True)
class Finding:
    """A cause with its probability, severity and evidence.

    ``power_step`` is the sudden change of the power ratio that started it (negative for a loss), if it did
    start suddenly. ``rivals`` names the next most probable explanations. What to look at and what decides is
    wording (``config/wording/causes``), what to measure there ``analysis.inspection``.
    """

    cause: Cause
    severity: Severity
    probability: float
    zone: str | None = None
    circuit: str | None = None
    since: datetime | None = None
    since_firing: int | None = None
    power_step: float | None = None
    evidence: tuple[Evidence, ...] = ()
    rivals: tuple[tuple[Cause, float], ...] = ()


@dataclass(frozen=True, slots=True)
class PowerRatio:
    """Full heating power at nameplate volts over the reference, with a 90 % interval.

    ``value`` is None where only a lower bound is known (basis ``kept pace``: then ``low`` is set), or nothing
    at all (basis ``none``).
    """

    value: float | None
    low: float | None
    high: float | None
    basis: Basis = "none"


@dataclass(frozen=True, slots=True)
class Climb:
    """Temperature rise achieved at full output near the peak, with a 90 % interval; from_c..to_c is the band."""

    c_per_h: float
    low: float
    high: float
    from_c: float
    to_c: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """Firings left until the power ratio reaches ``threshold``, with an 80 % interval.

    ``high`` is None where the data allow "no end in sight". ``programme_firings_left`` counts firings until the
    kiln can no longer hold the programme's last ramp, ``peak_firings_left`` until it cannot reach the peak.
    """

    threshold: float
    firings_left: float | None
    low: float | None
    high: float | None
    programme_firings_left: float | None = None
    peak_firings_left: float | None = None
    drift_per_firing: float | None = None

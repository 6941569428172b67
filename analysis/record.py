"""The contract record of one firing (one JSON object a line), made of an Assessment."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Protocol

from analysis.findings import Climb, Finding, Outlook
from analysis.judgement import Assessment


class CauseWords(Protocol):
    """What the record says of a cause in words; `config.wording` has them."""

    @property
    def first_look(self) -> str:
        """What to look at first."""

    @property
    def deciding(self) -> str:
        """The one measurement that tells the cause from its rivals."""


def _time(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(float(value), digits)


def record_of(
    a: Assessment, logs: Sequence[str], log: str, render: Callable[[str], str], wording: Mapping[str, CauseWords]
) -> dict[str, object]:
    """Return the record of one assessment.

    ``logs`` are all files it was read from, ``log`` the one it is filed by; ``render`` puts the temperatures of
    sentences into a unit (``config.units.render``); ``wording`` holds, by cause, what ``inspection`` and ``deciding``
    say, and these stay empty for a cause it does not hold.
    """
    return {
        "kiln": a.kiln,
        "logs": list(logs),
        "log": log,
        "started": _time(a.started),
        "programme": a.programme,
        "peak_c": _rounded(a.measures.peak_c, 1),
        "duration_s": round(a.measures.duration_s),
        "end": a.end,
        "climb": _climb(a.climb),
        "power_ratio": _rounded(a.power.value),
        "power_low": _rounded(a.power.low),
        "power_high": _rounded(a.power.high),
        "basis": a.power.basis,
        "reference": a.reference,
        "zones": [
            {
                "zone": z.zone,
                "power_ratio": _rounded(z.power.value),
                "power_low": _rounded(z.power.low),
                "power_high": _rounded(z.power.high),
            }
            for z in a.zones
        ],
        "energy_kwh": _rounded(a.measures.energy_kwh, 2),
        "cone": a.cone,
        "outlook": _outlook(a.outlook),
        "findings": [_finding(f, render, wording.get(f.cause)) for f in a.findings],
        "verification": a.verification,
        "problems": list(a.problems),
    }


def _climb(climb: Climb | None) -> dict[str, object] | None:
    if climb is None:
        return None
    return {
        "c_per_h": _rounded(climb.c_per_h, 1),
        "low": _rounded(climb.low, 1),
        "high": _rounded(climb.high, 1),
        "from_c": _rounded(climb.from_c, 1),
        "to_c": _rounded(climb.to_c, 1),
    }


def _outlook(outlook: Outlook | None) -> dict[str, object] | None:
    if outlook is None:
        return None
    return {
        "firings_left": _rounded(outlook.firings_left, 1),
        "low": _rounded(outlook.low, 1),
        "high": _rounded(outlook.high, 1),
        "threshold": outlook.threshold,
        "programme_firings_left": _rounded(outlook.programme_firings_left, 1),
        "peak_firings_left": _rounded(outlook.peak_firings_left, 1),
        "drift_per_firing": _rounded(outlook.drift_per_firing, 6),
    }


def _finding(f: Finding, render: Callable[[str], str], words: CauseWords | None) -> dict[str, object]:
    return {
        "cause": f.cause,
        "severity": f.severity,
        "zone": f.zone,
        "circuit": f.circuit,
        "since": _time(f.since),
        "probability": _rounded(f.probability, 3),
        "power_step": _rounded(f.power_step, 3),
        "evidence": [render(e.text) for e in f.evidence if e.supports],
        "against": [render(e.text) for e in f.evidence if not e.supports],
        "rivals": [{"cause": cause, "probability": p} for cause, p in f.rivals],
        "deciding": render(words.deciding) if words else "",
        "inspection": render(words.first_look) if words else "",
    }

"""One firing in one line: what came in and what was found, in the words of the wording files."""

from collections.abc import Collection

from analysis.assessment import Assessment
from analysis.findings import Finding
from config.kiln import TemperatureUnit
from config.units import render
from config.wording import Wording

_RANK = {"info": 0, "warning": 1, "urgent": 2}


def level(assessment: Assessment) -> str:
    """Return how serious the firing's worst finding is: ``urgent``, ``warning``, ``info`` or ``well``."""
    severities = [finding.severity for finding in assessment.findings]
    return max(severities, key=_RANK.__getitem__, default="well")


def line(assessment: Assessment, wording: Wording, unit: TemperatureUnit, known: Collection[str] = ()) -> str:
    """Return the line. ``known`` are the causes already told of this kiln: they are said to last, not told again."""
    what = f"{assessment.programme or 'firing'} to {render(f'{{c:{assessment.measures.peak_c:.0f}}}', unit)}"
    if assessment.end != "complete":
        what += f", {assessment.end}"
    parts = [what, _power(assessment)]
    findings = sorted(assessment.findings, key=lambda finding: (-_RANK[finding.severity], -finding.probability))
    if findings:
        parts.append(_finding(findings[0], wording, known))
    if assessment.verification:
        parts.append(render(assessment.verification, unit))
    return "; ".join(part for part in parts if part)


def _power(assessment: Assessment) -> str:
    power = assessment.power
    if power.value is not None:
        return f"power {power.value:.0%}"
    if power.low is not None:
        return f"power at least {power.low:.0%}"
    return "power not shown by this firing"


def _finding(finding: Finding, wording: Wording, known: Collection[str]) -> str:
    where = f" ({finding.circuit or finding.zone})" if finding.circuit or finding.zone else ""
    still = "still: " if finding.cause in known else ""
    return f"{still}{wording.causes[finding.cause].short}{where}, {min(finding.probability, 0.99):.0%} sure"

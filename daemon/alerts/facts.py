"""From what the analysis says of a firing to the facts an alert keeps and tells."""

from collections.abc import Sequence

from analysis.assessment import Assessment
from analysis.findings import Finding
from daemon.alerts.incident import RANK, Facts, FiringSeen

POWER_CAUSES = frozenset(
    {"element_ageing", "open_element", "open_circuit", "lost_phase", "loose_connection", "low_supply"}
)
_SAYS_NOTHING = frozenset({"incomplete", "unreadable", "aborted"})
_EVIDENCE_KEPT = 3


def firing_seen(assessment: Assessment, kiln: str, index: int) -> FiringSeen:
    """Return the life cycle's event for a judged firing, the kiln's ``index``-th.

    A log cut off, unreadable or broken off does not show that an earlier trouble is gone.
    """
    return FiringSeen(
        kiln=kiln,
        index=index,
        facts=tuple(facts_of(assessment, lead, others) for lead, others in _events(assessment.findings)),
        informative=assessment.end not in _SAYS_NOTHING,
        verified=assessment.verification is not None,
        closing=assessment.verification or "",
        at=assessment.started,
    )


def _events(findings: Sequence[Finding]) -> list[tuple[Finding, list[Finding]]]:
    """Put the explanations of one event together: the likeliest with the rivals it names, as one thing to tell."""
    events: list[tuple[Finding, list[Finding]]] = []
    for finding in sorted(findings, key=lambda f: (-RANK[f.severity], -f.probability)):
        told = next((e for e in events if _rivals(e[0], finding)), None)
        if told is None:
            events.append((finding, []))
        else:
            told[1].append(finding)
    return events


def _rivals(lead: Finding, other: Finding) -> bool:
    return (
        RANK[other.severity] <= RANK[lead.severity]
        and other.probability <= lead.probability
        and other.since_firing == lead.since_firing
        and any(cause == other.cause for cause, _ in lead.rivals)
    )


def facts_of(assessment: Assessment, finding: Finding, rivals: Sequence[Finding] = ()) -> Facts:
    """Return what is told of one finding: the power only where the cause is one of lost power."""
    about_power = finding.cause in POWER_CAUSES
    power, outlook = assessment.power, assessment.outlook
    left = None
    if finding.cause == "element_ageing" and outlook is not None and outlook.low is not None:
        left = (outlook.low, outlook.high)
    strongest = sorted((e for e in finding.evidence if e.supports), key=lambda e: -e.weight)
    return Facts(
        cause=finding.cause,
        severity=finding.severity,
        zone=finding.zone,
        circuit=finding.circuit,
        since=finding.since or assessment.started,
        probability=finding.probability,
        power=power.value if about_power else None,
        power_low=power.low if about_power else None,
        power_high=power.high if about_power else None,
        power_step=finding.power_step,
        reference=assessment.reference,
        firings_left=left,
        threshold=outlook.threshold if left and outlook else None,
        evidence=tuple(e.text for e in strongest[:_EVIDENCE_KEPT]),
        rivals=tuple((rival.cause, rival.probability) for rival in rivals),
    )

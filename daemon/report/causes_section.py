"""The findings of a page in words: what it is and is not, evidence on both sides, rivals, and what would decide."""

from dataclasses import dataclass

from analysis.findings import Evidence, Finding
from config.wording import CauseWording, Wording
from daemon.report import shown
from daemon.report.history import KilnHistory

SEVERITY_WORDS = {"urgent": "urgent", "warning": "warning", "info": "for information"}


@dataclass(frozen=True, slots=True)
class Said:
    """One finding with its wording."""

    finding: Finding
    words: CauseWording
    headline: str
    severity: str
    odds: str
    since: str
    supports: tuple[Evidence, ...]
    against: tuple[Evidence, ...]
    rivals: tuple[tuple[str, str], ...]
    deciding: str


def said_of(history: KilnHistory, wording: Wording) -> list[Said]:
    """Return the newest firing's findings in words, the gravest first."""
    zone = history.studio.time_zone
    out = []
    for finding in history.findings:
        words = wording.causes[finding.cause]
        since = ""
        if finding.since is not None:
            since = shown.day(finding.since, zone)
            if finding.since_firing is not None:
                since += f" (firing {finding.since_firing + 1})"
        by_weight = sorted(finding.evidence, key=lambda e: -abs(e.weight))
        out.append(
            Said(
                finding,
                words,
                words.headline_at(shown.place(finding)),
                SEVERITY_WORDS[finding.severity],
                shown.odds(finding.probability),
                since,
                tuple(e for e in by_weight if e.supports),
                tuple(e for e in by_weight if not e.supports),
                tuple((wording.causes[cause].title, shown.odds(odds)) for cause, odds in finding.rivals),
                words.deciding.rstrip("."),
            )
        )
    return out

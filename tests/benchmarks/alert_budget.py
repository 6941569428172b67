"""How many messages an owner gets: the records of ``coilwatch assess`` put through the life of an alert.

    python tests/benchmarks/alert_budget.py RESULTS.jsonl [TRUTH_FOLDER]

RESULTS is what ``assess --jsonl`` wrote; TRUTH_FOLDER holds ``firings.jsonl`` of a fleet with known truth, and then
only kilns that never had a material fault are counted as healthy. Nobody acknowledges anything: the worst case. The
budget: a healthy kiln causes at most one message a month.
"""

import json
import sys
from collections import Counter, defaultdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from daemon.alerts.facts import POWER_CAUSES
from daemon.alerts.incident import Alert, Facts, FiringSeen
from daemon.alerts.lifecycle import observe
from daemon.alerts.policy import Policy
from daemon.alerts.telling import tell

DAY = timedelta(days=1)
Message = tuple[datetime, str, str]


def facts_of(record: dict[str, Any], finding: dict[str, Any]) -> Facts:
    """Return a record's finding as an alert keeps it."""
    about_power = finding["cause"] in POWER_CAUSES
    return Facts(
        cause=finding["cause"],
        severity=finding["severity"],
        zone=finding["zone"],
        circuit=finding["circuit"],
        probability=finding["probability"],
        power=record["power_ratio"] if about_power else None,
        power_high=record["power_high"] if about_power else None,
    )


def messages_of(records: list[dict[str, Any]], policy: Policy) -> list[Message]:
    """Return every message of one kiln's records, in order, with a look at the clock each day between firings."""
    alerts: tuple[Alert, ...] = ()
    told: list[Message] = []
    now: datetime | None = None
    for index, record in enumerate(records):
        at = datetime.fromisoformat(record["started"])
        while now is not None and now + DAY < at:
            now += DAY
            alerts, tellings = tell(alerts, policy, now)
            told += [(now, telling.kind, telling.alert.cause) for telling in tellings]
        now = at
        seen = FiringSeen(
            kiln=record["kiln"],
            index=index,
            facts=tuple(facts_of(record, finding) for finding in record["findings"]),
            informative=record["end"] not in ("incomplete", "unreadable", "aborted"),
            verified=bool(record.get("verification")),
            at=at,
        )
        alerts, _ = observe(alerts, seen, policy, now)
        alerts, tellings = tell(alerts, policy, now)
        told += [(now, telling.kind, telling.alert.cause) for telling in tellings]
    return told


def main(results: Path, truth: Path | None) -> None:
    """Print messages by kind, and how many months of healthy kilns had how many."""
    by_kiln: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for line in results.read_text(encoding="utf-8").splitlines():
        record = json.loads(line)
        if record["started"]:
            by_kiln[record["kiln"]].append(record)
    faulty: set[str] = set()
    if truth is not None:
        for line in (truth / "firings.jsonl").read_text(encoding="utf-8").splitlines():
            firing = json.loads(line)
            if any(fault.get("material", True) for fault in firing["faults"]):
                faulty.add(firing["kiln"])
    kinds: Counter[str] = Counter()
    months: Counter[int] = Counter()
    total = 0
    for kiln, records in sorted(by_kiln.items()):
        records.sort(key=lambda record: record["started"])
        told = messages_of(records, Policy())
        kinds.update(kind for _, kind, _ in told)
        if kiln in faulty:
            continue
        first, last = (datetime.fromisoformat(records[n]["started"]) for n in (0, -1))
        total += max(1, round((last - first) / (30.44 * DAY)))
        per_month = Counter(at.strftime("%Y-%m") for at, _, _ in told)
        months.update(per_month.values())
        if per_month and max(per_month.values()) > 1:
            print(f"{kiln}: {max(per_month.values())} in a month; {Counter((k, c) for _, k, c in told).most_common(4)}")
    over = sum(n for count, n in months.items() if count > 1)
    print(f"all kilns, nobody acknowledging: {dict(kinds)}")
    sent = sum(count * n for count, n in months.items())
    print(f"healthy kilns: {total} months, {sent} messages, {over} months with more than one")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)

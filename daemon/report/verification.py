"""After a repair: what the first firings say of it, and what is still wanted."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings import Finding
from analysis.judgement import Assessment, RepairOutcome
from config.logbook import LogbookEntry
from daemon.report import shown
from daemon.report.history import KilnHistory, firings_before, repairs

HEATING_PARTS = frozenset({"elements", "element", "relay", "fuse", "wiring", "supply"})
# Which repairs mend which cause: what is enough to await the next firing's verdict instead of another visit.
MENDED_BY: dict[str, frozenset[str]] = {
    "element_ageing": frozenset({"elements"}),
    "open_element": frozenset({"elements", "element", "wiring"}),
    "open_circuit": frozenset({"elements", "element", "relay", "fuse", "wiring"}),
    "lost_phase": frozenset({"supply", "fuse", "wiring"}),
    "loose_connection": frozenset({"elements", "element", "relay", "wiring"}),
    "welded_contact": frozenset({"relay"}),
    "low_supply": frozenset({"supply", "wiring"}),
    "thermocouple_drift": frozenset({"thermocouple"}),
    "thermocouple_fault": frozenset({"thermocouple", "wiring"}),
    "heat_leak": frozenset({"lid", "brickwork"}),
}
AGAINST: frozenset[RepairOutcome | None] = frozenset({"short of power", "still faulty"})
SHOWN_FIRINGS = 12  # after so many firings a repair is history


@dataclass(frozen=True, slots=True)
class Verified:
    """The verdict on the last repair of what makes heat."""

    entry: str
    at: str
    sentence: str
    firings: tuple[tuple[str, str], ...]
    before: str
    after: str


def unproved_repair(history: KilnHistory, finding: Finding) -> LogbookEntry | None:
    """Return the newest repair that may have mended a finding and that no firing has judged yet."""
    latest = history.latest
    if latest is None or latest.started is None:
        return None
    parts = MENDED_BY.get(finding.cause, frozenset())
    zones = (None, finding.zone) if finding.zone else (None, *history.kiln.zones)
    fitting = [
        entry
        for entry in repairs(history)
        if entry.at > latest.started and entry.part in parts and (entry.zone in zones or entry.circuit)
    ]
    return fitting[-1] if fitting else None


def verification(history: KilnHistory) -> Verified | None:
    """Return the section for the last heating repair, or None where there is none or it is long past."""
    made = [entry for entry in repairs(history) if entry.part in HEATING_PARTS]
    if not made:
        return None
    repair = made[-1]
    judged = history.judged
    count = firings_before(history, repair.at)
    since = judged[count:]
    if len(since) > SHOWN_FIRINGS:
        return None
    before = next((s.power for s in reversed(judged[:count]) if s.power.value is not None), None)
    after = next((s.power for s in reversed(since) if s.power.value is not None), None)
    # What one firing proved is not taken back by a later one that could not tell.
    proved = next((i for i, s in enumerate(since) if s.verification and s.firing_power.value is not None), None)
    spoken = [
        (s.index + 1, s.verification)
        for i, s in enumerate(since)
        if s.verification and (proved is None or i <= proved or s.firing_power.value is not None)
    ]
    proof = _proof(since, spoken)
    if proof is not None:
        on = shown.day(proof.started, history.studio.time_zone)
        sentence, spoken = f"All circuits give full power: firing {proof.index + 1} ({on}) showed it.", []
    elif not since:
        sentence = "No firing since the repair. Run the verification firing of the visit sheet."
    elif spoken:
        # The newest firing that could tell, else the newest: "not enough full output" takes nothing back.
        telling = [s for s in since if s.verification and s.firing_power.value is not None]
        sentence = telling[-1].verification or "" if telling else spoken[-1][1] or ""
    else:
        sentence = "Not enough full output since the repair to tell: run the verification firing of the visit sheet."
    return Verified(
        _entry_text(repair),
        shown.day(repair.at, history.studio.time_zone),
        shown.plain(sentence),
        _joined(spoken),
        shown.UNKNOWN if before is None else shown.power(before),
        shown.UNKNOWN if after is None else shown.power(after),
    )


def _proof(since: Sequence[Assessment], spoken: Sequence[tuple[int, str | None]]) -> Assessment | None:
    """Return the first firing that showed full power, unless a later one says otherwise."""
    proof = next((s for s in since if s.repair == "full power"), None)
    if proof is None:
        return None
    heard = {number for number, _ in spoken}
    against = any(s.repair in AGAINST and s.index > proof.index and s.index + 1 in heard for s in since)
    return None if against else proof


def _joined(spoken: Sequence[tuple[int, str | None]]) -> tuple[tuple[str, str], ...]:
    """Return what firings said, those in a row that said the same in one line."""
    rows: list[tuple[int, int, str]] = []
    for number, text in spoken:
        said = shown.plain(text or "")
        if rows and rows[-1][2] == said:
            rows[-1] = (rows[-1][0], number, said)
        else:
            rows.append((number, number, said))
    return tuple((f"Firing {a}" if a == b else f"Firings {a} to {b}", text) for a, b, text in rows)


def _entry_text(repair: LogbookEntry) -> str:
    return shown.entry(repair)

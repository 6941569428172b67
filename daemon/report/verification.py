"""After a repair: what the first firings say of it, and what is still wanted."""

from dataclasses import dataclass

from config.logbook import LogbookEntry
from daemon.report import shown
from daemon.report.history import KilnHistory, firings_before, repairs

HEATING_PARTS = frozenset({"elements", "element", "relay", "fuse", "wiring", "supply"})
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
    spoken = [(f"Firing {s.index + 1}", s.verification) for s in since if s.verification]
    if not since:
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
        tuple((name, shown.plain(text or "")) for name, text in spoken),
        shown.UNKNOWN if before is None else shown.power(before),
        shown.UNKNOWN if after is None else shown.power(after),
    )


def _entry_text(repair: LogbookEntry) -> str:
    return shown.entry(repair)

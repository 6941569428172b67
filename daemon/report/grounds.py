"""What the numbers of a page rest on: logs, reference, logbook, and which nameplate facts are missing."""

from dataclasses import dataclass

from analysis.judgement import Assessment
from config.kiln import Kiln
from daemon.report import shown
from daemon.report.history import KilnHistory

# What each fact of the register would add, in the order it is worth asking for.
WORTH: tuple[tuple[str, str], ...] = (
    ("volts", "expected currents, and supply told apart from wear where volts are logged"),
    ("rated_kw", "energy and money for each firing, and power against new instead of against the first firings"),
    ("circuits", "expected ohms and amps, and which single fault fits a loss"),
    ("element_ohm", "expected ohms of each circuit for a new and a worn set"),
    ("supply", "the currents of each line, and a lost line told from a broken element"),
    ("zones", "zones by name"),
    ("max_temp_c", "a warning where a programme goes above the kiln's limit"),
    ("thermocouple", "the type to bring when a sensor fails"),
    ("model", "parts ordered from the nameplate"),
    ("serial", "the maker's own list of this kiln's parts"),
)


@dataclass(frozen=True, slots=True)
class Missing:
    """A fact the register lacks and what it would add."""

    fact: str
    adds: str
    in_register: bool = True


@dataclass(frozen=True, slots=True)
class Grounds:
    """The basis of a page."""

    reference: str
    firings: str
    basis: tuple[tuple[str, int], ...]
    left_out: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]
    missing: tuple[Missing, ...]
    last_logs: tuple[str, ...]


def missing_facts(kiln: Kiln) -> tuple[Missing, ...]:
    """Return the register's gaps with what each would add."""
    gaps = []
    for fact, adds in WORTH:
        if fact == "element_ohm":
            lacks = bool(kiln.circuits) and not all(c.element_ohm for c in kiln.circuits)
        else:
            lacks = getattr(kiln, fact) in (None, "", ())
        if lacks:
            gaps.append(Missing(fact, adds))
    return tuple(gaps)


def _asked_for(gap: Missing, latest: Assessment | None) -> bool:
    """Return whether a gap is worth a line: zones are not, where the log holds one temperature."""
    return gap.fact != "zones" or latest is None or len(latest.measures.zone_share) > 1 or len(latest.zones) > 1


def grounds(history: KilnHistory) -> Grounds:
    """Return what a kiln's numbers rest on."""
    judged = history.judged
    zone = history.studio.time_zone
    latest = history.latest
    unread = [f for f in history.firings if f.assessment.end == "unreadable"]
    dated = [said.started for said in judged if said.started is not None]
    span = f", {shown.day(dated[0], zone)} to {shown.day(dated[-1], zone)}" if dated else ""
    counted: dict[str, int] = {}
    for said in judged:
        counted[said.firing_power.basis] = counted.get(said.firing_power.basis, 0) + 1
    left_out = [(shown.plain(item.name, 120), shown.plain(item.reason)) for item in history.left_out]
    left_out += [
        (shown.plain(", ".join(f.logs), 120), shown.plain("; ".join(f.assessment.problems)) or "unreadable")
        for f in unread
    ]
    gaps = [gap for gap in missing_facts(history.kiln) if _asked_for(gap, latest)]
    said_missing = [] if latest is None else list(latest.missing)
    for text in said_missing:
        fact, _, adds = text.partition(":")
        if all(fact.strip() != gap.fact for gap in gaps):
            gaps.append(Missing(shown.plain(fact.strip(), 60), shown.plain(adds.strip(), 200), in_register=False))
    return Grounds(
        "none yet" if latest is None else latest.reference,
        f"{len(judged)} firings{span}",
        tuple(sorted(counted.items(), key=lambda item: -item[1])),
        tuple(left_out),
        () if latest is None else tuple(shown.plain(text) for text in latest.problems),
        tuple(gaps),
        tuple(shown.plain(name, 120) for name in history.firings[-1].logs) if history.firings else (),
    )

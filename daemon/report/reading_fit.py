"""What a reading from the logbook says at once: which of the expected cases it fits."""

from collections.abc import Sequence
from datetime import datetime

from analysis.causes.readings import LEAD_OHM, place_of
from analysis.measurement import Expected, Measurement
from config.logbook import LogbookEntry

_UNITS = {"ohm": "Ω", "amp": "A", "volt": "V"}


def fits(entry: LogbookEntry, measurements: Sequence[Measurement]) -> str:
    """Return one sentence on a measured entry: the cases whose range holds it, or the nearest one.

    Empty where nothing is expected at that place.
    """
    if entry.value is None or entry.quantity is None:
        return ""
    step = place_of(entry, measurements)
    if step is None:
        return ""
    known = [e for e in step.expected if e.value is not None and e.low is not None and e.high is not None]
    spare = LEAD_OHM if entry.quantity == "ohm" else 0.0
    fitting = [e for e in known if (e.low or 0.0) <= entry.value <= (e.high or 0.0) + spare]
    said = f"{entry.value:g} {_UNITS[entry.quantity]} at {step.key}"
    if fitting:
        fitting.sort(key=lambda e: abs((e.value or 0.0) - (entry.value or 0.0)))
        alike = {e.shown: e for e in reversed(fitting)}  # two cases that read the same are named once
        return f"{said} fits: {', or '.join(_case(e) for e in reversed(list(alike.values())))}."
    if not known:
        return ""
    nearest = min(known, key=lambda e: abs((e.value or 0.0) - (entry.value or 0.0)))
    return f"{said} fits no expected case; nearest is {_case(nearest)}. Measure again with the leads zeroed."


def _case(expected: Expected) -> str:
    return f"{expected.case} ({expected.shown})"


def since_newest_firing(entries: Sequence[LogbookEntry], newest: datetime | None) -> list[LogbookEntry]:
    """Return the readings made after the newest firing began: no firing has been judged with them yet."""
    return [entry for entry in entries if entry.what == "measured" and (newest is None or entry.at > newest)]

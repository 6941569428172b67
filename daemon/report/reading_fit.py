"""What a reading from the logbook says at once: which of the expected cases it fits."""

from collections.abc import Collection, Sequence
from datetime import datetime

from analysis.causes.readings import LEAD_OHM, is_open, place_of
from analysis.measurement import Expected, Measurement
from config.logbook import LogbookEntry

RELAY_DEAD = "relay or its wiring dead, circuit itself whole"  # the case as the inspection names it
AGAIN = {
    "ohm": "Measure again with the leads zeroed and the circuit's wires off the relay.",
    "amp": "Read again: clamp round one conductor only, every zone at full output.",
    "volt": "Read again with every zone at full output.",
}
_UNITS = {"ohm": "Ω", "amp": "A", "volt": "V"}


def fits(entry: LogbookEntry, measurements: Sequence[Measurement], causes: Collection[str] = ()) -> str:
    """Return one sentence on a measured entry: the cases whose range holds it, or the nearest one.

    ``causes`` are the suspected ones: a whole circuit points to its relay only where it is thought dead. Empty where
    nothing is expected at that place.
    """
    if entry.value is None or entry.quantity is None:
        return ""
    step = place_of(entry, measurements)
    if step is None:
        return ""
    if is_open(entry):
        shut = [e for e in step.expected if e.shown.startswith("open")]
        said = f"Open at {step.key}"
        return f"{said} fits: {', or '.join(e.case for e in shut)}." if shut else f"{said} fits no expected case."
    cases = [e for e in step.expected if e.case != RELAY_DEAD or "open_circuit" in causes]
    known = [e for e in cases if e.value is not None and e.low is not None and e.high is not None]
    fitting = [e for e in known if _holds(e, entry)]
    said = f"{entry.value:g} {_UNITS[entry.quantity]} at {step.key}"
    if fitting:
        fitting.sort(key=lambda e: abs((e.value or 0.0) - (entry.value or 0.0)))
        alike = {e.shown: e for e in reversed(fitting)}  # two cases that read the same are named once
        return f"{said} fits: {', or '.join(_case(e) for e in reversed(list(alike.values())))}."
    if not known:
        return ""
    nearest = min(known, key=lambda e: abs((e.value or 0.0) - (entry.value or 0.0)))
    return f"{said} fits no expected case; nearest is {_case(nearest)}. {AGAIN[entry.quantity]}"


def unsound(entry: LogbookEntry, measurements: Sequence[Measurement]) -> bool:
    """Return whether an ohm reading is that of no circuit that is whole, new or aged as estimated."""
    step = place_of(entry, measurements)
    if step is None or not step.circuit or entry.quantity != "ohm" or entry.value is None:
        return False
    sound = [e for e in step.expected if e.cause in (None, "element_ageing") and e.value is not None]
    return bool(sound) and not any(_holds(e, entry) for e in sound)


def _holds(expected: Expected, entry: LogbookEntry) -> bool:
    spare = LEAD_OHM if entry.quantity == "ohm" else 0.0
    return (expected.low or 0.0) <= (entry.value or 0.0) <= (expected.high or 0.0) + spare


def _case(expected: Expected) -> str:
    return f"{expected.case}, {expected.shown}"


def since_newest_firing(entries: Sequence[LogbookEntry], newest: datetime | None) -> list[LogbookEntry]:
    """Return the readings made after the newest firing began: no firing has been judged with them yet."""
    return [entry for entry in entries if entry.what == "measured" and (newest is None or entry.at > newest)]

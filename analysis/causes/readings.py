"""Readings by hand against the causes: what a meter showed makes some findings likelier and others less so.

Each reading is laid beside what ``analysis.inspection`` expects there in each case. A finding's odds change by the
ratio of how well its own case explains the reading to how well the other cases do (Bayes' rule).
"""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log10, pi, sqrt

from analysis.climb import NINETY
from analysis.condition import Condition
from analysis.findings import Evidence, Finding
from analysis.inspection import inspect
from analysis.measurement import Expected, Measurement
from config.kiln import Kiln
from config.logbook import OPEN_OHM, LogbookEntry

LEAD_OHM = 0.3  # leads not zeroed add 0.1 to 0.5 ohm (common practice, no source)
SLIP = 0.02  # a reading may be a slip of pen, place or probe: no single number excludes a cause
MOST = 30.0  # nor proves one beyond this ratio
WORTH_SAYING = 1.5
_ELEMENT_CAUSES = frozenset({"element_ageing", "open_element", "open_circuit", "lost_phase"})
_SIGNS = {"ohm": "Ω", "amp": "A", "volt": "V"}


def with_readings(
    kiln: Kiln, condition: Condition | None, findings: Sequence[Finding], entries: Sequence[LogbookEntry]
) -> tuple[Finding, ...]:
    """Return the findings with their probabilities after the readings among ``entries``, each with its evidence.

    Readings at places for which nothing is expected, and other entries, change nothing.
    """
    found = list(findings)
    if not found or not any(entry.what == "measured" for entry in entries):
        return tuple(found)
    measurements = inspect(kiln, condition, found).measurements
    for entry in entries:
        step = place_of(entry, measurements)
        if step is not None and entry.value is not None:
            found = [_weighed(finding, step, entry, entry.value) for finding in found]
    return tuple(found)


def place_of(entry: LogbookEntry, measurements: Sequence[Measurement]) -> Measurement | None:
    """Return the measurement an entry is a reading of, by its place and quantity; None if there is none."""
    if entry.what != "measured" or entry.quantity is None:
        return None
    named = {(entry.where or "").strip().casefold()}
    if entry.circuit:
        named.add(f"circuit {entry.circuit}".casefold())
    return next((m for m in measurements if m.quantity == entry.quantity and m.key.casefold() in named), None)


def _weighed(finding: Finding, step: Measurement, entry: LogbookEntry, value: float) -> Finding:
    own, others = _split(finding, step)
    if not own or not others:
        return finding
    ratio = _explains(own, step, value) / _explains(others, step, value)
    ratio = min(MOST, max(1.0 / MOST, ratio))
    if 1.0 / WORTH_SAYING < ratio < WORTH_SAYING:
        return finding
    before = min(0.99, max(0.01, finding.probability))
    odds = before / (1.0 - before) * ratio
    likeliest = max((e for e in (*own, *others)), key=lambda e: _explains([e], step, value))
    reading = "Open" if is_open(entry) else f"{value:g} {_SIGNS[entry.quantity or 'ohm']}"
    said = f"{reading} was read at {step.key}"
    text = f"{said}; {likeliest.case} would read {likeliest.shown}."
    evidence = (*finding.evidence, Evidence(text, ratio > 1.0, log10(ratio)))
    return replace(finding, probability=odds / (1.0 + odds), evidence=evidence)


def is_open(entry: LogbookEntry) -> bool:
    """Return whether an entry says that the meter showed no reading."""
    return entry.quantity == "ohm" and entry.value is not None and entry.value >= OPEN_OHM


def _split(finding: Finding, step: Measurement) -> tuple[list[Expected], list[Expected]]:
    """Return the cases that would be seen if the finding were true, and those if it were not."""
    if finding.cause not in _ELEMENT_CAUSES and finding.cause != "low_supply":
        return [], []
    own = [e for e in step.expected if e.cause == finding.cause]
    if own and step.circuit and not (finding.circuit in (None, step.circuit) and finding.zone in (None, step.zone)):
        return [], []  # another circuit's reading says nothing of this one
    if not own and finding.cause == "low_supply" and step.quantity == "ohm":
        own = [e for e in step.expected if e.cause is None]  # low volts leave the ohms as new
    return own, [e for e in step.expected if e not in own]


def _explains(cases: Sequence[Expected], step: Measurement, value: float) -> float:
    """Return the mean density of a value over some cases, never below that of a slip."""
    if step.quantity == "ohm" and value >= OPEN_OHM:
        return max((1.0 - SLIP if e.shown.startswith("open") else SLIP) for e in cases)
    known = [(e.value, e.low, e.high) for e in cases]
    widest = max([1.0, *(high - low for _, low, high in known if low is not None and high is not None)])
    floor = SLIP / widest
    density = 0.0
    for middle, low, high in known:
        if middle is None or low is None or high is None or high <= low:
            continue
        spread = (high - low) / (2 * NINETY)
        if step.quantity == "ohm":
            spread = sqrt(spread**2 + LEAD_OHM**2)
        density += exp(-0.5 * ((value - middle) / spread) ** 2) / (spread * sqrt(2 * pi))
    return floor + density / max(1, len(known))

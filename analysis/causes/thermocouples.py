"""Thermocouples: readings that jump or vanish (a failing couple), and zones that slowly stop agreeing (drift)."""

from dataclasses import replace
from math import log, sqrt

from analysis.causes.case import Case, Suspicion, backs, speaks_against
from analysis.causes.memory import ZoneMemory

FEW_SAMPLES, MANY_SAMPLES = 3, 10
"""One or two odd samples are a logger's slip; ten in a firing are a couple or its wiring (common practice)."""

OFFSET_SPREAD_C = 2.5
_SHARE_SPREAD = 0.018
"""Least spread of a zone's offset while cooling, and of its share of duty: loads are never stacked alike twice."""

_SHARE_COUNTS, _MOST_SCORE = 2.0, 3.0
_DRIFT_MEMORY = 0.8
_DRIFT_ODDS_FROM = 4.6
"""Spreads of the weighted mean at which drift is as likely as not; healthy kilns wander to 3, once to 5."""


def suspect_fault(case: Case) -> list[Suspicion]:
    """Suspect a failing couple from samples that jumped or were missing, or from the controller's own words."""
    out = []
    signs = case.signs
    for zone, (jumped, missing) in enumerate(zip(signs.spikes, signs.dropouts, strict=True)):
        odd = jumped + missing
        if odd < FEW_SAMPLES and not (signs.sensor_stop and len(signs.spikes) == 1):
            continue
        log_odds = 2.0 + 1.2 * log(max(odd, 1) / FEW_SAMPLES) + (4.0 if signs.sensor_stop else 0.0)
        what = []
        if jumped:
            what.append(f"{jumped} samples jumped by more than any kiln can heat or cool")
        if missing:
            what.append(f"{missing} samples were missing or stuck")
        name = case.zone_name(zone)
        place = f" of zone {name}" if name and len(case.zones) > 1 else ""
        evidence = []
        if what:
            evidence.append(backs(f"In the thermocouple{place}, {' and '.join(what)} in this firing.", log_odds))
        if signs.sensor_stop:
            evidence.append(backs("The controller stopped the firing because of its sensor.", 4.0))
        if max(signs.swings, default=0) <= FEW_SAMPLES:
            evidence.append(backs("Between them the temperature ran on smoothly, so the heating itself is sound.", 0.5))
        urgent = signs.sensor_stop or odd >= MANY_SAMPLES
        out.append(
            Suspicion("thermocouple_fault", log_odds, name, urgent=urgent, lasting=True, evidence=tuple(evidence))
        )
    return out


def offsets_c(case: Case) -> list[float | None]:
    """Each zone's offset in free cooling, mean over the marks reached."""
    out: list[float | None] = []
    for row in case.signs.cooling_offset_c:
        known = [x for x in row if x is not None]
        out.append(sum(known) / len(known) if known else None)
    return out or [None] * len(case.zones)


def _hot_shares(case: Case) -> list[float | None]:
    shares = case.signs.hot_share
    return list(shares) if len(shares) == len(case.zones) else [None] * len(case.zones)


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's offsets and shares into each zone's memory, drift first, then what is usual."""
    out = []
    for memory, offset, share in zip(zones, offsets_c(case), _hot_shares(case), strict=True):
        cool = memory.cooling.distance(offset, OFFSET_SPREAD_C, enough=5)
        work = memory.hot_share.distance(share, _SHARE_SPREAD, enough=5)
        # A couple that reads low makes its zone truly hotter: it takes more of the work near the peak, where a wrong
        # reading is largest, and once the kiln cools by itself it reads below the others.
        parts = [(1.0, -cool)] if cool is not None else []
        parts += [(_SHARE_COUNTS, work)] if work is not None else []
        if parts:
            score = sum(w * p for w, p in parts) / sqrt(sum(w * w for w, _ in parts))
            score = max(-_MOST_SCORE, min(_MOST_SCORE, score))
            drift = _DRIFT_MEMORY * memory.drift + (1 - _DRIFT_MEMORY) * score
            weight = _DRIFT_MEMORY**2 * memory.drift_weight + (1 - _DRIFT_MEMORY) ** 2
            memory = replace(memory, drift=drift, drift_weight=weight)
        # What is far off says something is wrong, not what is usual.
        calm_offset = offset if cool is None or abs(cool) < _MOST_SCORE else None
        calm_share = share if work is None or abs(work) < _MOST_SCORE else None
        usual = memory.cooling.taken(calm_offset), memory.hot_share.taken(calm_share)
        out.append(replace(memory, cooling=usual[0], hot_share=usual[1]))
    return tuple(out)


def suspect_drift(case: Case, zones: tuple[ZoneMemory, ...]) -> list[Suspicion]:
    """Suspect a drifting couple where a zone's work and its reading in cooling slowly part from the others'."""
    if len(zones) < 2:
        return []
    scores = [z.drift / sqrt(z.drift_weight) if z.drift_weight > 0 else 0.0 for z in zones]
    number = max(range(len(scores)), key=lambda i: abs(scores[i]))
    if len(scores) == 2:
        # Two zones move against each other: which couple is wrong can't be told; one reading low is the commoner.
        number = max(range(2), key=lambda i: scores[i])
    score = scores[number]
    log_odds = 1.6 * (abs(score) - _DRIFT_ODDS_FROM) - 0.5
    if log_odds < -2.0:
        return []
    name = case.zone_name(number)
    sense = "low" if score > 0 else "high"
    text = (
        f"Over the last firings zone {name} has come to take {'more' if score > 0 else 'less'} of the work and to read "
        f"{'below' if score > 0 else 'above'} the other zones while the kiln cools by itself, as a thermocouple that "
        f"reads {sense} would make it."
    )
    evidence = [backs(text, log_odds)]
    if abs(score) > _DRIFT_ODDS_FROM:
        evidence.append(
            speaks_against(
                "A leak of heat in one zone gives the same pattern, but all at once and in every firing.", 0.7
            )
        )
    return [Suspicion("thermocouple_drift", log_odds, name, evidence=tuple(evidence))]

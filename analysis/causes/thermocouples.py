"""Thermocouples: readings that jump or vanish (a failing couple), and zones that slowly stop agreeing (drift)."""

from collections.abc import Sequence
from dataclasses import replace
from math import log, sqrt

from analysis.causes.case import Case, Suspicion, backs, speaks_against
from analysis.causes.cooling_offsets import (
    FIRST_FALL_C,
    KNOWN_PEAK,
    OFFSET_C,
    SHARE,
    TILT_C,
    TILT_OVER_C,
    after_first_fall_c,
    hot_shares,
    offsets_c,
    parting,
    surely_troubled,
    tilts_c,
    trouble_stands,
)
from analysis.causes.leaks import by_cooling
from analysis.causes.memory import USUAL_FIRINGS, Spreads, UsualByPeak, ZoneMemory
from analysis.causes.odds import log_odds_of, probability
from analysis.causes.stacking import stacked_otherwise

FEW_SAMPLES, MANY_SAMPLES = 3, 10
"""One or two odd samples are a logger's slip; ten in a firing are a couple or its wiring (common practice)."""

_SHOWS_FIRST_FALL, _SHOWS_COOLING, _SHOWS_TILT, _SHOWS_SHARE = 0.7, 0.45, 0.33, 0.01
"""What one deg C of error at 1200 deg C shows, for an error that grows with the temperature: in the offset after the
first fall (0.6 to 0.85 in simulated kilns) or, where that is unknown, in the offset later on (marks mean 540 deg C); in
its change over 400 deg C; and in the log share of the work near the peak (80 W per deg C of exchange between zones of
some 10 kW kiln). Over their spreads they are the weights of the three."""

_MOST_SCORE, _MOST_ONCE, _MOST_ONCE_C = 3.0, 5.0, 12.0
"""Spreads from which a measure is no usual one, and the most one firing may say, in spreads or deg C."""

_DRIFT_MEMORY = 0.8
_DRIFT_ODDS_FROM, _STILL_FROM = 4.6, 3.0
"""Spreads of the weighted mean at which drift is as likely as not; healthy kilns wander to 3, once to 5. Once told it
stands down to the second: couples do not mend themselves."""

_WORTH_C, _STILL_WORTH_C = 6.0, 4.0
"""Running estimate of the error at 1200 deg C worth a message: it lags a growing error by some 2 to 4 deg C, and under
8 deg C the ware hardly shows it (a cone is some 20)."""


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


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's offsets and shares into each zone's memory, drift first, then what is usual.

    While a drift or a leak stands nothing is usual, and firings to a peak that is not known yet say nothing of it. They
    make it known unless the trouble is sure: one that only seems to stand, as the peak is new, would stand for ever.
    """
    out = []
    restacked = any(stacked_otherwise(case))  # what it moves would be taken for an error of a couple
    stands = any(trouble_stands(zone) for zone in zones)
    apart = 1.0 - 1.0 / max(len(zones), 2)
    peak = case.firing.peak_c
    rows = zip(zones, parting(case, zones), tilts_c(case), hot_shares(case), strict=True)
    for memory, parted, (tilt, over_c), share in rows:
        # A couple that reads low makes its zone truly hotter: it takes more of the work near the peak, where a wrong
        # reading is largest, and once the kiln cools by itself it reads below the others, most so while still hot.
        shows = _SHOWS_FIRST_FALL if parted.early else _SHOWS_COOLING
        cool, cool_shows = _seen(parted.usual, peak, parted.offset_c, parted.spreads, shows * apart)
        # seen over half as many degrees it is known half as well
        spreads = Spreads(TILT_C.firings * TILT_OVER_C / over_c, TILT_C.peaks)
        tilted, tilt_shows = _seen(memory.tilt, peak, tilt, spreads, _SHOWS_TILT * apart)
        work, work_shows = _seen(memory.hot_share, peak, share, SHARE, _SHOWS_SHARE * apart)
        worth = cool_shows**2 + tilt_shows**2 + work_shows**2
        drift, weight, variance = memory.drift, memory.drift_weight, memory.drift_variance
        if worth > 0.0 and not restacked and not (stands and parted.usual.count(peak) < KNOWN_PEAK):
            along = -cool_shows * cool - tilt_shows * tilted + work_shows * work
            most = max(_MOST_ONCE * sqrt(worth), _MOST_ONCE_C * worth)
            drift = _DRIFT_MEMORY * drift + max(-most, min(most, along))
            weight = _DRIFT_MEMORY * weight + worth
            variance = _DRIFT_MEMORY**2 * variance + worth
        out.append(replace(memory, drift=drift, drift_weight=weight, drift_variance=variance))
    return _with_this_firing(case, out)


def _with_this_firing(case: Case, zones: Sequence[ZoneMemory]) -> tuple[ZoneMemory, ...]:
    """Take a firing into what is usual, but for what is far off: that says something is wrong, or the peak is new."""
    peak = case.firing.peak_c
    stands, sure = any(trouble_stands(zone) for zone in zones), any(surely_troubled(zone) for zone in zones)

    def taken(usual: UsualByPeak, value: float | None, spreads: Spreads | None = None) -> UsualByPeak:
        count = usual.count(peak)
        if count < KNOWN_PEAK:
            return usual if sure else usual.taken(value, peak)
        if stands:
            return usual
        far = None if spreads is None or count >= USUAL_FIRINGS else usual.distance(value, peak, spreads)
        return usual if far is not None and abs(far) >= _MOST_SCORE else usual.taken(value, peak)

    rows = zip(zones, offsets_c(case), after_first_fall_c(case), tilts_c(case), hot_shares(case), strict=True)
    return tuple(
        replace(
            zone,
            cooling=taken(zone.cooling, offset, OFFSET_C),
            first_fall=taken(zone.first_fall, fallen, FIRST_FALL_C),
            tilt=taken(zone.tilt, tilt),
            hot_share=taken(zone.hot_share, share, SHARE),
        )
        for zone, offset, fallen, (tilt, _), share in rows
    )


def _seen(
    usual: UsualByPeak, peak_c: float, value: float | None, spreads: Spreads, per_c: float
) -> tuple[float, float]:
    """Return how many spreads a measure is above its usual, and how many one deg C of error makes; 0 if unknown."""
    expected = None if value is None else usual.expected(peak_c, spreads)
    if value is None or expected is None:
        return 0.0, 0.0
    return (value - expected.value) / expected.error, per_c / expected.error


def suspect_drift(case: Case, zones: tuple[ZoneMemory, ...]) -> list[Suspicion]:
    """Suspect a drifting couple where a zone's work and its reading in cooling slowly part from the others'."""
    if len(zones) < 2:
        return []
    # The one couple whose error would explain most; two zones move against each other, so of two couples it can't be
    # told which is wrong: one reading low is the commoner.
    number = max(range(len(zones)), key=lambda i: zones[i].drift_c if len(zones) == 2 else abs(zones[i].drift_c))
    zone = zones[number]
    score = zone.drift_spreads
    stood = any(z.drifted for z in zones)
    by_score = 1.6 * (abs(score) - (_STILL_FROM if stood else _DRIFT_ODDS_FROM)) - 0.5
    log_odds = min(by_score, abs(zone.drift_c) - (_STILL_WORTH_C if stood else _WORTH_C))
    if score > 0.0:  # the same pattern, but all at once, is a leak's
        changed, suddenly = by_cooling(zone)
        log_odds = log_odds_of(probability(log_odds) * (1.0 - changed * suddenly))
    if log_odds < -2.0:
        return []
    name = case.zone_name(number)
    sense = "low" if score > 0 else "high"
    text = (
        f"Over the last firings zone {name} has come to {_shown(case, zones, number, low=score > 0)}, as a "
        f"thermocouple that reads {sense} by some {{dc:{abs(zone.drift_c):.0f}}} would make it."
    )
    evidence = [backs(text, log_odds)]
    if score > _DRIFT_ODDS_FROM:
        evidence.append(
            speaks_against(
                "A leak of heat in one zone gives the same pattern, but all at once and in every firing.", 0.7
            )
        )
    return [Suspicion("thermocouple_drift", log_odds, name, evidence=tuple(evidence))]


def _shown(case: Case, zones: tuple[ZoneMemory, ...], number: int, *, low: bool) -> str:
    """Return in words what a zone has come to do, as far as this firing measured it."""
    peak, sign = case.firing.peak_c, 1.0 if low else -1.0
    work = zones[number].hot_share.distance(hot_shares(case)[number], peak, SHARE)
    cooling = parting(case, zones)[number].distance(peak)
    shown = []
    if work is not None and sign * work > 0.0:
        shown.append(f"take {'more' if low else 'less'} of the work")
    if cooling is not None and sign * cooling < 0.0:
        shown.append(f"read {'below' if low else 'above'} the other zones while the kiln cools by itself")
    return " and to ".join(shown) or "part from the others"

"""Contacts: a relay that stays closed (heat with no demand), and a connection that comes and goes."""

from dataclasses import replace

from analysis.causes.case import Case, Suspicion, backs, speaks_against
from analysis.causes.memory import Usual, ZoneMemory
from analysis.signs import LEAST_RISE_C

_SEES_PULSES_S, _ALIAS_MINUTES = 10.0, 60.0
"""A relay sampled more slowly than half its cycle (20 s or so) can read "off" many times running while it pulses, when
the two beat against each other. Such zeros count only if they last longer than a beat does, not at all at a step that
may be a multiple of the cycle, and not while the zone climbs evenly: a closed contact gives it the same power, and less
and less of a climb, while its controller gives it the same climb."""

_LONGEST_STEP_S = 60.0

_RAN_AWAY = 5.0
"""Log odds of a closed contact where a zone ran away: a wrong couple is left, or dead zones beside one that is fired as
fast as it can be."""

_UNASKED, _MOST_UNASKED, _FLOWS = 0.12, 0.08, 5.0
"""Share of the full current above the usual that a contact lets through unasked: kilns have at most eight circuits or
so. Where more than a twelfth flows usually something else hangs on the clamp, or amps and output are not of one time.
Log odds of such a current: an element under current is what a closed contact is."""

SOME_SWINGS = 5
_DEEP_C = 10.0
"""A contact that fails stays open for minutes: at least three times the zone falls this far behind its own climb. A
controller's limit cycle is over in half of that (some 3 to 8 deg C)."""

_SWING_SPREAD, _NEW_TO_IT, _CALM, _CYCLE = 2.0, 3.0, 5.0, 12
"""Shallow swings count only at a kiln that had none: this many spreads beyond its usual, which is a calm one; only up
to a dozen, as a contact open for minutes at a time cannot come and go so often: more are a controller's cycle."""

_MORE_THAN_USUAL, _HABIT = 2.0, 3
"""Deep ones count beyond this many spreads, once so many firings are known: heat switched on and off about a dead band
makes a saw of the climb, at one kiln a deep one."""


def suspect_welded(case: Case) -> list[Suspicion]:
    """Suspect a welded contact where a zone heats on, or current flows, with no demand."""
    warmed = _heats_on(case) or _ran_away(case)
    flows = _flows_unasked(case)
    if not flows:
        return warmed
    if not warmed:
        return [_placed(case, flows[0])]
    both = (*warmed[0].evidence, *flows[0].evidence)
    return [replace(warmed[0], log_odds=warmed[0].log_odds + _FLOWS, evidence=both)]


def _heats_on(case: Case) -> list[Suspicion]:
    """Suspect one where a zone went on warming with no demand."""
    free = case.signs.free_heat
    if free is None:
        return []
    sure = free.beyond_overshoot
    if free.above_c is None and case.measures.output == "on-off" and case.measures.sample_s > _SEES_PULSES_S:
        sure &= free.minutes >= _ALIAS_MINUTES and case.measures.sample_s <= _LONGEST_STEP_S and not free.even
    if not sure:
        return []
    spiked = case.signs.spikes[free.zone] + case.signs.dropouts[free.zone] if case.signs.spikes else 0
    log_odds = 5.0 + 0.03 * (free.rise_c - LEAST_RISE_C) - (4.0 if spiked >= 3 else 0.0)
    name = case.zone_name(free.zone)
    place = f"Zone {name}" if name and len(case.zones) > 1 else "The kiln"
    where = "" if free.above_c is None else f", to {{dc:{free.above_c:.0f}}} above its set point"
    evidence = [
        backs(
            f"{place} went on warming by {{dc:{free.rise_c:.0f}}} in {free.minutes:.0f} minutes with no demand{where}.",
            5.0,
        )
    ]
    if case.signs.hot_stop:
        evidence.append(backs("The controller stopped the firing because it was too hot.", 2.0))
    if spiked >= 3:
        evidence.append(
            speaks_against("Its thermocouple also jumped in this firing, so the rise may not be real.", 4.0)
        )
    return [Suspicion("welded_contact", log_odds, name, urgent=True, lasting=True, evidence=tuple(evidence))]


def _ran_away(case: Case) -> list[Suspicion]:
    """Suspect one where a zone left the others behind from cold and the firing ended there."""
    ran = case.signs.runaway
    if ran is None or (case.signs.spikes and case.signs.spikes[ran.zone] + case.signs.dropouts[ran.zone] >= 3):
        return []
    name = case.zone_name(ran.zone)
    text = (
        f"Zone {name} ran away from the others by {{dc:{ran.ahead_c:.0f}}} while the kiln was hardly warm, several "
        "times as fast as they climbed, and the log ends there: as if its contact had stayed closed."
    )
    evidence = (backs(text, _RAN_AWAY),)
    return [Suspicion("welded_contact", _RAN_AWAY, name, urgent=True, lasting=True, evidence=evidence)]


def _flows_unasked(case: Case) -> list[Suspicion]:
    """Suspect one where current flows that no zone asks for, at a kiln where none did."""
    share = case.measures.unasked_current
    if share is None or not _beyond_usual(share, case.memory.unasked):
        return []
    text = (
        f"While no zone asked for heat about {100 * share:.0f} % of the kiln's full current flowed, where usually "
        "none does: a contact stays closed."
    )
    name = case.zone_name(0) if len(case.zones) == 1 else None
    evidence = (backs(text, _FLOWS),)
    return [Suspicion("welded_contact", _FLOWS, name, urgent=True, lasting=True, evidence=evidence)]


def _placed(case: Case, flows: Suspicion) -> Suspicion:
    """Return the suspicion of a current, which tells no zone, in the zone where a closed contact stands already.

    A zone does not warm unasked in every firing whose contact is closed (it may be hot already, and only hold), so the
    current is that contact's until work on its relay is in the logbook. Of several it is the surest one's.
    """
    stands = [s for s in case.memory.standing if s.cause == flows.cause and s.zone is not None]
    if flows.zone is not None or not stands:
        return flows
    surest = max(stands, key=lambda s: s.log_odds)
    text = (
        f"An earlier firing pointed to zone {surest.zone}, and no work on its relay is in the logbook since; the "
        "current alone does not tell the zone."
    )
    return replace(flows, zone=surest.zone, evidence=(*flows.evidence, backs(text, max(surest.log_odds, 0.1))))


def _beyond_usual(share: float, usual: Usual) -> bool:
    return usual.count >= _KNOWN and usual.mean < _MOST_UNASKED and share > usual.mean + _UNASKED


def unasked_taken(case: Case, usual: Usual) -> Usual:
    """Return what is usual with the current this firing drew unasked, unless that is a fault."""
    share = case.measures.unasked_current
    return usual if share is None or _beyond_usual(share, usual) else usual.taken(share)


def suspect_loose(case: Case) -> list[Suspicion]:
    """Suspect a loose connection where current, or the climb, breaks down and recovers again and again in a firing."""
    return _torn(case) or _swinging(case)


_SOME_TURNS = 6
_STAGED, _KNOWN = 3.0, 2
"""Turns of the current between two levels that an element that opens for good does not make (it makes one); a usual
number from which on the kiln's own switching is in stages, and firings in which that shows."""


def _torn(case: Case) -> list[Suspicion]:
    """Suspect a loose connection where part of the current is missing now and then within a firing."""
    torn = case.measures.torn_current
    usual = case.memory.torn
    if torn is None or torn.turns < _SOME_TURNS or usual.count < _KNOWN or usual.mean > _STAGED:
        return []
    log_odds = min(0.5 * torn.turns, 7.0)
    text = (
        f"With everything closed {100 * torn.missing:.0f} % of the current went missing and came back, "
        f"{torn.turns // 2} times within this firing: a circuit loses contact and finds it again."
    )
    return [Suspicion("loose_connection", log_odds, case.zone_name(0), lasting=True, evidence=(backs(text, log_odds),))]


def turns_taken(case: Case, usual: Usual) -> Usual:
    """Return what is usual with the turns of this firing's current, at a kiln of one zone whose amps are logged."""
    if case.log.amps is None or len(case.zones) > 1:
        return usual
    turns = 0.0 if case.measures.torn_current is None else float(case.measures.torn_current.turns)
    if usual.count >= _KNOWN and usual.mean <= _STAGED and turns >= _SOME_TURNS:
        return usual  # a fault, not what is usual
    return usual.taken(turns)


def _swinging(case: Case) -> list[Suspicion]:
    signs = case.signs
    if not signs.swings or signs.ran_away:  # heat that comes and goes unasked swings all there is
        return []
    clean = [
        0 if (signs.spikes and signs.spikes[i] + signs.dropouts[i] >= 3) or not _failing(case, i) else count
        for i, count in enumerate(signs.swings)
    ]
    number = max(range(len(clean)), key=lambda i: clean[i])
    count = clean[number]
    if count < SOME_SWINGS:
        return []
    log_odds = 0.9 * (count - 6.5)
    log_odds = min(log_odds, 7.0)
    name = case.zone_name(number)
    place = f"zone {name}" if name and len(case.zones) > 1 else "the kiln"
    evidence = [
        backs(
            f"The climb of {place} broke down and recovered {count // 2 + count % 2} times within this firing, "
            "each time within minutes: power comes and goes.",
            log_odds,
        )
    ]
    others = [c for i, c in enumerate(clean) if i != number]
    if others and count >= 1.5 * max(others) + 2:
        evidence.append(backs("The other zones did so much less, so the fault is in this zone's own circuit.", 0.7))
    return [Suspicion("loose_connection", log_odds, name, lasting=True, evidence=tuple(evidence))]


def _failing(case: Case, zone: int) -> bool:
    """Whether a zone's swings are those of a failing contact: deep ones, or any at a kiln that never swung before."""
    depth, count = case.signs.dips_c, case.signs.swings[zone]
    deep = zone >= len(depth) or depth[zone] >= _DEEP_C
    if zone >= len(case.memory.zones):
        return deep
    usual = case.memory.zones[zone].swings
    if deep:
        far = usual.distance(float(count), _SWING_SPREAD, enough=_HABIT)
        return far is None or far > _MORE_THAN_USUAL
    if count > _CYCLE:
        return False
    far = usual.distance(float(count), _SWING_SPREAD, enough=6)
    return far is not None and far > _NEW_TO_IT and usual.mean < _CALM


def remember(case: Case, zones: tuple[ZoneMemory, ...]) -> tuple[ZoneMemory, ...]:
    """Take this firing's swings into what is usual for each zone."""
    if len(case.signs.swings) != len(zones):
        return zones
    usual = [zone.swings.taken(float(count)) for zone, count in zip(zones, case.signs.swings, strict=True)]
    return tuple(
        zone if swings is zone.swings else replace(zone, swings=swings)
        for zone, swings in zip(zones, usual, strict=True)
    )

"""The life of an alert, as one pure state machine: what was seen moves the state.

``observe`` takes what happened and returns the alerts as they now stand, with the transitions made; what is then to
be said of them is ``telling``'s matter. Neither reads a clock, a file or a setting.

States: watching -> open -> acknowledged -> cleared (and open again, as the same incident, if it comes back soon).
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from daemon.alerts.hiding import hide, same_family
from daemon.alerts.incident import (
    URGENT,
    Acknowledged,
    Alert,
    Change,
    ChangeKind,
    Event,
    Facts,
    FiringSeen,
    Muted,
    Sighted,
    State,
    incident_id,
)
from daemon.alerts.policy import Policy

REMEMBERED = 16
"""Firings remembered of one alert; more than any rule below looks back."""
LONGEST_CLEARING = 8
"""However often a trouble came back, so many good firings clear it."""
COMES_AND_GOES = frozenset({"low_supply", "loose_connection", "thermocouple_fault"})
OFTEN, AMONG = 3, 12
"""What may be there on some days only (volts low when the neighbours cook) is told once it was there so many times
among so many firings, however far apart."""


def observe(
    alerts: Sequence[Alert], event: Event, policy: Policy, now: datetime
) -> tuple[tuple[Alert, ...], tuple[Change, ...]]:
    """Return the alerts after ``event`` and the transitions made.

    ``alerts`` must hold all alerts of the event's kiln that are not cleared, and those cleared within
    ``policy.return_within``. ``now`` is aware UTC.
    """
    changes: list[Change] = []
    match event:
        case FiringSeen():
            moved = _firing_seen(alerts, event, policy, now, changes)
        case Sighted():
            moved = _sighted(alerts, event, policy, now, changes)
        case Acknowledged():
            moved = [_acknowledge(a, now, changes) if a.incident == event.incident else a for a in alerts]
        case Muted():
            moved = [_mute(a, event.until, changes) if a.incident == event.incident else a for a in alerts]
    hidden = hide(moved)
    for before, after in zip(moved, hidden, strict=True):
        if after.standing and before.hidden_by != after.hidden_by:
            kind: ChangeKind = "shown" if after.hidden_by is None else "hidden"
            changes.append(Change(after.incident, kind, f"explained by {after.hidden_by or before.hidden_by}"))
    return tuple(hidden), tuple(changes)


# -- what was seen ----------------------------------------------------------------------------------------------


def _firing_seen(
    alerts: Sequence[Alert], event: FiringSeen, policy: Policy, now: datetime, changes: list[Change]
) -> list[Alert]:
    mine = [a for a in alerts if a.source == "firing" and a.kiln == event.kiln]
    others = [a for a in alerts if a not in mine]
    mine = [_back_to_before(a, event.index) for a in mine]
    pairs, new = _match(mine, [f for f in event.facts if f.rank], policy, now, index=event.index)
    moved = []
    for alert in mine:
        facts = pairs.get(alert.incident)
        if facts is None:
            counts = (
                event.informative and event.index >= alert.first_index
            )  # earlier firings, judged again, say nothing
            seen = (*alert.seen, (event.index, 0)) if counts else alert.seen
            alert = replace(alert, seen=seen[-REMEMBERED:])
        else:
            if facts.cause != alert.cause and alert.standing:
                changes.append(Change(alert.incident, "renamed", f"{alert.cause} is now thought to be {facts.cause}"))
            kept = replace(facts, since=alert.since or facts.since) if facts.cause == alert.cause else facts
            seen = (*alert.seen, (event.index, facts.rank))[-REMEMBERED:]
            alert = replace(alert, facts=kept, seen=seen, first_index=min(alert.first_index, event.index))
        moved.append(alert)
    for facts in new:
        name = incident_id("firing", event.kiln, facts, str(event.index))
        if any(a.incident == name for a in alerts):
            continue  # the very same beginning is known: a firing read again
        moved.append(
            Alert(
                incident=name,
                source="firing",
                kiln=event.kiln,
                facts=facts,
                state="watching",
                first_seen_at=now,
                first_index=event.index,
                seen=((event.index, facts.rank),),
            )
        )
        changes.append(Change(name, "noticed", "first seen"))
    stepped = [_step_firing(a, event, policy, now, changes) for a in moved]
    return [*others, *(a for a in stepped if a is not None)]


def _step_firing(alert: Alert, event: FiringSeen, policy: Policy, now: datetime, changes: list[Change]) -> Alert | None:
    """Move one alert of the kiln after its ``seen`` has been brought up to date; None drops it."""
    if event.index < alert.first_index:
        return alert
    ranks = [rank for index, rank in alert.seen if index > alert.cleared_index]
    newest = ranks[-1] if alert.seen and alert.seen[-1][0] == event.index else None
    absent = next((n for n, rank in enumerate(reversed(ranks)) if rank), len(ranks))
    there = sum(rank > 0 for rank in ranks[-(policy.confirm_firings + 1) :])
    enough_times, patience = there >= policy.confirm_firings, policy.confirm_firings
    if alert.cause in COMES_AND_GOES and not enough_times:
        there = sum(rank > 0 for rank in ranks[-AMONG:])
        enough_times, patience = there >= OFTEN, AMONG - 1
    confirmed = newest == URGENT or (bool(newest) and enough_times)
    if alert.standing:
        enough = min(policy.clear_firings * 2**alert.returns, LONGEST_CLEARING)
        if not any(ranks) and alert.first_index == event.index:
            changes.append(Change(alert.incident, "withdrawn", "a fuller log shows that it never was"))
            return _clear(alert, event, now)
        if newest == 0 and event.verified:
            changes.append(Change(alert.incident, "cleared", "gone in the first firing after a repair"))
            return _clear(alert, event, now)
        if absent >= enough:
            changes.append(Change(alert.incident, "cleared", f"not there in {absent} firings running"))
            return _clear(alert, event, now)
        return alert
    if confirmed:
        return _raise(alert, now, changes, "urgent: at once" if newest == URGENT else f"seen in {there} firings")
    if alert.state == "watching" and alert.raised_at is None and (not any(ranks) or absent > patience):
        changes.append(Change(alert.incident, "dropped", "not confirmed"))
        return None
    return alert


def _back_to_before(alert: Alert, index: int) -> Alert:
    """Forget what firings from ``index`` on showed: they are being judged anew."""
    anew = alert.cleared_index >= index
    seen = tuple(s for s in alert.seen if s[0] < index)
    return replace(alert, seen=seen, cleared_index=-1 if anew else alert.cleared_index)


def _clear(alert: Alert, event: FiringSeen, now: datetime) -> Alert:
    facts = replace(alert.facts, closing=event.closing, gone_at=event.at)
    return replace(alert, facts=facts, state="cleared", cleared_at=now, cleared_index=event.index)


def _sighted(
    alerts: Sequence[Alert], event: Sighted, policy: Policy, now: datetime, changes: list[Change]
) -> list[Alert]:
    def meant(alert: Alert) -> bool:
        return (
            alert.source == event.source
            and alert.kiln == event.kiln
            and alert.facts.scope == event.scope
            and (event.causes is None or alert.cause in event.causes)
        )

    mine = [a for a in alerts if meant(a)]
    moved = [a for a in alerts if not meant(a)]
    pairs, new = _match(mine, event.facts, policy, now, exact=True)
    for alert in mine:
        facts = pairs.get(alert.incident)
        if facts is None and alert.standing:
            changes.append(Change(alert.incident, "cleared", "no longer so"))
            gone = replace(alert.facts, closing=event.closing)
            told_rank = 0 if event.in_silence else alert.told_rank
            alert = replace(alert, facts=gone, state="cleared", cleared_at=now, told_rank=told_rank)
        elif facts is not None:
            alert = replace(alert, facts=replace(facts, since=alert.since or facts.since))
            if not alert.standing:
                alert = _raise(alert, now, changes, "so again")
        moved.append(alert)
    for facts in new:
        name = incident_id(event.source, event.kiln, facts, now.isoformat())
        alert = Alert(name, event.source, event.kiln, facts, "watching", first_seen_at=now)
        moved.append(_raise(alert, now, changes, "seen"))
    return moved


def _match(
    alerts: Sequence[Alert],
    facts: Iterable[Facts],
    policy: Policy,
    now: datetime,
    *,
    index: int = 0,
    exact: bool = False,
) -> tuple[dict[str, Facts], list[Facts]]:
    """Pair each fact with the alert it belongs to: the surest likeness first, each alert and fact used once."""
    able = [a for a in alerts if a.cleared_at is None or a.state != "cleared" or _recent(a, policy, now)]
    likenesses: tuple[Callable[[Alert, Facts], bool], ...] = (
        lambda a, f: (a.cause, a.zone, a.circuit) == (f.cause, f.zone, f.circuit),
        lambda a, f: a.cause == f.cause and _same_place(a, f),
        lambda a, f: a.cause == f.cause and a.state != "cleared",
        lambda a, f: same_family(a.cause, f.cause) and a.standing and a.first_index <= index and _same_place(a, f),
    )
    left = list(facts)
    pairs: dict[str, Facts] = {}
    for alike in likenesses[:1] if exact else likenesses:
        for fact in tuple(left):
            found = next((a for a in able if a.incident not in pairs and alike(a, fact)), None)
            if found is not None:
                pairs[found.incident] = fact
                left.remove(fact)
    return pairs, left


def _same_place(alert: Alert, facts: Facts) -> bool:
    zones = alert.zone is None or facts.zone is None or alert.zone == facts.zone
    return zones and (alert.circuit is None or facts.circuit is None or alert.circuit == facts.circuit)


def _recent(alert: Alert, policy: Policy, now: datetime) -> bool:
    return alert.cleared_at is not None and now - alert.cleared_at <= policy.return_within


def _raise(alert: Alert, now: datetime, changes: list[Change], reason: str) -> Alert:
    back = alert.raised_at is not None
    changes.append(Change(alert.incident, "returned" if back else "raised", reason))
    if alert.told_rank:  # its end was never told (judged again meanwhile): for people it has stood all along
        state: State = "open" if alert.acknowledged_at is None else "acknowledged"
        return replace(alert, state=state, cleared_at=None)
    return replace(alert, state="open", raised_at=now, cleared_at=None)


def _acknowledge(alert: Alert, now: datetime, changes: list[Change]) -> Alert:
    if not alert.standing:
        return alert
    changes.append(Change(alert.incident, "acknowledged", "a person has seen it"))
    return replace(alert, state="acknowledged", acknowledged_at=now)


def _mute(alert: Alert, until: datetime | None, changes: list[Change]) -> Alert:
    changes.append(Change(alert.incident, "unmuted" if until is None else "muted", "a person asked for it"))
    return replace(alert, muted_until=until, muted_rank=0 if until is None else alert.facts.rank)

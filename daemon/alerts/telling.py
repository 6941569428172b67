"""What people are owed to hear: how alerts stand, compared with what was last told of them. Pure.

Because telling looks at the state and not at the way there, a replayed log, a worked-off backlog or a restart tells
today's truth once.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from daemon.alerts.incident import URGENT, Alert, Telling, TellingKind
from daemon.alerts.policy import Policy


def tell(
    alerts: Sequence[Alert], policy: Policy, now: datetime, *, kiln_muted_until: datetime | None = None
) -> tuple[tuple[Alert, ...], tuple[Telling, ...]]:
    """Return the alerts as told and the messages owed at ``now``: at most one for each alert.

    Closings come first, then the worst. A muted kiln keeps its warnings back, never what is urgent; a muted incident
    is silent until it gets worse.
    """
    told: list[Alert] = []
    tellings: list[Telling] = []
    for alert in sorted(alerts, key=lambda a: (a.state != "cleared", -a.facts.rank, a.incident)):
        alert = _not_in_the_future(alert, now)
        owed = _owed(alert, policy, now, kiln_muted=kiln_muted_until is not None and now < kiln_muted_until)
        if owed is not None:
            kind, reason = owed
            tellings.append(Telling(alert, kind, alert.tellings + 1, reason))
            alert = _as_told(alert, kind, now)
        elif alert.state == "cleared" and alert.told_rank:
            alert = _closed(alert)  # in silence: the cause that explained it was told
        told.append(alert)
    return tuple(told), tuple(tellings)


def _owed(alert: Alert, policy: Policy, now: datetime, *, kiln_muted: bool) -> tuple[TellingKind, str] | None:
    """The table of telling, first rule that fits."""
    rank = alert.facts.rank
    told_for = timedelta(0) if alert.told_at is None else now - alert.told_at
    if alert.state == "cleared":  # a closing only where an opening was told, and not when a worse cause spoke for it
        return ("cleared", "no longer there") if alert.told_rank and alert.hidden_by is None else None
    if not alert.standing or rank == 0 or alert.hidden_by is not None:
        return None
    muted = alert.muted_until is not None and now < alert.muted_until and rank <= alert.muted_rank
    if muted or (kiln_muted and rank < URGENT):
        return None
    if alert.told_rank == 0:
        if alert.told_at is None:
            return "raised", "new"
        apart = policy.urgent_repeat if alert.source == "machine" else policy.between_returns
        if rank == URGENT or told_for >= apart:
            return "returned", "back again"
        return None  # a warning that comes and goes speaks once a week at most
    if rank > alert.told_rank:
        return "worsened", "more severe"
    if alert.told_power is not None and alert.facts.power is not None:
        fall, surely = alert.told_power - alert.facts.power, alert.facts.power_high
        if fall >= policy.power_fall and (surely is None or surely < alert.told_power):
            return "worsened", f"power down by another {100 * fall:.0f} points"
    return _owed_again(alert, policy, told_for, now)


def _owed_again(alert: Alert, policy: Policy, told_for: timedelta, now: datetime) -> tuple[TellingKind, str] | None:
    """What is owed of an alert that is no worse than told: nothing once acknowledged."""
    if alert.state == "acknowledged":
        return None
    urgent = alert.facts.rank == URGENT
    gap = (policy.urgent_repeat if urgent else policy.repeat) * min(2**alert.repeats, 4)
    told_urgent = alert.urgent_told_at if urgent and policy.escalates and alert.escalated_at is None else None
    if told_urgent is not None and now - told_urgent >= policy.escalate_after:
        return "escalated", "urgent and not acknowledged"
    if alert.cause != alert.told_cause and told_for >= (policy.urgent_repeat if urgent else policy.between_returns):
        return "revised", "now thought to have another cause"
    # after one reminder, only a new firing gives a reason to say it again
    fired = alert.source != "firing" or alert.repeats == 0 or _newest(alert) > alert.told_index
    if alert.source != "live" and told_for >= gap and fired:
        return "repeated", f"still there after {told_for.total_seconds() / 86400:.0f} days"
    return None


def _as_told(alert: Alert, kind: TellingKind, now: datetime) -> Alert:
    if kind == "cleared":
        return replace(_closed(alert), tellings=alert.tellings + 1)
    rank = alert.facts.rank
    worse = kind in ("raised", "returned", "worsened")
    newly_urgent = rank == URGENT and worse and (alert.told_rank < URGENT or alert.urgent_told_at is None)
    return replace(
        alert,
        state="open" if kind == "worsened" else alert.state,
        told_at=now,
        told_rank=max(rank, alert.told_rank),
        told_cause=alert.cause,
        told_index=_newest(alert),
        told_power=alert.facts.power,
        urgent_told_at=now if newly_urgent else alert.urgent_told_at,
        escalated_at=now if kind == "escalated" else alert.escalated_at,
        returns=alert.returns + (kind == "returned"),
        repeats=0 if worse else alert.repeats + (kind == "repeated"),
        tellings=alert.tellings + 1,
    )


def _newest(alert: Alert) -> int:
    return alert.seen[-1][0] if alert.seen else -1


def _closed(alert: Alert) -> Alert:
    """People know that it is over: what they asked for about it ends with it."""
    return replace(alert, told_rank=0, repeats=0, acknowledged_at=None, escalated_at=None, muted_until=None)


def _not_in_the_future(alert: Alert, now: datetime) -> Alert:
    """After the clock was set back, count the waits from now: nothing stays silent for the length of the jump."""
    told = None if alert.told_at is None else min(alert.told_at, now)
    urgent = None if alert.urgent_told_at is None else min(alert.urgent_told_at, now)
    return replace(alert, told_at=told, urgent_told_at=urgent)

"""Quiet hours: the one gate every message passes, be it the first, a repeat, an escalation or a closing."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from analysis.findings import Severity
from config.alerts import AlertSettings


def may_send(severity: Severity, kind: str, now: datetime, alerts: AlertSettings, time_zone: str) -> bool:
    """Whether a message may leave now. What is urgent always may, but for the news that it is over."""
    if severity == "urgent" and kind != "cleared":
        return True
    return not is_quiet(now, alerts, time_zone)


def is_quiet(now: datetime, alerts: AlertSettings, time_zone: str) -> bool:
    """Whether the studio's clock stands within the quiet hours (which may pass midnight)."""
    if alerts.quiet_from is None or alerts.quiet_to is None:
        return False
    local = now.astimezone(ZoneInfo(time_zone)).time()
    return _within(local, alerts.quiet_from, alerts.quiet_to)


def _within(at: time, start: time, end: time) -> bool:
    return start <= at < end if start <= end else at >= start or at < end

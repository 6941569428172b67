"""Alerts: from what was seen to messages owed. The life cycle is pure; ``desk`` applies it to the database."""

from daemon.alerts.desk import (
    MACHINE_ROOM,
    acknowledge,
    mute,
    open_alerts,
    record,
    sighted,
    summary,
    tick,
    trouble,
    trouble_over,
)

__all__ = [
    "MACHINE_ROOM",
    "acknowledge",
    "mute",
    "open_alerts",
    "record",
    "sighted",
    "summary",
    "tick",
    "trouble",
    "trouble_over",
]

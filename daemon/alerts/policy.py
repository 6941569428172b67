"""The figures of the rules by which alerts live and are told."""

from dataclasses import dataclass
from datetime import timedelta


@dataclass(frozen=True, slots=True)
class Policy:
    """The rules' figures (from ``config.alerts.AlertSettings``); ``escalates`` if there is a second group."""

    confirm_firings: int = 2
    clear_firings: int = 2
    power_fall: float = 0.05
    repeat: timedelta = timedelta(days=14)
    urgent_repeat: timedelta = timedelta(hours=24)
    escalate_after: timedelta = timedelta(hours=6)
    escalates: bool = False
    return_within: timedelta = timedelta(days=60)
    between_returns: timedelta = timedelta(days=7)

"""Which causes explain which: one message for one trouble.

A cause hides another of the same kiln only if it is at least as severe, so nothing urgent is ever hidden behind a
warning. Trade reasoning: lost heating power makes a kiln look aged, slow, heavily loaded or aborted; a bad
thermocouple makes everything read from it doubtful. (Common practice, no source.)
"""

from collections.abc import Iterable
from dataclasses import replace

from daemon.alerts.incident import Alert

_LESSER_POWER = frozenset({"element_ageing", "loose_connection", "heavy_load", "programme_change", "aborted_firing"})
_FALLING_BEHIND = frozenset({"behind", "stalled", "gone_silent"})  # a controller that gives up stops logging too

EXPLAINS: dict[str, frozenset[str]] = {
    "lost_phase": _LESSER_POWER | _FALLING_BEHIND | {"open_circuit", "open_element", "low_supply", "heat_leak"},
    "open_circuit": _LESSER_POWER | _FALLING_BEHIND | {"open_element", "low_supply", "heat_leak"},
    "open_element": _LESSER_POWER | _FALLING_BEHIND | {"low_supply", "heat_leak"},
    "loose_connection": _FALLING_BEHIND | {"aborted_firing", "heavy_load", "programme_change"},
    "low_supply": _FALLING_BEHIND | {"element_ageing", "heavy_load", "aborted_firing"},
    "element_ageing": _FALLING_BEHIND | {"heavy_load", "programme_change", "aborted_firing"},
    "heat_leak": _FALLING_BEHIND | {"heavy_load", "programme_change", "aborted_firing"},
    "thermocouple_fault": frozenset(
        {"thermocouple_drift", "thermocouple_jumping", "element_ageing", "heat_leak", "heavy_load", "aborted_firing"}
    ),
    "thermocouple_drift": frozenset({"heat_leak", "programme_change"}),
    "heavy_load": frozenset({"behind"}),
    "stalled": frozenset({"behind"}),
    "heating_blind": frozenset({"behind", "stalled", "thermocouple_jumping"}),
    "over_temperature": frozenset({"heat_without_demand"}),
    "incomplete_log": frozenset({"programme_change", "aborted_firing"}),
    "aborted_firing": frozenset({"gone_silent"}),
}

FAMILIES: tuple[frozenset[str], ...] = (
    frozenset({"open_element", "open_circuit", "lost_phase", "loose_connection"}),
    frozenset({"thermocouple_fault", "thermocouple_drift"}),
    frozenset({"element_ageing", "low_supply", "heat_leak"}),
)
"""Causes a diagnosis may move between while it stays the same trouble (and keeps its incident id)."""


def same_family(one: str, other: str) -> bool:
    """Whether a diagnosis that moved from one cause to the other is still the same trouble."""
    return any(one in family and other in family for family in FAMILIES)


def _explains(worse: Alert, lesser: Alert) -> bool:
    apart = worse.zone is not None and lesser.zone is not None and worse.zone != lesser.zone
    return (
        worse.standing
        and worse.kiln == lesser.kiln
        and worse.incident != lesser.incident
        and worse.facts.rank >= lesser.facts.rank
        and lesser.cause in EXPLAINS.get(worse.cause, frozenset())
        and not (apart and lesser.source == "firing")
    )


def hide(alerts: Iterable[Alert]) -> list[Alert]:
    """Return the alerts with ``hidden_by`` set anew for those not cleared (a cleared one keeps who hid it)."""
    known = list(alerts)
    result = []
    for alert in known:
        if alert.state == "cleared":
            result.append(alert)
            continue
        by = next((worse.incident for worse in known if _explains(worse, alert)), None)
        result.append(replace(alert, hidden_by=by))
    return result

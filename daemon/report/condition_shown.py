"""The condition the visit sheet reckons with: the stored one, or as much of it as an assessment shows."""

from math import log

from analysis.assessment import Assessment
from analysis.condition import Balance, Condition, Step
from analysis.findings import PowerRatio
from analysis.measures import Estimate

NINETY = 2 * 1.645  # a 90 % interval's width in standard errors


def condition_of(said: Assessment) -> Condition | None:
    """Return the kiln's condition after a firing, or None where its power is not known."""
    stored: object = getattr(said, "condition", None)
    if isinstance(stored, Condition):
        return stored
    level = _estimate(said.power)
    if level is None:
        return None
    stepped = next((f for f in said.findings if f.power_step is not None and f.power_step > -1), None)
    step = None
    if stepped is not None and stepped.power_step is not None:
        size = Estimate(log(1 + stepped.power_step), 0.03)
        zones = tuple(
            Estimate(_log_or_nought(z.power), 0.05) if stepped.zone == z.zone else Estimate(0.0, 0.05)
            for z in said.zones
        )
        step = Step(stepped.since_firing or said.index, stepped.since, stepped.probability, size, zones)
    return Condition(
        said.index,
        said.reference,
        0,
        said.power.basis,
        level,
        None,
        tuple(_estimate(zone.power) for zone in said.zones),
        _estimate(said.firing_power),
        None,
        Balance(),
        step,
    )


def _log_or_nought(ratio: PowerRatio) -> float:
    return log(ratio.value) if ratio.value else 0.0


def _estimate(ratio: PowerRatio) -> Estimate | None:
    if not ratio.value or not ratio.low or not ratio.high:
        return None
    return Estimate(log(ratio.value), (log(ratio.high) - log(ratio.low)) / NINETY)

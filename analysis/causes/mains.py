"""The supply: volts that fell, or all zones weaker alike by an amount no broken circuit explains."""

from math import exp, log

from analysis.causes.case import Case
from analysis.supply import band, volts_for_power

VOLTS_SPREAD = 0.012
"""Least spread of a firing's mean log volts squared: a supply wanders by about half a per cent of its volts."""

LEAST_DROP = 0.06
"""Power lost to volts that is worth a word: 3 % of the volts."""

SIZES = (0.05, 0.21)
"""Log power steps a poor supply makes: from 2.5 % of the volts to the 10 % within which EN 50160 wants 95 % of all
ten-minute means; more is rarer."""

LARGEST, _BEYOND, _NEVER = 0.33, 0.05, -30.0
"""EN 50160's outermost limit of -15 % of the volts, which should never be passed, and how the odds fall before it."""

_DOUBT = 0.08
"""The largest error of a measured step that may excuse a size beyond those (log)."""


def volts_drop(case: Case) -> tuple[float, float] | None:
    """Return (log power lost to volts against usual, distance in spreads), None where volts are not logged.

    Until a kiln's usual volts are known only such as lie outside the published limits are low: many kilns stand on a
    supply some per cent below their nameplate for good.
    """
    volts, nameplate = case.measures.supply_volts, case.kiln.volts
    if not volts or not nameplate:
        return None
    usual = case.memory.volts
    value = 2.0 * log(volts / nameplate)
    distance = usual.distance(value, VOLTS_SPREAD, enough=3)
    if distance is None:
        return (value, value / (2 * VOLTS_SPREAD)) if volts < band(nameplate).low_v else None
    return value - usual.mean, distance


def volts_sentence(case: Case) -> str:
    """Return in plain words what the volts were and should be."""
    volts, nameplate = case.measures.supply_volts or 0.0, case.kiln.volts or 0.0
    limits = band(nameplate)
    kept = "outside" if not limits.low_v <= volts <= limits.high_v else "still within"
    return (
        f"The log shows {volts:.0f} V on average while heating against {nameplate:.0f} V on the nameplate, {kept} "
        f"{limits.standard} ({limits.low_v:.0f} to {limits.high_v:.0f} V)."
    )


def guess_sentence(case: Case, step: float) -> str:
    """Return what a power step would mean in volts."""
    nameplate = case.kiln.volts
    volts = (
        f"{volts_for_power(exp(step), nameplate):.0f} V instead of {nameplate:.0f} V" if nameplate else "fewer volts"
    )
    return f"All zones became weaker alike by {100 * (1 - exp(step)):.0f} %, as {volts} would make them."


def density(step: float, error: float) -> float:
    """Return the log density of a measured log power step if the supply made it (flat over `SIZES`, soft edges).

    What surely took more than the outermost limit of the volts is no supply: something is broken.
    """
    low, high = SIZES
    size = -step
    if size - error > LARGEST:
        return _NEVER
    spread = max(error, 0.02)
    # an uncertain measurement does not make a sag likelier that no supply shows
    off = (low - size) / spread if size < low else (size - high) / (min(spread, _DOUBT) ** 2 + _BEYOND**2) ** 0.5
    return -log(high - low + 1.25 * _BEYOND) - 0.5 * max(0.0, off) ** 2

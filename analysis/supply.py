"""The supply: what volts do to power, and how far they may wander before a supplier should hear of it."""

from dataclasses import dataclass

# EN 50160: 230 V within 10 % for 95 % of the ten-minute means of a week (207 to 253 V); IEC 60038 the same.
# ANSI C84.1 service voltage range A: 114 to 126 V on 120 V, 228 to 252 V on 240 V, that is 5 % either way.
EN_50160_BAND = 0.10
ANSI_C84_RANGE_A_BAND = 0.05


@dataclass(frozen=True, slots=True)
class SupplyBand:
    """The limits a published standard sets for a nameplate voltage, in volts."""

    low_v: float
    high_v: float
    standard: str


def volts_for_power(power: float, nameplate_volts: float) -> float:
    """Return the volts at which an unchanged kiln would give ``power`` (ratio to nameplate power, (V / Vn) squared)."""
    return nameplate_volts * float(power**0.5)


def band(nameplate_volts: float) -> SupplyBand:
    """Return the published limits for a nameplate voltage: 220, 230 and 380 to 415 V by EN 50160, else ANSI."""
    european = any(abs(nameplate_volts - v) < 1.0 for v in (220.0, 230.0, 380.0, 400.0, 415.0))
    share, name = (EN_50160_BAND, "EN 50160") if european else (ANSI_C84_RANGE_A_BAND, "ANSI C84.1 range A")
    return SupplyBand(nameplate_volts * (1 - share), nameplate_volts * (1 + share), name)

"""Heating elements: iron-chromium-aluminium wire, its resistance hot and cold, and how it ages."""

from dataclasses import dataclass

import numpy as np

# Resistance hot over resistance at 20 C of the 22Cr-5.8Al alloy (alloy maker's appliance handbook, alloy table).
FACTOR_AT_C = np.array([20.0, 250.0, 500.0, 800.0, 1000.0, 1200.0, 1400.0])
FACTOR = np.array([1.00, 1.00, 1.01, 1.03, 1.04, 1.04, 1.04])

# Relative life of the same alloy: 340 % at 1100 C, 100 % at 1200 C, 30 % at 1300 C (alloy handbook, "operating life"),
# that is a factor of 3.3 for each 100 C.
LIFE_FACTOR_PER_100_C = 3.3
WEAR_REFERENCE_C = 1285.0


def hot_factor(wire_c: float) -> float:
    """Resistance at ``wire_c`` over resistance at 20 C."""
    return float(np.interp(wire_c, FACTOR_AT_C, FACTOR))


def wear_of_firing(peak_c: float) -> float:
    """Wear of one firing, in firings to 1285 C."""
    return float(LIFE_FACTOR_PER_100_C ** ((peak_c - WEAR_REFERENCE_C) / 100.0))


def aged_factor(life_used: float) -> float:
    """Cold resistance over as-new cold resistance after a share ``life_used`` of the set's life.

    Slow at first, then curving upward as the aluminium is used up (from memory: alloy handbook, in words only). The
    numbers are invented so that the set is 10 % over its as-new resistance after four fifths of its life. A life of
    35 to 80 firings is what users report at this temperature (kiln makers' and technicians' figures).
    """
    return 1.0 + 0.03 * life_used + 0.13 * life_used**2.2


@dataclass(frozen=True, slots=True)
class Circuit:
    """One relay and its elements: cold as-new resistance in ohm, the volts across it, the zone it heats."""

    name: str
    zone: int
    ohm: float
    volts: float

    def watts(self, *, supply: float, wire_c: float, aged: float) -> float:
        """Power while switched on, in watts. ``supply`` is the supply over nominal, ``aged`` from `aged_factor`."""
        return (supply * self.volts) ** 2 / (self.ohm * aged * hot_factor(wire_c))

"""Heat taken by clay giving off its bound water: a sink of bisque firings that no log shows.

Kaolinite loses 14 % of its weight as water between about 450 and 700 deg C, taking about 1 MJ per kg (facts of
the trade: dehydroxylation 450-650 deg C, 1000-1100 kJ/kg kaolinite). It runs as a first-order reaction whose rate
follows Arrhenius' law:

    d(done)/dt = k (1 - done),   k = k0 exp(-E / (R T))

Activation energies of 140-250 kJ/mol are published for kaolinite (from memory); with 160 and the fastest loss at
600 deg C for a climb of 100 deg C per hour (Kissinger's condition E b / (R T^2) = k) the sink's place and width
follow. Its size is unknown in each firing (nothing in a glaze firing) and is estimated with the balance.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_GAS_CONSTANT = 8.314462618
_ACTIVATION_J_PER_MOL = 160e3
_FASTEST_K = 873.15
_AT_RATE_K_PER_S = 100.0 / 3600.0


def water_loss_per_h(temperature_c: FloatArray, step_s: float) -> FloatArray:
    """Share of the bound water given off per hour, shape (n,); ``temperature_c`` is on a uniform grid of ``step_s``."""
    kelvin = np.maximum(temperature_c, 0.0) + 273.15
    exponent = _ACTIVATION_J_PER_MOL / _GAS_CONSTANT
    fastest = exponent * _AT_RATE_K_PER_S / _FASTEST_K**2
    rate_per_s = fastest * np.exp(-exponent * (1.0 / kelvin - 1.0 / _FASTEST_K))
    left = np.exp(-np.cumsum(np.minimum(rate_per_s, 1.0)) * step_s)
    loss: FloatArray = 3600.0 * np.minimum(rate_per_s, 1.0) * left
    return loss

"""Heat taken by clay giving off its bound water: a sink of bisque firings that no log shows.

Kaolinite loses 14 % of its weight as water between about 450 and 700 deg C, taking about 1 MJ per kg (facts of
the trade: dehydroxylation 450-650 deg C, 1000-1100 kJ/kg kaolinite). It runs as a first-order reaction whose rate
follows Arrhenius' law:

    d(done)/dt = k (1 - done),   k = k0 exp(-E / (R T))

Activation energies of 140-250 kJ/mol are published for kaolinite (from memory); with 160 and the temperature of the
fastest loss in a climb of 100 deg C per hour (Kissinger's condition E b / (R T^2) = k) the sink's place and width
follow. Clays differ in that temperature by tens of degrees (fine, poorly ordered ones are early), a body is a mixture,
and a sink put in the wrong place looks like weak elements: so there are two, an early and a late one, both of unknown
size in each firing (nothing in a glaze firing), estimated with the balance.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_GAS_CONSTANT = 8.314462618
_ACTIVATION_J_PER_MOL = 160e3
_FASTEST_K = (823.15, 883.15)
"""550 and 610 deg C, chosen inside the range in which kaolin minerals are seen to lose it."""
_AT_RATE_K_PER_S = 100.0 / 3600.0


def water_loss_per_h(temperature_c: FloatArray, step_s: float) -> FloatArray:
    """Share of the bound water given off per hour, shape (n, 2): by an early clay and by a late one.

    ``temperature_c`` (n,) is on a uniform grid of ``step_s``.
    """
    kelvin = np.maximum(temperature_c, 0.0) + 273.15
    exponent = _ACTIVATION_J_PER_MOL / _GAS_CONSTANT
    fastest_k = np.array(_FASTEST_K)
    fastest = exponent * _AT_RATE_K_PER_S / fastest_k**2
    rate_per_s = fastest * np.exp(-exponent * (1.0 / kelvin[:, None] - 1.0 / fastest_k))
    left = np.exp(-np.cumsum(np.minimum(rate_per_s, 1.0), axis=0) * step_s)
    loss: FloatArray = 3600.0 * np.minimum(rate_per_s, 1.0) * left
    return loss

"""Heat flowing from the chamber into the brick: one-dimensional transient conduction.

The temperature the log shows drives a wall of thickness ``L`` whose outer face stays near the room's
temperature. For a unit step of the hot face the flux into it is

    q(t) = k/L * (1 + 2 * sum over n of exp(-n^2 pi^2 a t / L^2))

(Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., art. 3.4: slab with both faces at given temperatures;
a = k / (rho c) is the diffusivity). Any history of the hot face is a sum of such steps (Duhamel's theorem,
the same book, art. 1.14), here one convolution. Brick conducts better when hot; with k = k0 (1 + b T) the
Kirchhoff transform theta = T + b T^2 / 2 makes the equation linear again (art. 1.6).
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

RATE_PER_S = 7.5e-4
"""pi^2 a / L^2 of a usual wall. Insulating brick of 70 mm, k 0.19 W/mK, 550 kg/m3, 1.05 kJ/kgK: 6.6e-4 per s."""

CONDUCTIVITY_RISE_PER_C = 1.2e-3
"""Growth of insulating brick's conductivity with the mean temperature: 0.10-0.14 at 400, 0.18-0.22 W/mK at 800
deg C (lightweight brick data sheets, BS 1902) is 0.00090-0.0015 per deg C of the value at 0 deg C."""

ROOM_C = 22.0
"""The outer face of a wall follows the room it stands in: an ordinary one, as logs seldom hold it."""

_TERMS = 40

_HOT_K, _KELVIN = 1473.15, 273.15


def flux_through_gaps(temperature_c: FloatArray) -> FloatArray:
    """Return what gaps radiate, (n,) or (n, z), in the same units: at 1200 deg C as much as a steady wall conducts.

    It goes with the fourth power of the absolute temperature (Stefan and Boltzmann) and follows it at once.
    """
    kelvin = (temperature_c + _KELVIN) / _HOT_K
    room = ((ROOM_C + _KELVIN) / _HOT_K) ** 4
    steady = 1200.0 + 0.5 * CONDUCTIVITY_RISE_PER_C * 1200.0**2
    flux: FloatArray = steady * (kelvin**4 - room)
    return flux


def _step_response(rate_per_s: float, times_s: FloatArray) -> FloatArray:
    orders = np.arange(1.0, _TERMS + 1)[:, None] ** 2
    response: FloatArray = 1.0 + 2.0 * np.exp(-orders * (rate_per_s * times_s)[None, :]).sum(axis=0)
    return response


@lru_cache(maxsize=32)
def _response_spectrum(rate_per_s: float, step_s: float, size: int) -> NDArray[np.complex128]:
    """Spectrum of the step response at the middle of each bin, padded to ``size`` (it depends on the brick alone)."""
    times: FloatArray = (np.arange(size // 2, dtype=np.float64) + 0.5) * step_s
    response = _step_response(rate_per_s, times)
    return np.fft.rfft(response, size)


def flux_into_wall(
    temperature_c: FloatArray,
    step_s: float,
    *,
    rate_per_s: float = RATE_PER_S,
    rise_per_c: float = CONDUCTIVITY_RISE_PER_C,
    room_c: float = ROOM_C,
) -> FloatArray:
    """Return the flux into the hot face in units of k0/L, so deg C: shape (n,) or (n, z), like ``temperature_c``.

    A kiln loaded cold starts at the room's temperature throughout. One loaded while still warm from the last firing
    starts with a steady flux through its wall: outside it is as cold as the room (``room_c``), and taking the first
    temperature for the room's would hide 4 to 6 % of the loss of a kiln begun at 100 deg C. ``temperature_c`` is on a
    uniform grid of ``step_s``.
    """
    theta = (temperature_c + 0.5 * rise_per_c * temperature_c**2).T
    rises = np.zeros_like(theta)
    rises[..., 1:] = theta[..., 1:] - theta[..., :-1]
    bins = theta.shape[-1]
    # room for the whole convolution: a power of two or a quarter, a half, three quarters more, quick to transform alike
    quarter = max(1, 1 << (2 * bins - 1).bit_length() >> 3)
    size = -(-2 * bins // quarter) * quarter
    spectrum = _response_spectrum(rate_per_s, step_s, size)
    flux: FloatArray = np.fft.irfft(np.fft.rfft(rises, size) * spectrum, size)[..., :bins].T
    room = room_c + 0.5 * rise_per_c * room_c**2
    return flux + np.maximum(theta[..., 0] - room, 0.0)

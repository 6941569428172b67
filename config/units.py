"""Temperatures in the studio's unit.

Sentences hold ``{c:1222}`` for a temperature and ``{dc:60}`` for a difference or rate, both in deg C.
"""

import re

from config.kiln import TemperatureUnit

_PLACE = re.compile(r"\{(d?)c:(-?\d+(?:\.\d+)?)\}")


def temperature(value_c: float, unit: TemperatureUnit = "C") -> float:
    """Return a temperature given in deg C in the wanted unit."""
    return value_c if unit == "C" else value_c * 1.8 + 32.0


def difference(value_c: float, unit: TemperatureUnit = "C") -> float:
    """Return a temperature difference or rate given in deg C (or deg C per hour) in the wanted unit."""
    return value_c if unit == "C" else value_c * 1.8


def render(text: str, unit: TemperatureUnit = "C") -> str:
    """Replace the temperature places of ``text`` by whole numbers with the unit's sign."""

    def put(match: re.Match[str]) -> str:
        convert = difference if match[1] else temperature
        return f"{convert(float(match[2]), unit):.0f} °{unit}"

    return _PLACE.sub(put, text)

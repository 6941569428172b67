"""Degrees Celsius or Fahrenheit: from header, units row, file text or register, never from the peak alone."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.reading.account import Unknown
from analysis.reading.firing_log import FloatArray
from config.kiln import TemperatureUnit, ThermocoupleType

# Highest temperature the couple's standard table goes to, in deg C (IEC 60584-1).
_COUPLE_TOP_C = {"K": 1372, "N": 1300, "S": 1768, "R": 1768, "B": 1820, "E": 1000, "J": 1200, "T": 400}
_KILN_TOP_C = 1450.0  # above any electric pottery kiln with wire elements; common practice, no source
_TEXT_C = re.compile(
    r"(?:°|º|deg(?:rees)?\.?\s?|grad\s)\s?C\b|\bcelsius\b|\bcentigrade\b|temp\w*\s*[:=(]\s*\(?C\b", re.IGNORECASE
)
_TEXT_F = re.compile(r"(?:°|º|deg(?:rees)?\.?\s?|grad\s)\s?F\b|\bfahrenheit\b|temp\w*\s*[:=(]\s*\(?F\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TemperatureUnitFound:
    """The unit, why, whether it is certain, and what to say and ask if not."""

    unit: TemperatureUnit
    why: str
    certain: bool
    problems: tuple[str, ...] = ()
    unknown: tuple[Unknown, ...] = ()


def to_celsius(values: FloatArray, unit: str) -> FloatArray:
    """Return temperatures in deg C."""
    if unit == "F":
        return (values - 32.0) / 1.8
    return values - 273.15 if unit == "K" else values


def temperature_unit(
    column_units: Sequence[str | None],
    text: str,
    register: TemperatureUnit | None,
    zone_values: Callable[[], FloatArray],
    room_values: FloatArray | None,
    thermocouple: ThermocoupleType | None,
) -> TemperatureUnitFound:
    """Decide the unit of the temperatures.

    ``column_units`` are the units the header gives the zones, ``text`` the preamble, ``zone_values()`` (n, z) and
    ``room_values`` (n,) the readings as logged.
    """
    header = {unit for unit in column_units if unit in {"C", "F"}}
    said: TemperatureUnit | None = None
    source = ""
    if len(header) == 1:
        said, source = ("C" if "C" in header else "F"), "the header"
    elif not header:
        c, f = bool(_TEXT_C.search(text)), bool(_TEXT_F.search(text))
        if c != f:
            said, source = ("C" if c else "F"), "the text above the table"
    if register is not None:
        if said is None or said == register:
            return TemperatureUnitFound(register, "setting [kiln.log] temperature_unit", certain=True)
        return TemperatureUnitFound(
            register,
            f"setting [kiln.log] temperature_unit, against {source}",
            certain=True,
            problems=(
                f"{source} says °{said}, [kiln.log] temperature_unit says °{register}: the setting was followed",
            ),
        )
    if said is not None:
        return TemperatureUnitFound(said, source, certain=True)
    return _by_physics(zone_values(), room_values, thermocouple)


def _by_physics(zone: FloatArray, room: FloatArray | None, couple: ThermocoupleType | None) -> TemperatureUnitFound:
    """What no unit can explain is evidence; a peak that both can is none."""
    finite = zone[np.isfinite(zone)]
    if finite.size:
        high = float(np.partition(finite, -min(3, finite.size))[-min(3, finite.size)])
        first = zone[: max(3, len(zone) // 50)]
        start = float(np.nanmin(first)) if np.isfinite(first).any() else float(finite.min())
        limit = min(_KILN_TOP_C, _COUPLE_TOP_C.get(couple or "", 1e9) + 25.0)
        if high > limit:
            return TemperatureUnitFound("F", f"readings reach {high:.0f}, which no such kiln can in °C", certain=True)
        if start < 30:
            return TemperatureUnitFound(
                "C", f"the firing begins at {start:.0f}, below freezing if that were °F", certain=True
            )
    if room is not None and np.isfinite(room).any():
        usual = float(np.nanmedian(room))
        if usual > 52:
            return TemperatureUnitFound("F", f"a room at {usual:.0f} can only be °F", certain=True)
        if usual < 36:
            return TemperatureUnitFound("C", f"a room at {usual:.0f} can only be °C", certain=True)
    taken = "taken as °C for now"
    return TemperatureUnitFound(
        "C",
        "nothing in the file tells; " + taken,
        certain=False,
        problems=(f'TEMPERATURE UNIT NOT KNOWN: {taken}; set [kiln.log] temperature_unit to "C" or "F"',),
        unknown=(Unknown("whether temperatures are °C or °F", taken, '[kiln.log] temperature_unit = "C" or "F"'),),
    )

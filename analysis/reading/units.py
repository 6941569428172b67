"""Degrees Celsius or Fahrenheit: from header, units row, file text or register, never from the peak alone."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.ranks import median
from analysis.reading.account import Unknown
from analysis.reading.firing_log import FloatArray
from config.kiln import TemperatureUnit, ThermocoupleType

# Highest temperature the couple's standard table goes to, in deg C (IEC 60584-1).
_COUPLE_TOP_C = {"K": 1372, "N": 1300, "S": 1768, "R": 1768, "B": 1820, "E": 1000, "J": 1200, "T": 400}
_NO_READING = 3000.0  # codes such as 9999 are no readings
_KILN_TOP_C = 1450.0  # above any electric pottery kiln with wire elements; common practice, no source
# A unit in the text counts where no number stands before it: "1222 °C" may be of anything, "in °C" is of the log.
_TEXT = r"(?<!\d)(?<!\d\s)(?:°|º|deg(?:rees)?\.?\s?|grad\s)\s?{0}\b|\b{1}\b|temp\w*\s*(?:unit\w*)?\s*[:=(]\s*\(?{0}\b"
_TEXT_C = re.compile(_TEXT.format("C", "(?:celsius|centigrade)"), re.IGNORECASE)
_TEXT_F = re.compile(_TEXT.format("F", "fahrenheit"), re.IGNORECASE)
_FREEZING_F = 30.0  # a studio in which a firing begins is not below freezing
_ROOM_TOP_C, _ROOM_LOW_F = 36.0, 52.0  # a room is not above 36 deg C, nor below 52 deg F (11 deg C) in median
_SETTING = "setting [kiln.log] temperature_unit"


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
    hottest: FloatArray,
    room: FloatArray | None,
    thermocouple: ThermocoupleType | None,
) -> TemperatureUnitFound:
    """Decide the unit of the temperatures.

    ``column_units`` are the units the header gives the zones, ``text`` the preamble, ``hottest`` and ``room`` (n,) the
    readings as logged. What physics excludes outweighs what is said, and is said itself.
    """
    said, source = _said(column_units, text)

    def cannot(unit: TemperatureUnit) -> str:
        return _not_celsius(hottest, thermocouple) if unit == "C" else _not_fahrenheit(hottest)

    if said is None and register is None:
        return _by_physics({"C": cannot("C"), "F": cannot("F")}, room)
    if register is not None and said is not None and said != register:
        unit = said if cannot(register) and not cannot(said) else register
        followed = "the setting was followed" if unit == register else cannot(register) + f": °{unit} was taken"
        told = f"{source} says °{said}, [kiln.log] temperature_unit says °{register}: {followed}"
        return TemperatureUnitFound(unit, f"{_SETTING}, against {source}", certain=True, problems=(told,))
    why = source if register is None else _SETTING
    unit = register or said or "C"
    against = cannot(unit)
    if not against:
        return TemperatureUnitFound(unit, why, certain=True)
    doubt = f"TEMPERATURE UNIT DOUBTFUL: {why} says °{unit}, but {against}; check [kiln.log] temperature_unit"
    ask = Unknown("whether temperatures are °C or °F", f"°{unit} by {why}", '[kiln.log] temperature_unit = "C" or "F"')
    return TemperatureUnitFound(unit, why, certain=False, problems=(doubt,), unknown=(ask,))


def _said(column_units: Sequence[str | None], text: str) -> tuple[TemperatureUnit | None, str]:
    header = {unit for unit in column_units if unit in {"C", "F"}}
    if len(header) == 1:
        return ("C" if "C" in header else "F"), "the header"
    return (None, "") if header else _said_in_text(text)


@lru_cache(maxsize=256)
def _said_in_text(text: str) -> tuple[TemperatureUnit | None, str]:
    celsius, fahrenheit = bool(_TEXT_C.search(text)), bool(_TEXT_F.search(text))
    if celsius != fahrenheit:
        return ("C" if celsius else "F"), "the text above the table"
    return None, ""


def _not_celsius(hottest: FloatArray, couple: ThermocoupleType | None) -> str:
    """Return why readings cannot be deg C (their third highest, so that a spike does not count), or nothing."""
    limit = min(_KILN_TOP_C, _COUPLE_TOP_C.get(couple or "", 1e9) + 25.0)
    if not float(np.fmax.reduce(hottest)) > limit:
        return ""
    high = hottest[np.isfinite(hottest) & (hottest < _NO_READING)]
    third = float(np.partition(high, -3)[-3]) if high.size >= 3 else 0.0
    return f"readings reach {third:.0f}, which no such kiln can in °C" if third > limit else ""


def _not_fahrenheit(hottest: FloatArray) -> str:
    """Return why readings cannot be deg F, or nothing."""
    first = hottest[:200]
    first = first[np.isfinite(first)][:3]
    start = median(first) if first.size else 100.0
    return f"the firing begins at {start:.0f}, below freezing in °F" if start < _FREEZING_F else ""


def _by_physics(cannot: dict[str, str], room: FloatArray | None) -> TemperatureUnitFound:
    """What no unit can explain is evidence; a peak that both can is none."""
    if cannot["C"] and not cannot["F"]:
        return TemperatureUnitFound("F", cannot["C"], certain=True)
    if cannot["F"] and not cannot["C"]:
        return TemperatureUnitFound("C", cannot["F"], certain=True)
    if room is not None and np.isfinite(room).any():
        usual = float(np.nanquantile(room, 0.1))  # a sensor in the controller begins at the room's temperature
        if usual > _ROOM_LOW_F:
            return TemperatureUnitFound("F", f"a room at {usual:.0f} can only be °F", certain=True)
        if usual < _ROOM_TOP_C:
            return TemperatureUnitFound("C", f"a room at {usual:.0f} can only be °C", certain=True)
    taken = "taken as °C for now"
    return TemperatureUnitFound(
        "C",
        "nothing in the file tells; " + taken,
        certain=False,
        problems=(f'TEMPERATURE UNIT NOT KNOWN: {taken}; set [kiln.log] temperature_unit to "C" or "F"',),
        unknown=(
            Unknown("whether temperatures are °C or °F", "°C for now", '[kiln.log] temperature_unit = "C" or "F"'),
        ),
    )

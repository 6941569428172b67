"""The nameplate in words, as a supplier of parts asks for it."""

from config.kiln import Kiln, TemperatureUnit
from daemon.report import shown


def nameplate(kiln: Kiln, unit: TemperatureUnit) -> list[tuple[str, str]]:
    """Return the nameplate as pairs of words and value, leaving out what is not known."""
    degrees = shown.degrees(kiln.max_temp_c, unit)
    pairs = [
        ("Model", kiln.model),
        ("Serial", kiln.serial),
        ("Volts", "" if kiln.volts is None else f"{kiln.volts:g} V"),
        ("Supply", kiln.supply or ""),
        ("Rated power", "" if kiln.rated_kw is None else f"{kiln.rated_kw:g} kW"),
        ("Highest temperature", "" if kiln.max_temp_c is None else degrees),
        ("Chamber", "" if kiln.volume_l is None else f"{kiln.volume_l:g} l"),
        ("Thermocouple", "" if kiln.thermocouple is None else f"type {kiln.thermocouple}"),
        ("Zones", ", ".join(kiln.zones)),
    ]
    return [(name, shown.plain(value, 120)) for name, value in pairs if value]

"""How numbers, dates and places are written on every page: one way for each."""

import unicodedata
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from analysis.findings import Finding, PowerRatio
from analysis.judgement import Assessment, ZonePower
from config.kiln import TemperatureUnit
from config.logbook import OPEN_OHM, LogbookEntry
from config.units import difference, temperature

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_CURRENCY_SIGNS = {"EUR": "€", "GBP": "£", "USD": "$"}
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
UNKNOWN = "not known"
WIDEST_ZONE = 0.4  # a zone's interval wider than this says nothing of the zone
NO_HEAT = 0.05  # a zone this low gives nothing: no estimate tells two from four per cent
ZONES_ALIKE = 0.03  # differences between zones below this are none
NARROW = 0.025  # an interval narrower than this would look like none in whole per cent
DAY_DAYS = 14
NEAR_DAYS = 60
YEAR_DAYS = 365
_UNIT_SIGN = {"ohm": "Ω", "amp": "A", "volt": "V"}


def plain(text: str, longest: int = 400) -> str:
    """Return text without control and direction-changing characters, cut at ``longest``.

    Names and log texts come from outside: a terminal escape or a direction override must not reach a reader.
    """
    kept = "".join(" " if c in "\t\n\r" else c for c in text if c in "\t\n\r" or unicodedata.category(c) not in _UNSEEN)
    kept = " ".join(kept.split())
    return kept if len(kept) <= longest else kept[: longest - 1] + "…"


def day(at: datetime | None, time_zone: str, *, year: bool = True) -> str:
    """Return a date as ``6 Apr 2026`` in the studio's time zone (month names avoid day-month confusion)."""
    if at is None:
        return "no date"
    local = at.astimezone(_zone(time_zone))
    return f"{local.day} {_MONTHS[local.month - 1]}" + (f" {local.year}" if year else "")


def moment(at: datetime, time_zone: str) -> str:
    """Return a date with the time of day."""
    local = at.astimezone(_zone(time_zone))
    return f"{day(at, time_zone)}, {local:%H:%M}"


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def percent(value: float | None) -> str:
    """Return a share as whole per cent."""
    return UNKNOWN if value is None else f"{100 * value:.0f} %"


def power(ratio: PowerRatio) -> str:
    """Return a power ratio with its 90 % interval, or what is known of it. A narrow interval shows tenths."""
    if ratio.value is not None:
        if ratio.low is None or ratio.high is None:
            return f"{100 * ratio.value:.0f} %"
        digits = 1 if ratio.high - ratio.low < NARROW else 0
        return f"{100 * ratio.value:.{digits}f} % ({100 * ratio.low:.{digits}f} to {100 * ratio.high:.{digits}f})"
    return f"at least {100 * ratio.low:.0f} %" if ratio.low is not None else UNKNOWN


def zones(said: Assessment) -> str:
    """Return the power of each zone that is known, with its interval; nothing where no zone stands out.

    A zone's value is not shown without its interval, nor where that is too wide to tell one zone from another.
    """
    known = [z for z in said.zones if zone_known(z)]
    values = [z.power.value for z in known if z.power.value is not None]
    if len(known) < 2:
        return ""
    if max(values) - min(values) < ZONES_ALIKE:
        return "zones alike" if len(known) == len(said.zones) else ""
    return "; ".join(f"zone {plain(z.zone, 30)}: {of_zone(z.power)}" for z in known)


def of_zone(ratio: PowerRatio) -> str:
    """Return a zone's power; next to nothing is said in words, not as if it were measured to a tenth."""
    return "no heat" if (ratio.value or 0.0) < NO_HEAT else power(ratio)


def zone_known(zone: ZonePower) -> bool:
    """Return whether a zone's power is known well enough to be told."""
    said = zone.power
    return said.value is not None and said.low is not None and (said.high or 0.0) - said.low <= WIDEST_ZONE


def about(at: datetime, now: datetime, time_zone: str) -> str:
    """Return a date to come as exactly as it can be meant: day, third of a month, month within a year, else year."""
    ahead = (at - now).days
    local = at.astimezone(_zone(time_zone))
    if ahead < DAY_DAYS:
        return f"about {day(at, time_zone)}"
    if ahead < NEAR_DAYS:
        third = ("early", "mid", "late")[min(2, (local.day - 1) // 10)]
        return f"about {third} {_MONTHS[local.month - 1]} {local.year}"
    return f"about {_MONTHS[local.month - 1]} {local.year}" if ahead < YEAR_DAYS else f"not before {local.year}"


def degrees(value_c: float | None, unit: TemperatureUnit) -> str:
    """Return a temperature in the studio's unit."""
    return UNKNOWN if value_c is None else f"{temperature(value_c, unit):.0f} °{unit}"


def rate(value_c_per_h: float | None, unit: TemperatureUnit) -> str:
    """Return a climb in the studio's unit per hour."""
    return UNKNOWN if value_c_per_h is None else f"{difference(value_c_per_h, unit):.0f} °{unit}/h"


def hours(seconds: float) -> str:
    """Return a duration as ``9 h 28 min``."""
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def money(amount: float, currency: str) -> str:
    """Return money with the studio's sign: before the figure for a sign, after it for a word or a code."""
    sign = _CURRENCY_SIGNS.get(currency.upper(), currency.strip())
    figure = f"{amount:,.2f}"
    if sign and not any(c.isalnum() for c in sign):
        return f"{sign}{figure}"
    return f"{figure} {sign}".strip()


def lower_first(text: str) -> str:
    """Return text with its first letter small, for the middle of a sentence (``L1`` and ``Ω`` stay)."""
    return text if len(text) < 2 or not text[1].islower() else text[0].lower() + text[1:]


def odds(probability: float) -> str:
    """Return a probability as a person would say it, with the number."""
    # The same words as in the phone message, so that one finding is not surer here than there.
    words = (
        (0.95, "almost certain"),
        (0.75, "likely"),
        (0.5, "more likely than not"),
        (0.2, "possible"),
        (0, "unlikely"),
    )
    word = next(word for limit, word in words if probability >= limit)
    return f"{word} ({min(99, max(1, round(100 * probability)))} in 100)"


def place(finding: Finding) -> str:
    """Return where a finding lies, as ``in circuit top`` or ``in zone top``; empty for the whole kiln."""
    if finding.circuit:
        return f"in circuit {finding.circuit}"
    return f"in zone {finding.zone}" if finding.zone else ""


def reading(said: LogbookEntry) -> str:
    """Return a measured value with its unit; an open circuit in words."""
    if said.value is None:
        return ""
    if said.quantity == "ohm" and said.value >= OPEN_OHM:
        return "open (no reading)"
    return f"{said.value:g} {_UNIT_SIGN.get(said.quantity or '', '')}"


def entry(said: LogbookEntry) -> str:
    """Return a logbook entry as one line of plain words."""
    named = ((kind, name) for kind, name in (("zone", said.zone), ("circuit", said.circuit)) if name)
    spot = "".join(f", {kind} {name}" for kind, name in named if f"{kind} {name}" != said.where)
    if said.what == "measured":
        line = f"Measured {reading(said)} at {said.where or 'a place not named'}{spot}"
    elif said.what == "note":
        line = said.note + spot
        return line[:1].upper() + line[1:]
    else:
        parts = {"elements": "the whole set of elements" if not (said.zone or said.circuit) else "all elements"}
        line = f"{said.what.capitalize()}: {parts.get(said.part or '', said.part or 'not said')}{spot}"
    return line + (f" ({said.note})" if said.note else "")

"""The text on a phone: what changed and since when, how sure, what it costs to wait, what to look at first.

A title of at most 40 characters and a body of at most 560, so that a note on late delivery still fits under 600.
Sentences of the causes come from ``config/wording``; what belongs to the live watch and the machine room is told by
the facts themselves.
"""

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from config.kiln import TemperatureUnit
from config.units import render
from config.wording import Wording
from daemon.alerts.incident import Alert, Facts, Telling

TITLE_LIMIT = 40
BODY_LIMIT = 560
ONLY_READS = "It only reads the log, minutes late."

LIVE_TITLES = {
    "behind": "falling behind",
    "stalled": "not climbing",
    "heat_without_demand": "HEATS UNASKED",
    "over_temperature": "TOO HOT",
    "heating_blind": "HEATS, NO READING",
    "thermocouple_jumping": "thermocouple jumps",
    "gone_silent": "log went silent",
}


@dataclass(frozen=True, slots=True)
class Message:
    """Title and body, plain text."""

    title: str
    body: str


@dataclass(frozen=True, slots=True)
class Voice:
    """In whose words and units a message is written. ``kiln_title`` is empty for the machine room."""

    kiln_title: str
    unit: TemperatureUnit
    time_zone: str
    wording: Wording


def compose(telling: Telling, voice: Voice, now: datetime) -> Message:
    """Write the message of one telling."""
    alert, facts = telling.alert, telling.alert.facts
    if telling.kind == "cleared":
        return _closing(alert, voice, now)
    essential = [
        _opening(telling, voice),
        _what(alert, voice),
        _since(facts, voice),
        _numbers(facts),
        _sure(facts, voice),
    ]
    first, caution = _first_look(alert, voice), _caution(alert, voice)
    ending = [first, caution, f"Incident {alert.incident}."]
    optional = [_evidence(facts), _consequence(alert, voice)]
    return Message(_title(alert, short_verdict(alert, voice), voice), _fit(essential, optional, ending, voice.unit))


def clean(text: str) -> str:
    """Return text on one line without control, formatting or lone surrogate characters (it may stem from a log)."""
    spaced = (" " if c in "\t\r\n\v\f\x85\u2028\u2029" else c for c in text)
    return " ".join("".join(c for c in spaced if unicodedata.category(c)[0] != "C").split())


def when(moment: datetime, time_zone: str) -> str:
    """Return a moment on the studio's clock: ``2 Mar 2026, 08:14``."""
    local = moment.astimezone(ZoneInfo(time_zone))
    return f"{local.day} {local:%b %Y, %H:%M}"


def shorten(text: str, limit: int) -> str:
    """Return text of at most ``limit`` characters, cut at a word where that costs little."""
    if len(text) <= limit:
        return text
    cut = text[: limit - 1]
    at_word = cut.rfind(" ")
    return (cut[:at_word] if at_word > limit * 2 // 3 else cut).rstrip(" ,;:.") + "…"


def _fit(essential: list[str], optional: list[str], ending: list[str], unit: TemperatureUnit) -> str:
    """Join the lines; optional ones only as long as everything essential fits."""
    kept = [clean(render(line, unit)) for line in essential if line]
    last = [clean(render(line, unit)) for line in ending if line]
    room = BODY_LIMIT - sum(len(line) + 1 for line in (*kept, *last))
    for line in (clean(render(line, unit)) for line in optional if line):
        if len(line) + 1 <= room:
            kept.append(line)
            room -= len(line) + 1
    if room < 0:  # what comes from the register or the analysis was very long: shorten the longest lines
        for i in sorted(range(len(kept)), key=lambda i: -len(kept[i])):
            spare = max(40, len(kept[i]) + room)
            room += len(kept[i]) - min(len(kept[i]), spare)
            kept[i] = shorten(kept[i], spare)
            if room >= 0:
                break
    return shorten("\n".join((*kept, *last)), BODY_LIMIT)


def _title(alert: Alert, verdict: str, voice: Voice) -> str:
    name = clean(voice.kiln_title) if alert.kiln else "Coilwatch"
    room = TITLE_LIMIT - len(verdict) - 2
    return shorten(f"{shorten(name, max(room, 8))}: {clean(verdict)}", TITLE_LIMIT)


def short_verdict(alert: Alert, voice: Voice) -> str:
    """Return the trouble in a few plain words, as in the title."""
    if alert.source == "firing":
        return voice.wording.causes[alert.cause].short
    if alert.source == "live":
        return LIVE_TITLES.get(alert.cause, alert.cause.replace("_", " "))
    return "needs a look at the computer"


def _opening(telling: Telling, voice: Voice) -> str:
    match telling.kind:
        case "worsened":
            return "This got worse."
        case "returned":
            return "This is back."
        case "revised":
            return "A new view of the same trouble."
        case "repeated":
            first = telling.alert.raised_at or telling.alert.first_seen_at
            return f"Still so; raised {when(first, voice.time_zone)}."
        case "escalated":
            return "Urgent, and nobody has acknowledged it."
        case _:
            return ""


def _what(alert: Alert, voice: Voice) -> str:
    if alert.source != "firing":
        return alert.facts.text
    place = f"({alert.circuit})" if alert.circuit else f"of zone {alert.zone}" if alert.zone else ""
    return voice.wording.causes[alert.cause].headline_at(place).rstrip(".") + "."


def _since(facts: Facts, voice: Voice) -> str:
    return f"Since {when(facts.since, voice.time_zone)}." if facts.since is not None else ""


def _numbers(facts: Facts) -> str:
    if facts.power is None:
        return ""
    against = {"nameplate": "of the nameplate's", "after repair": "of that after the repair"}
    low_high = ""
    if facts.power_low is not None and facts.power_high is not None:
        low_high = f" ({100 * facts.power_low:.0f} to {100 * facts.power_high:.0f})"
    power = f"Full power {100 * facts.power:.0f} %{low_high} {against.get(facts.reference, 'of its first firings')}."
    if facts.firings_left is None:
        return power
    low, high = facts.firings_left
    threshold = "" if facts.threshold is None else f" to {100 * facts.threshold:.0f} %"
    if high is None:
        return f"{power} At least {max(low, 0):.0f} firings left{threshold}."
    if high < 1:
        return f"{power} Time to replace: {100 * (facts.threshold or 0.9):.0f} % is reached."
    return f"{power} {max(low, 0):.0f} to {high:.0f} firings left{threshold}."


def _sure(facts: Facts, voice: Voice) -> str:
    if facts.probability is None:
        return ""
    p = facts.probability
    words = (
        "almost certain" if p >= 0.95 else "likely" if p >= 0.75 else "more likely than not" if p > 0.5 else "possible"
    )
    others = [f"{voice.wording.causes[cause].title.lower()} {100 * q:.0f} %" for cause, q in facts.rivals[:2]]
    return f"How sure: {words} ({100 * min(p, 0.99):.0f} %){', or ' + ', '.join(others) if others else ''}."


def _evidence(facts: Facts) -> str:
    told = "" if facts.power is None else f"{100 * facts.power:.0f} %"  # said already, with its interval
    more = next((text for text in facts.evidence if not told or told not in text), "")
    return more and more.rstrip(".") + "."


def _consequence(alert: Alert, voice: Voice) -> str:
    return f"If left: {_lower(voice.wording.causes[alert.cause].consequence)}" if alert.source == "firing" else ""


def _first_look(alert: Alert, voice: Voice) -> str:
    if alert.source != "firing":
        return alert.facts.inspection
    return f"First: {voice.wording.causes[alert.cause].first_look.rstrip('.')}."


def _caution(alert: Alert, voice: Voice) -> str:
    if alert.source == "firing":
        return voice.wording.cautions.short
    return f"{voice.wording.cautions.short} {ONLY_READS}" if alert.source == "live" else ""


def _closing(alert: Alert, voice: Voice, now: datetime) -> Message:
    verdict = f"over ({short_verdict(alert, voice)})" if alert.source != "machine" else "all right again"
    what = alert.facts.text if alert.source == "machine" else ""
    # what a repair has shown comes first: it may say that something else is still short
    lines = [alert.facts.closing, "No longer seen.", f"It was: {what}" if what else "", _stood(alert, voice, now)]
    return Message(_title(alert, verdict, voice), _fit(lines, [], [f"Incident {alert.incident}."], voice.unit))


def _stood(alert: Alert, voice: Voice, now: datetime) -> str:
    """How long it stood: by the firings' own dates where it was found in firings, else by the clock."""
    since, until = alert.raised_at or alert.first_seen_at, now
    if alert.facts.gone_at is not None and alert.facts.since is not None:
        since, until = alert.facts.since, alert.facts.gone_at
    lasted = max((until - since).total_seconds(), 0.0)
    long = f"{lasted / 86400:.0f} days" if lasted >= 2 * 86400 else f"{max(lasted / 3600, 1):.0f} h"
    return f"It stood for {long}, from {when(since, voice.time_zone)}."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text

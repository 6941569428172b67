"""The first screen: is it all right, what is wrong, what to do, by when, how sure, and what waiting costs."""

from dataclasses import dataclass
from typing import Literal

from analysis.assessment import Assessment
from analysis.causes.readings import place_of
from analysis.findings import Finding, Outlook
from config.logbook import LogbookEntry
from config.wording import CauseWording, Wording
from daemon.report import shown
from daemon.report.history import KilnHistory, repairs
from daemon.report.pace import date_after
from daemon.report.reading_fit import fits, since_newest_firing, unsound
from daemon.report.readings_table import inspection_of
from daemon.report.verification import AGAINST, unproved_repair

Standing = Literal["stop", "visit", "watch", "unknown", "sound"]
ORDER: tuple[Standing, ...] = ("stop", "visit", "watch", "unknown", "sound")
WORDS: dict[Standing, str] = {
    "stop": "Do not fire",
    "visit": "Plan a visit",
    "watch": "Keep an eye on it",
    "unknown": "Cannot tell yet",
    "sound": "In good order",
}
FEWEST = 4  # firings before a kiln without a nameplate's power can be compared with itself
FAR_FIRINGS = 100.0  # beyond, a number of firings would pretend to know too much
SOON_FIRINGS = 20.0  # an outlook this near is worth an eye before anything is found
DOUBTFUL = 0.3  # below it a headline must not sound sure
SURE = 0.75  # from it on, where the odds say "likely", a headline needs no "most likely"
LIKELY = 0.5
STANDS_OUT = 0.03  # a zone this far below its kiln is named
SAFETY_CAUSES = frozenset({"welded_contact", "loose_connection"})  # firing on may do harm, not only cost ware


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answers of the first screen, each a sentence or two in plain words."""

    standing: Standing
    word: str
    headline: str
    do: str
    by_when: str
    how_sure: str
    if_you_wait: str = ""
    finding: Finding | None = None


def verdict(history: KilnHistory, wording: Wording) -> Verdict:
    """Return what to tell of a kiln after its newest firing."""
    latest = history.latest
    if latest is None:
        return _plain(
            "unknown",
            "No firing has been read yet.",
            "Put this kiln's firing logs into its folder.",
            "From the first firing on.",
            "Nothing is known yet.",
        )
    findings = history.findings
    grave = next((f for f in findings if f.severity != "info"), None)
    if grave is not None:
        return _with_finding(history, grave, wording)
    return _without_finding(history, findings, wording)


def _plain(standing: Standing, headline: str, do: str, by_when: str, how_sure: str) -> Verdict:
    return Verdict(standing, WORDS[standing], headline, do, by_when, how_sure)


def too_few(history: KilnHistory) -> bool:
    """Return whether a kiln's power is known only against the very firings that say what its 100 % is."""
    count = len(history.judged) if history.firings_in_all is None else history.firings_in_all
    return history.latest is not None and history.latest.reference == "first firings" and count < FEWEST


def _with_finding(history: KilnHistory, finding: Finding, wording: Wording) -> Verdict:
    words = wording.causes[finding.cause]
    repair = unproved_repair(history, finding)
    if repair is not None:
        return _awaiting_proof(history, finding, repair, wording)
    urgent = finding.severity == "urgent"
    harmful = finding.cause in SAFETY_CAUSES and finding.probability >= LIKELY
    standing: Standing = "stop" if urgent or harmful else "visit"
    since = f", since {shown.day(finding.since, history.studio.time_zone)}" if finding.since else ""
    latest = history.latest
    power = ""
    if latest is not None and (latest.power.value is not None or latest.power.low is not None):
        power = f" Power left: {shown.power(latest.power)}{_weakest(latest, finding)}."
    return Verdict(
        standing,
        _word(finding, standing),
        f"{_headline(words, finding)}{since}.{power}",
        _do(words),
        "Before the next firing." if urgent else _by_when(history, finding),
        _how_sure(finding, wording),
        words.consequence,
        finding,
    )


def _awaiting_proof(history: KilnHistory, finding: Finding, repair: LogbookEntry, wording: Wording) -> Verdict:
    """Return the verdict on a kiln that was repaired and not fired since."""
    words = wording.causes[finding.cause]
    on = shown.day(repair.at, history.studio.time_zone)
    found = shown.lower_first(words.headline_at(shown.place(finding)))
    proof = (
        "Run the verification firing of the visit sheet, with someone within reach."
        if words.after == "verification"
        else "Fire as usual and compare."
    )
    return Verdict(
        "watch",
        "Repaired, to be proved",
        f"{shown.entry(repair)}, on {on}. Found before it: {found}.",
        proof,
        "With the next firing.",
        "No firing has been read since the repair.",
        "",
        finding,
    )


def _weakest(said: Assessment, finding: Finding) -> str:
    """Return the power of the zone a finding names, where it stands out from the whole kiln's."""
    zone = next((z.power for z in said.zones if z.zone == finding.zone and shown.zone_known(z)), None)
    whole = said.power.value
    stands_out = zone is not None and zone.value is not None and (whole is None or zone.value <= whole - STANDS_OUT)
    return f"; zone {finding.zone}: {shown.of_zone(zone)}" if zone is not None and stands_out else ""


def _headline(words: CauseWording, finding: Finding) -> str:
    """Return the cause's headline, no surer than it is; as doubtful where readings since speak against it."""
    line = words.headline_at(shown.place(finding))
    if finding.probability >= SURE:
        return line
    if finding.probability >= DOUBTFUL:
        hedge = "Most likely" if finding.probability >= LIKELY else "Perhaps"
        return f"{hedge}: {shown.lower_first(line)}"
    return f"Suspected after the last firing, but doubtful now: {shown.lower_first(line)}"


def _word(finding: Finding, standing: Standing) -> str:
    if standing != "stop":
        return WORDS[standing]
    urgent_harm = finding.severity == "urgent" and finding.cause in SAFETY_CAUSES
    return WORDS["stop"] if urgent_harm else "Inspect before firing"


def _do(words: CauseWording) -> str:
    first = words.first_look
    begin = f"{first[:1].upper()}{first[1:].rstrip('.')}."
    return f"{begin} The visit sheet has the order, the expected readings and the parts."


def _how_sure(finding: Finding, wording: Wording) -> str:
    text = f"{shown.odds(finding.probability)[:1].upper()}{shown.odds(finding.probability)[1:]}."
    if finding.rivals:
        cause, odds = finding.rivals[0]
        text += f" If not, most likely {wording.causes[cause].short} ({max(1, round(100 * odds))} in 100)."
    return f"{text} To decide: {wording.causes[finding.cause].deciding.rstrip('.')}."


def _by_when(history: KilnHistory, finding: Finding) -> str:
    """Return a date for what wears; what is broken does not wait for a threshold."""
    if finding.cause in SAFETY_CAUSES:
        return "Before the next firing: firing on may do harm."
    if finding.cause != "element_ageing":
        return "At the next gap in the firing plan, and before ware that matters."
    latest = history.latest
    ahead = outlook_sentence(history, latest.outlook) if latest and latest.outlook else ""
    return ahead or "At the next gap in the firing plan, within about ten firings."


def shows_wear(said: Assessment) -> bool:
    """Return whether there is wear to reckon with: a finding says so, or the outlook has an end on both sides.

    Where "no end in sight" lies within the interval, a number of firings and a date would be read out of noise.
    """
    if any(finding.cause == "element_ageing" for finding in said.findings):
        return True
    return said.outlook is not None and said.outlook.firings_left is not None and said.outlook.high is not None


def outlook_sentence(history: KilnHistory, outlook: Outlook) -> str:
    """Return when the threshold is met, in firings with their interval and as a date at this kiln's pace."""
    limit = shown.percent(outlook.threshold)
    latest = history.latest
    if latest is not None and latest.power.value is not None and latest.power.value <= outlook.threshold:
        text = f"The threshold of {limit} has been passed: at the next gap in the firing plan."
    elif latest is None or not shows_wear(latest):
        far = outlook.low is not None and outlook.low >= SOON_FIRINGS
        return "No wear to see yet." + (f" Not within the next {outlook.low:.0f} firings." if far else "")
    elif outlook.firings_left is None:
        if outlook.low is None:
            return ""
        text = f"Not within the next {outlook.low:.0f} firings, as far as the past tells."
    else:
        text = f"{limit} is met {in_firings(outlook)}{_on_date(history, outlook)}."
    if outlook.peak_firings_left is not None and outlook.peak_firings_left <= FAR_FIRINGS:
        text += f" The peak itself is out of reach in about {outlook.peak_firings_left:.0f} firings."
    elif outlook.programme_firings_left is not None and outlook.programme_firings_left <= FAR_FIRINGS:
        text += f" The programme's last ramp can be held for about {outlook.programme_firings_left:.0f} firings."
    return text


def in_firings(outlook: Outlook) -> str:
    """Return how many firings are left, with their interval, no more exactly than can be known."""
    left = outlook.firings_left or 0.0
    low = left if outlook.low is None else outlook.low
    if left > FAR_FIRINGS:
        return f"in more than {FAR_FIRINGS:.0f} firings, at the earliest in {low:.0f}"
    late = f"{outlook.high:.0f}" if outlook.high is not None and outlook.high <= FAR_FIRINGS else "many more"
    return f"in about {left:.0f} firings ({low:.0f} to {late})"


def _on_date(history: KilnHistory, outlook: Outlook) -> str:
    latest = history.latest
    on = date_after(history, outlook.firings_left or 0.0)
    if on is None or latest is None or latest.started is None:
        return ""
    return f", at this pace {shown.about(on, latest.started, history.studio.time_zone)}"


def _repair_in_doubt(latest: Assessment) -> Verdict | None:
    """Return the verdict where a firing after a repair shows less than it should and no cause is found yet."""
    if latest.repair not in AGAINST:
        return None
    return _plain(
        "visit",
        f"The repair is not proved. {latest.verification} Power left: {shown.power(latest.power)}.",
        "Isolate, then look for a wire left off, a loose terminal or a wrong part; measure each circuit cold.",
        "Before the next firing.",
        "The firing after the repair was laid beside this kiln's own past.",
    )


def _unsound_reading(history: KilnHistory) -> Verdict | None:
    """Return the verdict where the logs show nothing but a circuit was measured that is not whole."""
    mended = max((entry.at for entry in repairs(history)), default=None)
    newest = history.latest.started if history.latest else None
    fresh = [e for e in since_newest_firing(history.logbook, newest) if mended is None or e.at >= mended]
    if not fresh:
        return None
    expected = inspection_of(history).measurements
    newest_at = {
        place.key: e for e in fresh if (place := place_of(e, expected)) is not None and place.quantity == "ohm"
    }
    said = " ".join(fits(entry, expected) for entry in newest_at.values() if unsound(entry, expected))
    if not said:
        return None
    return _plain(
        "visit",
        f"The logs show nothing wrong, but a reading by hand does. {said}",
        "Read it once more. If it stays so, that circuit needs work: the visit sheet has the order.",
        "Before ware that matters.",
        "A reading by hand, and no firing read since.",
    )


def _without_finding(history: KilnHistory, findings: list[Finding], wording: Wording) -> Verdict:
    latest = history.latest
    assert latest is not None
    doubt = _repair_in_doubt(latest) or _unsound_reading(history)
    if doubt is not None:
        return doubt
    notes = " ".join(f"{wording.causes[f.cause].headline_at(shown.place(f))}." for f in findings[:2])
    power = latest.power
    outlook = latest.outlook
    threshold = history.kiln.replace_at_power
    if power.value is None and power.low is None:
        return _plain(
            "unknown",
            f"There was not enough firing at full output to tell this kiln's power. {notes}".strip(),
            "Nothing to open. To know: run a firing that asks for full output near the peak, or log the output.",
            "No hurry.",
            "Nothing points to a fault; nothing shows the power either.",
        )
    if too_few(history):
        number = len(history.judged)
        read = f"{number} firing{'s' if number > 1 else ''} read, nothing stands out: too few to judge by."
        return _plain(
            "unknown",
            f"{read} {notes}".strip(),
            "Nothing. Fire as usual.",
            f"No date to keep. From about {FEWEST} firings on there is something to compare with.",
            "The first firings only show what this kiln's 100 % is.",
        )
    left = outlook.firings_left if outlook is not None and shows_wear(latest) else None
    near = left is not None and left <= SOON_FIRINGS
    low_now = power.value is not None and power.value < threshold
    standing: Standing = "watch" if near or low_now else "sound"
    headline = f"Nothing is wrong that the logs can show. Power left: {shown.power(power)}. {notes}".strip()
    do = "Order a set of elements in good time." if near else "Nothing. Fire as usual."
    ahead = outlook_sentence(history, outlook) if outlook else ""
    sure = (
        "The kiln kept pace with its programme, so its power is at least this; how much more cannot be seen."
        if power.value is None
        else "The range in brackets holds 9 times in 10."
    )
    return Verdict(standing, WORDS[standing], headline, do, ahead or "No date to keep.", sure)

"""The trend report of one kiln: one page, first the verdict, then what it rests on."""

from dataclasses import dataclass
from datetime import datetime

from config.wording import Wording, load
from daemon.report import shown
from daemon.report.axes import lettered
from daemon.report.causes_section import said_of
from daemon.report.charts_climb import climb_chart
from daemon.report.charts_firing import firing_chart
from daemon.report.charts_power import power_chart
from daemon.report.charts_readings import readings_chart
from daemon.report.charts_use import duty_chart, energy_chart
from daemon.report.charts_zones import zones_chart
from daemon.report.cost import cost_of
from daemon.report.grounds import grounds
from daemon.report.heat_work_said import heat_work_said
from daemon.report.history import KilnHistory
from daemon.report.nameplate import nameplate
from daemon.report.pages import page
from daemon.report.reading_fit import fits, since_newest_firing
from daemon.report.readings_table import all_readings, inspection_of, order_list
from daemon.report.sheet import Chart
from daemon.report.verdict import outlook_sentence, verdict
from daemon.report.verification import verification

CHARTS = (power_chart, climb_chart, firing_chart, zones_chart, duty_chart, energy_chart, readings_chart)
# What is said where a chart cannot be drawn, by the chart's key.
ABSENT = {
    "climb": (
        "Climb at full output, at like temperature",
        "Too few firings passed one temperature at full output. A log with the output would show it.",
    ),
    "zones": (
        "Zone balance",
        "The logs hold one temperature, or no output by zone, so zones cannot be told apart.",
    ),
    "duty": (
        "Duty in the hold at the peak",
        "Too few logs hold the output through a hold at the peak. A controller that logs it would show duty.",
    ),
    "energy": (
        "Energy of each firing",
        "No energy can be given: it needs volts and amps in the log, or output there and rated_kw in the register.",
    ),
}


@dataclass(frozen=True, slots=True)
class Section:
    """A chart, or the sentence that stands in its place."""

    key: str
    heading: str
    chart: Chart | None
    absent: str = ""


def kiln_page(history: KilnHistory, now: datetime | str, wording: Wording | None = None, *, files: str = "") -> str:
    """Return the page as text.

    ``files`` is the slug of the kiln's files for links to the visit sheet and the studio page; empty leaves the
    links out (a page that stands alone).
    """
    words = wording or load()
    latest = history.latest
    studio = history.studio
    said = verdict(history, words)
    return page(
        "kiln.html.jinja",
        unit=studio.temperature_unit,
        kiln=history.kiln,
        studio=studio,
        plate=nameplate(history.kiln, studio.temperature_unit),
        verdict=said,
        own_cautions=() if said.finding is None else words.causes[said.finding.cause].cautions[:1],
        latest=latest,
        outlook="" if latest is None or latest.outlook is None else outlook_sentence(history, latest.outlook),
        sections=_sections(history),
        causes=said_of(history, words),
        cautions=words.cautions,
        blocks=all_readings(history),
        parts=order_list(inspection_of(history).parts),
        fresh=_fresh_readings(history),
        cost=cost_of(history),
        heat_work=heat_work_said(history),
        verification=verification(history),
        grounds=grounds(history),
        logbook=_entries(history),
        alerts=[(a.incident, a.text, shown.day(a.since, studio.time_zone)) for a in history.open_alerts],
        made=now if isinstance(now, str) else shown.moment(now, studio.time_zone),
        files=files,
    )


def _entries(history: KilnHistory) -> list[tuple[str, str, str]]:
    """Return the logbook newest first: date, the letter that marks it in the charts, and what it says."""
    letters = {id(entry): name for name, _, entry in lettered(history)}
    newest_first = sorted(history.logbook, key=lambda entry: entry.at, reverse=True)
    zone = history.studio.time_zone
    return [(shown.day(entry.at, zone), letters.get(id(entry), ""), shown.entry(entry)) for entry in newest_first]


def _fresh_readings(history: KilnHistory) -> list[str]:
    """Return what the readings since the newest firing say, against what each case would show."""
    newest = None if history.latest is None else history.latest.started
    expected = inspection_of(history).measurements
    causes = {finding.cause for finding in history.findings}
    said = (fits(entry, expected, causes) for entry in since_newest_firing(history.logbook, newest))
    return [text for text in said if text]


def _sections(history: KilnHistory) -> list[Section]:
    if not history.judged:
        return []
    sections = []
    for make in CHARTS:
        drawn = make(history)
        key = make.__name__.removesuffix("_chart")
        if drawn is not None:
            sections.append(Section(key, drawn.heading, drawn))
        elif key in ABSENT:
            heading, why = ABSENT[key]
            sections.append(Section(key, heading, None, why))
    return sections

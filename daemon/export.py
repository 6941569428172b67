"""Measures and findings as plain tables with their data dictionary, and the bundle of one case for a technician.

Tables are CSV (UTF-8, comma, point). Text that a spreadsheet would take for a formula is written with an apostrophe
before it. The bundle holds pages, tables, the kiln's part of the register and its newest logs, and no secret.
"""

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import PurePosixPath

from analysis.assessment import Assessment
from analysis.findings import PowerRatio
from config.kiln import Kiln
from config.units import render
from config.wording import Wording
from config.wording import load as load_wording
from daemon.logbook import format_line
from daemon.report import shown
from daemon.report.energy_drawn import drawn_kwh
from daemon.report.history import KilnHistory

Value = str | float | int | None
# What a spreadsheet may take for a formula or a command at the start of a cell.
_RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)  # the same bundle twice is the same file


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table with its unit and meaning."""

    name: str
    unit: str
    meaning: str


FIRINGS = (
    Column("kiln", "", "the kiln's id"),
    Column("firing", "", "number of the firing, from 1"),
    Column("started", "UTC, ISO 8601", "when the firing began; empty if the log holds no date"),
    Column("logs", "", "files it was read from, parted by ;"),
    Column("programme", "", "name as written in the log"),
    Column("end", "", "complete, aborted, stalled, time limit, incomplete or unreadable"),
    Column("duration_s", "s", "length of the log"),
    Column("peak_c", "deg C", "highest temperature"),
    Column("cone", "", "pyrometric cone equivalent"),
    Column("cone_equivalent_c", "deg C", "peak that would do the same heat-work at 60 deg C/h without a hold"),
    Column("more_than_planned_c", "deg C", "what a climb slower than the set point's added to the heat-work"),
    Column("power_ratio", "1", "the kiln's full power after this firing over the reference"),
    Column("power_low", "1", "lower end of its 90 % interval, or a lower bound alone"),
    Column("power_high", "1", "upper end of its 90 % interval"),
    Column("firing_power", "1", "what this firing alone shows"),
    Column("firing_power_low", "1", "lower end of its 90 % interval"),
    Column("firing_power_high", "1", "upper end of its 90 % interval"),
    Column("basis", "", "what this firing's power was measured by"),
    Column("reference", "", "what 1 means: nameplate, first firings, after repair"),
    Column("climb_c_per_h", "deg C/h", "rise at full output near the peak"),
    Column("climb_from_c", "deg C", "lower end of the band of that climb"),
    Column("climb_to_c", "deg C", "upper end of the band of that climb"),
    Column("hold_duty", "1", "share of full output in the hold at the peak"),
    Column("mean_duty", "1", "share of full output over the firing"),
    Column("energy_kwh", "kWh", "energy drawn: rated power x output x power ratio, summed over the firing"),
    Column("supply_volts", "V", "supply volts at full output"),
    Column("firings_left", "1", "firings until the replacement threshold"),
    Column("firings_left_low", "1", "lower end of its 80 % interval"),
    Column("firings_left_high", "1", "upper end of its 80 % interval"),
    Column("problems", "", "repairs and doubts of the log, parted by ;"),
)
ZONES = (
    Column("kiln", "", "the kiln's id"),
    Column("firing", "", "number of the firing, from 1"),
    Column("zone", "", "the zone's name"),
    Column("power_ratio", "1", "the zone's full power after this firing over the reference"),
    Column("power_low", "1", "lower end of its 90 % interval"),
    Column("power_high", "1", "upper end of its 90 % interval"),
)
FINDINGS = (
    Column("kiln", "", "the kiln's id"),
    Column("firing", "", "number of the firing after which it was found, from 1"),
    Column("cause", "", "one of the causes in config/wording/causes"),
    Column("severity", "", "info, warning or urgent"),
    Column("probability", "1", "how likely this cause is"),
    Column("zone", "", "zone concerned, empty for the whole kiln"),
    Column("circuit", "", "circuit concerned"),
    Column("since", "UTC, ISO 8601", "when it began"),
    Column("power_step", "1", "sudden change of the power ratio that started it"),
    Column("evidence", "", "what speaks for it (+) and against it (-), parted by |"),
    Column("deciding", "", "the measurement that would decide"),
)
TABLES = {"firings.csv": FIRINGS, "zones.csv": ZONES, "findings.csv": FINDINGS}


def safe_cell(value: Value) -> Value:
    """Return a cell no spreadsheet takes for a formula. Numbers stay numbers."""
    if not isinstance(value, str):
        return value
    text = shown.plain(value, 2000)
    return f"'{text}" if text.startswith(_RISKY) else text


def tables(histories: Sequence[KilnHistory], wording: Wording | None = None) -> dict[str, str]:
    """Return every table as CSV text by file name, the data dictionary among them."""
    words = wording or load_wording()
    firings = [row for h in histories for f in h.firings for row in [_firing(f.assessment, f.logs)]]
    zones = [row for h in histories for f in h.firings for row in _zones(f.assessment)]
    findings = [row for h in histories for f in h.firings for row in _findings(f.assessment, words)]
    dictionary = [(file, c.name, c.unit, c.meaning) for file, columns in TABLES.items() for c in columns]
    return {
        "firings.csv": _csv([c.name for c in FIRINGS], firings),
        "zones.csv": _csv([c.name for c in ZONES], zones),
        "findings.csv": _csv([c.name for c in FINDINGS], findings),
        "columns.csv": _csv(["file", "column", "unit", "meaning"], dictionary),
        "logbook.jsonl": "".join(f"{format_line(entry)}\n" for h in histories for entry in h.logbook),
    }


def _csv(heads: Sequence[str], rows: Iterable[Sequence[Value]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    for row in rows:
        writer.writerow(["" if cell is None else safe_cell(cell) for cell in row])
    return out.getvalue()


def _time(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _number(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)


def _power(ratio: PowerRatio) -> list[Value]:
    return [_number(ratio.value), _number(ratio.low), _number(ratio.high)]


def _firing(said: Assessment, logs: Sequence[str]) -> list[Value]:
    measures, climb, outlook, work = said.measures, said.climb, said.outlook, said.heat_work
    return [
        said.kiln,
        said.index + 1,
        _time(said.started),
        "; ".join(logs),
        said.programme,
        said.end,
        _number(measures.duration_s, 0),
        _number(measures.peak_c, 1),
        said.cone,
        *([None] * 2 if work is None else [_number(work.equivalent_c, 0), _number(work.more_than_planned_c, 0)]),
        *_power(said.power),
        *_power(said.firing_power),
        said.firing_power.basis,
        said.reference,
        *([None] * 3 if climb is None else [_number(climb.c_per_h, 1), climb.from_c, climb.to_c]),
        _number(measures.hold_duty),
        _number(measures.mean_duty),
        _number(drawn_kwh(said), 2),
        _number(measures.supply_volts, 1),
        *([None] * 3 if outlook is None else [_number(outlook.firings_left, 1), outlook.low, outlook.high]),
        "; ".join(render(text) for text in said.problems),
    ]


def _zones(said: Assessment) -> list[list[Value]]:
    return [[said.kiln, said.index + 1, zone.zone, *_power(zone.power)] for zone in said.zones]


def _findings(said: Assessment, wording: Wording) -> list[list[Value]]:
    return [
        [
            said.kiln,
            said.index + 1,
            found.cause,
            found.severity,
            _number(found.probability, 3),
            found.zone,
            found.circuit,
            _time(found.since),
            _number(found.power_step),
            " | ".join(f"({'+' if e.supports else '-'}) {render(e.text)}" for e in found.evidence),
            render(wording.causes[found.cause].deciding),
        ]
        for found in said.findings
    ]


def register_toml(kiln: Kiln) -> str:
    """Return the kiln's part of the register as TOML: what its nameplate and wiring say, and how its logs are read."""
    lines = ["[[kiln]]"]
    for name in (
        "id",
        "name",
        "model",
        "serial",
        "volts",
        "supply",
        "rated_kw",
        "volume_l",
        "max_temp_c",
        "thermocouple",
        "zones",
        "time_zone",
        "replace_at_power",
    ):
        value = getattr(kiln, name)
        if value not in (None, "", ()):
            lines.append(f"{name} = {_toml(value)}")
    hints = [
        f"{name} = {_toml(value)}"
        for name in ("temperature_unit", "time_unit", "day_order", "time_zone", "delimiter", "decimal", "encoding")
        if (value := getattr(kiln.log, name)) is not None
    ]
    if kiln.log.columns:
        listed = ", ".join(f"{_toml(k)} = {_toml(v)}" for k, v in kiln.log.columns.items())
        hints.append(f"columns = {{{listed}}}")
    lines += ["", "[kiln.log]", *hints] if hints else []
    for circuit in kiln.circuits:
        lines += ["", "[[kiln.circuit]]", f"name = {_toml(circuit.name)}"]
        for name in ("zone", "elements", "wiring", "element_ohm", "line"):
            value = getattr(circuit, name)
            if value not in (None, ()):
                lines.append(f"{name} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return json.dumps(value)


ABOUT = """This folder holds one kiln's case, put together by Coilwatch from its firing logs.

report.html      trend report: open it in a browser
visit.html       visit sheet: one page to print
power.png        the power ratio over firings
firings.csv, zones.csv, findings.csv   the numbers behind them; columns.csv says what each column means
logbook.jsonl    repairs, readings and notes, one a line
register.toml    nameplate and wiring as the studio entered them
logs/            the newest logs as they came from the kiln

Coilwatch reads logs after the fact. It is no safety device. Isolate, lock off and prove dead before opening.
"""


def case_bundle(
    history: KilnHistory,
    pages: dict[str, str],
    picture: bytes | None,
    logs: Sequence[tuple[str, bytes]],
    wording: Wording | None = None,
) -> bytes:
    """Return the bundle as a ZIP: ``pages`` by file name, ``logs`` as (name, content), newest first."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bundle:
        parts: dict[str, bytes] = {"about.txt": ABOUT.encode()}
        parts |= {name: text.encode("utf-8", "replace") for name, text in pages.items()}
        if picture is not None:
            parts["power.png"] = picture
        parts |= {name: text.encode("utf-8", "replace") for name, text in tables([history], wording).items()}
        parts["register.toml"] = register_toml(history.kiln).encode("utf-8", "replace")
        for number, (name, content) in enumerate(logs, 1):
            parts[f"logs/{number:02d}-{safe_name(name)}"] = content
        for name, content in parts.items():
            bundle.writestr(zipfile.ZipInfo(name, _ZIP_DATE), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def safe_name(name: str) -> str:
    """Return a log's last name with nothing in it that a file system or a shell would obey."""
    last = PurePosixPath(name.replace("\\", "/")).name
    return re.sub(r"[^A-Za-z0-9._-]+", "_", last).strip("._")[:80] or "log.txt"

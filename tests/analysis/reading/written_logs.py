"""A known firing and the ways a controller or logger may write it down: layouts and defects for the reading tests.

Everything here is invented. A layout that is written is only promised to be readable where the file (or the
register's hints, in ``Layout.hints``) can tell what it means.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from config.kiln import Kiln, LogHints

HEADERS = {
    "english": {
        "elapsed": "Time",
        "date": "Date",
        "clock": "Time of day",
        "stamp": "Timestamp",
        "zone": "Temp {n}",
        "one": "Temperature",
        "point": "Set point",
        "output": "Output {n}",
        "volts": "Supply",
        "amps": "Current",
        "room": "Room",
        "segment": "Segment",
    },
    "terse": {
        "elapsed": "time",
        "date": "date",
        "clock": "clock",
        "stamp": "tm",
        "zone": "t{n}",
        "one": "temp",
        "point": "sp",
        "output": "out{n}",
        "volts": "volts",
        "amps": "amps",
        "room": "amb",
        "segment": "seg",
    },
    "german": {
        "elapsed": "Zeit",
        "date": "Datum",
        "clock": "Uhrzeit",
        "stamp": "Zeitstempel",
        "zone": "Istwert {n}",
        "one": "Istwert",
        "point": "Sollwert",
        "output": "Leistung {n}",
        "volts": "Spannung",
        "amps": "Strom",
        "room": "Raumtemperatur",
        "segment": "Abschnitt",
    },
    "french": {
        "elapsed": "Temps écoulé",
        "date": "Date",
        "clock": "Heure",
        "stamp": "Horodatage",
        "zone": "Température {n}",
        "one": "Température",
        "point": "Consigne",
        "output": "Puissance {n}",
        "volts": "Tension",
        "amps": "Courant",
        "room": "Ambiante",
        "segment": "Palier",
    },
    "spanish": {
        "elapsed": "Tiempo",
        "date": "Fecha",
        "clock": "Hora",
        "stamp": "Fecha hora",
        "zone": "Temperatura {n}",
        "one": "Temperatura",
        "point": "Consigna",
        "output": "Potencia {n}",
        "volts": "Voltaje",
        "amps": "Corriente",
        "room": "Ambiente",
        "segment": "Etapa",
    },
    "italian": {
        "elapsed": "Tempo",
        "date": "Data",
        "clock": "Ora",
        "stamp": "Data ora",
        "zone": "Temperatura {n}",
        "one": "Temperatura",
        "point": "Riferimento",
        "output": "Potenza {n}",
        "volts": "Tensione",
        "amps": "Corrente",
        "room": "Ambiente",
        "segment": "Passo",
    },
    "dutch": {
        "elapsed": "Tijd",
        "date": "Datum",
        "clock": "Klokslag",
        "stamp": "Tijdstip",
        "zone": "Temperatuur {n}",
        "one": "Temperatuur",
        "point": "Doeltemperatuur",
        "output": "Vermogen {n}",
        "volts": "Spanning",
        "amps": "Stroom",
        "room": "Omgevingstemperatuur",
        "segment": "Stap",
    },
}
SERIAL_DAY_0 = datetime(1899, 12, 30)  # noqa: DTZ001 - a spreadsheet counts local days
TIMES = (
    "seconds",
    "minutes",
    "hours",
    "h:mm:ss",
    "ISO",
    "ISO offset",
    "day first",
    "month first",
    "12-hour",
    "epoch s",
    "epoch ms",
    "serial",
    "named month",
)


@dataclass(frozen=True)
class Firing:
    """Samples of a firing as they really were; temperatures in deg C, output a share, (n,) or (n, zones)."""

    start: datetime
    t: np.ndarray
    zones: np.ndarray
    point: np.ndarray
    output: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    room: np.ndarray
    segment: np.ndarray


def firing(
    seed: int = 0,
    zones: int = 2,
    sample_s: float = 60.0,
    hours: float = 9.0,
    peak_c: float = 1222.0,
    start: datetime = datetime(2026, 3, 2, 8, 14, tzinfo=UTC),
    jitter_s: float = 0.0,
    room_c: float = 18.0,
) -> Firing:
    """Return a made-up firing: two ramps, a short hold, cooling; zones lag the set point and are a little noisy."""
    rng = np.random.default_rng(seed)
    n = int(hours * 3600 / sample_s)
    t = np.arange(n) * sample_s
    if jitter_s:
        t = np.maximum.accumulate(np.round(t + rng.uniform(-jitter_s, jitter_s, n)))
        t -= t[0]
        t = np.where(np.diff(t, prepend=-1.0) <= 0, t + 1, t)
    top = 0.62 * hours * 3600
    corners = [0, 0.28 * top, 0.95 * top, top]
    point = np.interp(t, corners, [room_c, 0.45 * peak_c, peak_c, peak_c])
    lag = 4.0 + 3.0 * np.arange(zones)
    cool = np.exp(-np.clip(t - top, 0, None) / (0.35 * hours * 3600))
    body = np.where(t <= top, point, room_c + (peak_c - room_c) * cool)
    warm = np.clip(t / 600.0, 0, 1)[:, None]
    zone = body[:, None] - lag * warm + rng.normal(0, 0.25, (n, zones))
    duty = np.clip(0.15 + 0.75 * point / 1300 + rng.normal(0, 0.05, n), 0, 1) * (t <= top)
    output = np.clip(duty[:, None] * (1 + 0.05 * np.arange(zones)) * (t[:, None] <= top), 0, 1)
    output[(t > 0.9 * top) & (t < 0.95 * top)] = 1.0
    volts = 236 + rng.normal(0, 1.2, n)
    amps = 40 * output.mean(axis=1) * volts / 236
    room = room_c + 4 * t / t[-1] + rng.normal(0, 0.1, n)
    segment = np.where(t > top, 0, np.searchsorted(corners[1:3], t) + 1)
    return Firing(start, t, zone, np.where(t <= top, point, 0.0), output, volts, amps, room, segment)


@dataclass(frozen=True)
class Layout:
    """How a firing is written. ``extra`` columns: any of volts, amps, room, segment; ``point`` and ``output`` too."""

    time: str = "seconds"
    language: str = "english"
    delimiter: str = ","
    decimal: str = "."
    header: bool = True
    units_in: str = "header"  # header, row, text, register
    unit: str = "C"
    decimals: int = 1
    columns: tuple[str, ...] = ("point", "zones", "output")
    output_scale: float = 100.0
    preamble: tuple[str, ...] = ()
    encoding: str = "utf-8"
    line_end: str = "\n"
    json: str = ""  # "", flat, nested, zones (a list of objects)
    pairs: str = ""  # what parts pairs of key and value, "" for none
    sign: str = "="  # what joins key and value
    lead: bool = False  # the time stands before the pairs, with a word that says how much it matters
    fixed: bool = False
    quoted: bool = False
    zone_name: str = "Europe/Dublin"
    final_line_end: bool = True


@dataclass(frozen=True)
class Written:
    """A log: its bytes, name, the kiln of the register it belongs to, and which samples of the firing it holds."""

    data: bytes
    name: str
    kiln: Kiln
    rows: list[int]
    layout: Layout
    strays: int = 0
    text: list[str] = field(default_factory=list)


def _number(value: float, decimals: int, mark: str) -> str:
    return f"{value:.{decimals}f}".replace(".", mark)


def _temperature(value_c: float, layout: Layout) -> str:
    return _number(value_c if layout.unit == "C" else value_c * 1.8 + 32, layout.decimals, layout.decimal)


def _local(one: Firing, seconds: float, layout: Layout) -> datetime:
    return (one.start + timedelta(seconds=float(seconds))).astimezone(ZoneInfo(layout.zone_name))


def time_cells(one: Firing, seconds: float, layout: Layout) -> list[str]:
    """Return the time cell, or the date and the clock cell."""
    at = _local(one, seconds, layout)
    plain = {
        "seconds": lambda: f"{seconds:.0f}",
        "minutes": lambda: _number(seconds / 60, 3, layout.decimal),
        "hours": lambda: _number(seconds / 3600, 5, layout.decimal),
        "h:mm:ss": lambda: f"{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}",
        "ISO": lambda: f"{at:%Y-%m-%dT%H:%M:%S}",
        "ISO offset": lambda: at.isoformat(timespec="seconds"),
        "epoch s": lambda: f"{at.timestamp():.0f}",
        "epoch ms": lambda: f"{at.timestamp() * 1000:.0f}",
        "serial": lambda: _number((at.replace(tzinfo=None) - SERIAL_DAY_0).total_seconds() / 86400, 6, layout.decimal),
        "named month": lambda: f"{at:%d %b %Y %H:%M:%S}" if layout.delimiter != " " else f"{at:%d-%b-%Y_%H:%M:%S}",
    }
    if layout.time in plain:
        return [plain[layout.time]()]
    if layout.time == "day first":
        return [f"{at:%d.%m.%Y}", f"{at:%H:%M:%S}"]
    if layout.time == "month first":
        return [f"{at.month}/{at.day}/{at.year}", f"{at:%H:%M:%S}"]
    return [f"{at.month}/{at.day}/{at.year}", f"{at.hour % 12 or 12}:{at:%M:%S} {'AM' if at.hour < 12 else 'PM'}"]


def _names(one: Firing, layout: Layout) -> list[str]:
    words = HEADERS[layout.language]
    degrees = f" (°{layout.unit})" if layout.units_in == "header" else ""
    time_unit = {"seconds": "s", "minutes": "min", "hours": "h"}.get(layout.time, "")
    names = [words["elapsed"] + (f" ({time_unit})" if time_unit and layout.units_in == "header" else "")]
    if layout.time in {"day first", "month first", "12-hour"}:
        names = [words["date"], words["clock"]]
    elif layout.time not in {"seconds", "minutes", "hours", "h:mm:ss"}:
        names = [words["stamp"]]
    count = one.zones.shape[1]
    for column in layout.columns:
        if column == "zones":
            names += [(words["one"] if count == 1 else words["zone"].format(n=z + 1)) + degrees for z in range(count)]
        elif column == "output":
            names += [words["output"].format(n=z + 1) for z in range(count)]
        else:
            names.append(words[column] + (degrees if column in {"point", "room"} else ""))
    return names


def _cells(one: Firing, k: int, layout: Layout) -> list[str]:
    cells = time_cells(one, one.t[k], layout)
    for column in layout.columns:
        if column == "zones":
            cells += [_temperature(value, layout) for value in one.zones[k]]
        elif column == "output":
            decimals = 0 if layout.output_scale == 100 else 3
            cells += [_number(value * layout.output_scale, decimals, layout.decimal) for value in one.output[k]]
        elif column in {"point", "room"}:
            cells.append(_temperature(getattr(one, column)[k], layout))
        elif column == "segment":
            cells.append(str(int(one.segment[k])))
        else:
            cells.append(_number(getattr(one, column)[k], 1, layout.decimal))
    return cells


def _units_row(one: Firing, layout: Layout) -> list[str]:
    degree = f"°{layout.unit}"
    times = {"seconds": ["s"], "minutes": ["min"], "hours": ["h"]}.get(layout.time, [""])
    row = ["", ""] if layout.time in {"day first", "month first", "12-hour"} else list(times)
    for column in layout.columns:
        many = one.zones.shape[1] if column in {"zones", "output"} else 1
        row += [
            {"zones": degree, "point": degree, "room": degree, "volts": "V", "amps": "A"}.get(
                column, "%" if column == "output" and layout.output_scale == 100 else ""
            )
        ] * many
    return row


def _row(cells: Sequence[str], layout: Layout) -> str:
    if layout.fixed:
        return "  ".join(cell.rjust(12) for cell in cells)
    if layout.quoted:
        return layout.delimiter.join(f'"{cell}"' for cell in cells)
    return layout.delimiter.join(cells)


def lines(one: Firing, layout: Layout) -> tuple[list[str], list[str]]:
    """Return the lines above the table and the sample lines."""
    if layout.json:
        return [], [_json_row(one, k, layout) for k in range(one.t.size)]
    if layout.pairs:
        return list(layout.preamble), [_pair_row(one, k, layout) for k in range(one.t.size)]
    above = list(layout.preamble)
    if layout.units_in == "text":
        above.append(f"Temperatures in degrees {'Celsius' if layout.unit == 'C' else 'Fahrenheit'}")
    if layout.header:
        names = _names(one, layout)
        if layout.fixed:
            names = [name.replace(" ", "") for name in names]
        above.append(_row(names, layout))
    if layout.units_in == "row":
        above.append(_row(_units_row(one, layout), layout))
    return above, [_row(_cells(one, k, layout), layout) for k in range(one.t.size)]


def _json_row(one: Firing, k: int, layout: Layout) -> str:
    times = time_cells(one, one.t[k], layout)
    numeric = layout.time in {"seconds", "minutes", "hours", "epoch s", "epoch ms", "serial"}
    record: dict[str, object] = {"time": float(times[0]) if numeric else " ".join(times)}
    temperature = [float(_temperature(value, layout)) for value in one.zones[k]]
    point = float(_temperature(one.point[k], layout))
    output = [round(float(value) * layout.output_scale, 3) for value in one.output[k]]
    if layout.json == "nested":
        record["temp"] = {f"zone {z + 1}": value for z, value in enumerate(temperature)}
        record["set point"] = point
        record["output"] = output
    elif layout.json == "zones":
        both = enumerate(zip(temperature, output, strict=True), 1)
        record["zones"] = [{"zone": z, "temp": degrees, "output": share} for z, (degrees, share) in both]
        record["set point"] = point
    else:
        record["sp"] = point
        record |= {f"t{z + 1}": value for z, value in enumerate(temperature)}
        record |= {f"out{z + 1}": value for z, value in enumerate(output)}
    return json.dumps(record)


def _pair_row(one: Firing, k: int, layout: Layout) -> str:
    names, cells = _names(one, layout), _cells(one, k, layout)
    if layout.quoted:
        cells = [f'"{cell}"' for cell in cells]
    lead = ""
    if layout.lead:
        stamp = time_cells(one, one.t[k], layout)
        names, cells = names[len(stamp) :], cells[len(stamp) :]
        lead = " ".join(stamp) + " INFO "
    return lead + layout.pairs.join(name + layout.sign + cell for name, cell in zip(names, cells, strict=True))


def kiln_for(one: Firing, layout: Layout, **more: object) -> Kiln:
    """Return the register's entry a studio would have: zones, time zone, and the unit if only it can tell."""
    unit = layout.unit if layout.units_in == "register" or layout.json or layout.pairs else None
    names = tuple(f"{z + 1}" for z in range(one.zones.shape[1]))
    hints = LogHints(temperature_unit=unit)  # type: ignore[arg-type]
    return Kiln(id="juniper", zones=names, time_zone=layout.zone_name, log=hints, **more)  # type: ignore[arg-type]


def encode(text: str, encoding: str) -> bytes:
    """Encode, with a byte-order mark for utf-16 and utf-8-sig only."""
    return text.encode(encoding, "replace")


def write(one: Firing, layout: Layout, name: str = "") -> Written:
    """Write a whole log without defects."""
    above, rows = lines(one, layout)
    text = layout.line_end.join(above + rows) + (layout.line_end if layout.final_line_end else "")
    name = name or f"{_local(one, 0, layout):%Y-%m-%d_%H%M%S}.csv"
    return Written(encode(text, layout.encoding), name, kiln_for(one, layout), list(range(one.t.size)), layout)


def spoil(one: Firing, layout: Layout, defects: Sequence[str], seed: int) -> Written:
    """Write a log with defects; ``rows`` of the result are the samples that must still be found, in order.

    Defects: cut, repeat, swap, gap, NUL, text, header, blank line, empty cell.
    """
    rng = np.random.default_rng(seed)
    above, rows = lines(one, layout)
    n = len(rows)
    index = list(range(n))
    body: list[tuple[int, str]] = list(zip(index, rows, strict=True))
    strays = 0
    said: list[str] = []
    if "gap" in defects:
        at = int(rng.integers(n // 4, n // 2))
        body = body[:at] + body[at + int(rng.integers(20, 40)) :]
    if "swap" in defects:
        at = int(rng.integers(5, len(body) - 5))
        body[at], body[at + 1] = body[at + 1], body[at]
    if "repeat" in defects:
        for at in sorted(rng.choice(np.arange(5, len(body) - 5), 3, replace=False).tolist(), reverse=True):
            body.insert(at, body[at])
    wanted = sorted({k for k, _ in body})
    if "text" in defects:
        for words in ("*** checksum wrong ***", "note: lid opened"):
            at = int(rng.integers(3, len(body) - 3))
            body.insert(at, (-1, words))
            said.append(words)
            strays += 1
    if "header" in defects and layout.header and not layout.json and not layout.pairs:
        body.insert(int(rng.integers(3, len(body) - 3)), (-1, above[-1] if layout.units_in != "row" else above[-2]))
    if "blank line" in defects:
        body.insert(int(rng.integers(3, len(body) - 3)), (-1, ""))
    text = layout.line_end.join([*above, *(line for _, line in body)]) + layout.line_end
    if "cut" in defects:
        last = body[-1][1]
        text = text[: -len(layout.line_end) - int(rng.integers(2, max(3, len(last) - 1)))]
        wanted = wanted[:-1]
    data = encode(text, layout.encoding)
    if "NUL" in defects:
        data += b"\0" * 32
    name = f"{_local(one, 0, layout):%Y-%m-%d_%H%M%S}.csv"
    return Written(data, name, kiln_for(one, layout), wanted, layout, strays, said)


def thinned(one: Firing, every: int) -> Firing:
    """Return every ``every``-th sample."""
    keep = slice(None, None, every)
    return replace(
        one,
        t=one.t[keep],
        zones=one.zones[keep],
        point=one.point[keep],
        output=one.output[keep],
        volts=one.volts[keep],
        amps=one.amps[keep],
        room=one.room[keep],
        segment=one.segment[keep],
    )

"""The season from October 2025 to April 2026: every firing, and what people did to the kilns in between."""

from dataclasses import dataclass

JUNIPER_RELAY_FAILS_BEFORE = "2026-01-22"
JUNIPER_RELAY_REPLACED = "2026-01-25"
HERON_ELEMENTS_REPLACED = "2026-03-14"


@dataclass(frozen=True, slots=True)
class Plan:
    """One firing as the studio planned it: local date and time, and what went in (kg)."""

    kiln: str
    start: str
    programme: str
    ware_kg: float
    furniture_kg: float
    raw: bool = False
    stop_at_c: float | None = None
    remark: str = ""

    @property
    def day(self) -> str:
        """The local date, ``YYYY-MM-DD``."""
        return self.start[:10]


def _bisque(kiln: str, start: str, programme: str, ware_kg: float, furniture_kg: float, **rest: object) -> Plan:
    return Plan(kiln, start, programme, ware_kg, furniture_kg, raw=True, **rest)  # type: ignore[arg-type]


_HERON = (
    Plan("heron", "2025-10-02 19:10", "glaze 1285", 32, 42),
    Plan("heron", "2025-10-07 18:45", "glaze 1285", 37, 42),
    Plan("heron", "2025-10-12 19:30", "glaze 1285", 34, 44),
    _bisque("heron", "2025-10-16 20:13", "bisque 1000", 37, 36),
    Plan("heron", "2025-10-22 18:50", "glaze 1285", 36, 42),
    Plan("heron", "2025-10-28 19:20", "glaze 1285", 33, 42),
    Plan("heron", "2025-11-02 19:00", "glaze 1285", 38, 44),
    Plan("heron", "2025-11-06 18:40", "glaze 1285", 35, 40),
    Plan("heron", "2025-11-10 19:10", "glaze 1285", 32, 42),
    _bisque("heron", "2025-11-14 20:13", "bisque 1000", 37, 36),
    Plan("heron", "2025-11-20 19:30", "glaze 1285", 34, 44),
    Plan("heron", "2025-11-25 19:05", "glaze 1285", 39, 40),
    Plan("heron", "2025-11-29 18:50", "glaze 1285", 36, 42),
    Plan("heron", "2025-12-04 19:20", "glaze 1285", 33, 42),
    Plan("heron", "2025-12-09 19:00", "glaze 1285", 38, 44),
    _bisque("heron", "2025-12-14 20:13", "bisque 1000", 37, 36),
    Plan("heron", "2025-12-19 19:10", "glaze 1285", 32, 42),
    Plan("heron", "2025-12-23 18:45", "glaze 1285", 37, 42),
    Plan("heron", "2026-01-07 19:30", "glaze 1285", 34, 44),
    Plan("heron", "2026-01-12 19:05", "glaze 1285", 39, 40),
    Plan("heron", "2026-01-16 18:50", "glaze 1285", 36, 42),
    _bisque("heron", "2026-01-21 20:13", "bisque 1000", 37, 36),
    Plan("heron", "2026-01-26 19:00", "glaze 1285", 38, 44),
    Plan("heron", "2026-01-31 18:40", "glaze 1285", 35, 40),
    Plan("heron", "2026-02-05 19:10", "glaze 1285", 32, 42),
    Plan("heron", "2026-02-10 18:45", "glaze 1285", 37, 42),
    Plan("heron", "2026-02-15 19:30", "glaze 1285", 34, 44),
    _bisque("heron", "2026-02-20 20:13", "bisque 1000", 37, 36),
    Plan("heron", "2026-02-24 18:50", "glaze 1285", 36, 42),
    Plan("heron", "2026-03-01 19:20", "glaze 1285", 33, 42),
    Plan("heron", "2026-03-07 19:00", "glaze 1285", 38, 44),
    Plan("heron", "2026-03-15 10:00", "first firing 1050", 0, 40, remark="empty, to form the oxide skin on new wire"),
    Plan("heron", "2026-03-20 19:00", "glaze 1285", 35, 42),
    _bisque("heron", "2026-03-25 20:10", "bisque 1000", 40, 36),
    Plan("heron", "2026-03-31 19:05", "glaze 1285", 37, 42),
    Plan("heron", "2026-04-05 18:45", "glaze 1285", 34, 42),
    Plan("heron", "2026-04-10 18:45", "glaze 1285", 36, 44),
)

_JUNIPER = (
    Plan("juniper", "2025-10-07 18:30", "glaze 1222", 13, 15),
    _bisque("juniper", "2025-10-16 19:00", "bisque 1000", 15, 13),
    Plan("juniper", "2025-10-24 18:20", "glaze 1222", 12, 15),
    Plan("juniper", "2025-11-05 18:45", "glaze 1222", 14, 15),
    _bisque("juniper", "2025-11-14 19:10", "bisque 1000", 16, 13),
    Plan("juniper", "2025-11-22 17:50", "glaze 1222", 13, 15),
    Plan("juniper", "2025-12-03 18:30", "glaze 1222", 13, 16),
    Plan("juniper", "2025-12-19 18:15", "glaze 1222", 12, 15),
    Plan("juniper", "2026-01-10 18:40", "glaze 1222", 14, 15),
    Plan("juniper", "2026-01-22 21:30", "glaze 1222", 13, 15, remark="the relay of circuit lower no longer closes"),
    Plan("juniper", "2026-01-28 18:30", "glaze 1222", 13, 15, remark="the same ware again, with a new relay"),
    Plan("juniper", "2026-02-24 18:25", "glaze 1222", 14, 15),
    Plan("juniper", "2026-03-12 18:35", "glaze 1222", 13, 15),
    Plan("juniper", "2026-03-31 18:50", "glaze 1222", 12, 15),
)

_THRIFT = (
    _bisque("thrift", "2025-10-09 19:00", "bisque 1060", 62, 68),
    Plan("thrift", "2025-10-14 18:30", "glaze quick", 58, 72),
    Plan("thrift", "2025-10-25 20:30", "glaze quick", 55, 72, remark="the clocks go back during this firing"),
    _bisque("thrift", "2025-11-03 19:15", "bisque 1060", 66, 68),
    Plan("thrift", "2025-11-12 18:40", "glaze quick", 98, 112, remark="heavy load: tiles, shelves close together"),
    Plan("thrift", "2025-11-24 18:20", "glaze quick", 57, 72),
    _bisque("thrift", "2025-12-01 19:05", "bisque 1060", 63, 68),
    Plan(
        "thrift",
        "2025-12-17 18:30",
        "glaze quick",
        56,
        72,
        stop_at_c=640.0,
        remark="stopped by hand: a shelf had slipped",
    ),
    Plan("thrift", "2025-12-19 18:10", "glaze quick", 56, 72),
    Plan("thrift", "2026-01-12 18:35", "glaze quick", 92, 108, remark="heavy load: tiles"),
    Plan("thrift", "2026-02-06 18:30", "glaze slow cool", 55, 72, remark="a new programme"),
    Plan("thrift", "2026-02-18 18:25", "glaze slow cool", 59, 72),
    Plan("thrift", "2026-03-05 18:40", "glaze quick", 57, 72),
    _bisque("thrift", "2026-03-16 19:00", "bisque 1060", 104, 96, remark="heavy load: thick planters"),
    Plan("thrift", "2026-03-28 20:15", "glaze slow cool", 56, 72, remark="the clocks go forward during this firing"),
    Plan("thrift", "2026-04-08 18:30", "glaze quick", 58, 72),
)

PLANS = tuple(sorted(_HERON + _JUNIPER + _THRIFT, key=lambda plan: plan.start))

# In the logbook's form (one object a line); a bare date is the start of that day in the studio's time zone.
LOGBOOK: tuple[dict[str, object], ...] = (
    {"kiln": "juniper", "at": "2026-01-24", "what": "measured", "quantity": "ohm", "value": 19.6,
     "where": "circuit lower", "note": "isolated and locked, proved dead, meter leads zeroed"},
    {"kiln": "juniper", "at": JUNIPER_RELAY_REPLACED, "what": "replaced", "part": "relay", "circuit": "lower",
     "note": "coil open; both elements of the circuit measured well"},
    {"kiln": "heron", "at": "2026-03-13", "what": "measured", "quantity": "ohm", "value": 17.9, "where": "circuit top"},
    {"kiln": "heron", "at": HERON_ELEMENTS_REPLACED, "what": "replaced", "part": "elements", "note": "full set"},
    {"kiln": "thrift", "at": "2025-12-18", "what": "note",
     "note": "firing stopped by hand: a shelf had slipped; nothing wrong with the kiln"},
)  # fmt: skip

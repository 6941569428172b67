"""The register's plain types: what is known of a kiln from its nameplate and wiring.

These are the only types of ``config`` that ``analysis`` may import. Every field but ``id`` may be missing;
a missing fact costs only the results that need it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Supply = Literal["single-phase", "three-phase delta", "three-phase wye", "three-phase wye with neutral"]
Wiring = Literal["parallel", "series"]
TemperatureUnit = Literal["C", "F"]
TimeUnit = Literal["s", "min", "h"]
DayOrder = Literal["day-first", "month-first"]
ThermocoupleType = Literal["K", "N", "S", "R", "B", "E", "J", "T"]


@dataclass(frozen=True, slots=True)
class LogHints:
    """The register's ``[kiln.log]``: what a log file cannot tell by itself, or what recognition got wrong.

    ``columns`` maps a column's name in the file (or its number, from 1, as text) to a role of
    ``analysis.reading.roles``, for example ``{"T1": "zone top", "SV": "set point", "Board": "ignore"}``.
    """

    temperature_unit: TemperatureUnit | None = None
    time_unit: TimeUnit | None = None
    day_order: DayOrder | None = None
    time_zone: str | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    columns: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Circuit:
    """One switched heating circuit of a kiln.

    ``element_ohm`` holds the as-new cold resistance of each element, in ohm; empty if unknown.
    ``line`` names the supply conductors in a three-phase kiln: ``L1-L2``, ``L2-L3``, ``L3-L1`` or ``L1-N`` ...
    """

    name: str
    zone: str | None = None
    elements: int = 1
    wiring: Wiring = "parallel"
    element_ohm: tuple[float, ...] = ()
    line: str | None = None


@dataclass(frozen=True, slots=True)
class Kiln:
    """One kiln of the register. Units are in the names; ``time_zone`` is an IANA name or ``None``."""

    id: str
    patterns: tuple[str, ...] = ()
    name: str = ""
    model: str = ""
    serial: str = ""
    volts: float | None = None
    supply: Supply | None = None
    rated_kw: float | None = None
    volume_l: float | None = None
    max_temp_c: float | None = None
    thermocouple: ThermocoupleType | None = None
    zones: tuple[str, ...] = ()
    time_zone: str | None = None
    replace_at_power: float = 0.90
    element_price: float | None = None
    log: LogHints = field(default_factory=LogHints)
    circuits: tuple[Circuit, ...] = ()

    @property
    def title(self) -> str:
        """The name people use: ``name`` if given, else ``id``."""
        return self.name or self.id

"""The form of ``coilwatch.toml``: what may stand in it, with a plain description of every field.

The descriptions serve twice: as the remedy in an error message and as the comments that ``coilwatch setup`` writes.
"""

from datetime import time
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, SecretStr, model_validator

from config.kiln import DayOrder, Supply, TemperatureUnit, ThermocoupleType, TimeUnit, Wiring

_NO_NUL = r"^[^\x00]+$"
_LINES = {
    "single-phase": {"L1-L2", "L1-N", "L2-N"},
    "three-phase delta": {"L1-L2", "L2-L3", "L3-L1"},
    "three-phase wye": {"L1-N", "L2-N", "L3-N"},
    "three-phase wye with neutral": {"L1-N", "L2-N", "L3-N"},
}


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"{name!r} is no time zone this computer knows") from error
    return name


def _web_address(value: SecretStr) -> SecretStr:
    if not value.get_secret_value().startswith(("https://", "http://")):
        raise ValueError("this is no web address (its value is not shown here)")
    return value


def _as_list(value: Any) -> Any:  # noqa: ANN401 - whatever stood in the file
    return value if isinstance(value, (list, tuple)) else [value]


WebAddress = Annotated[SecretStr, AfterValidator(_web_address)]
TimeZone = Annotated[str, AfterValidator(_known_zone)]


class Form(BaseModel):
    """A table of the file: unknown keys are refused, values are not shown in errors, nothing changes later."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True, allow_inf_nan=False)


class Studio(Form):
    """The table ``[studio]``."""

    name: str = Field(
        "", description='the studio\'s name, for messages and reports, for example "Tidewrack Clay Studio"'
    )
    time_zone: TimeZone = Field("UTC", description='the studio\'s time zone, for example "Europe/Dublin"')
    energy_price: float | None = Field(None, ge=0, description="price of one kWh, for example 0.34")
    currency: str = Field("", max_length=8, description='the sign written before or after a price, for example "€"')
    temperature_unit: TemperatureUnit = Field("C", description='"C" or "F": the unit people here read')


class FoldersForm(Form):
    """The table ``[folders]``; relative paths count from the settings file."""

    drop: str = Field("drop", min_length=1, pattern=_NO_NUL, description="the watched folder, with all its sub-folders")
    data: str = Field(
        "data",
        min_length=1,
        pattern=_NO_NUL,
        description="where the database, the reports and kept logs go; a local disk",
    )
    wording: str | None = Field(
        None, min_length=1, pattern=_NO_NUL, description="a folder with your own wording of messages and reports"
    )
    secrets: str = Field(
        "secrets", min_length=1, pattern=_NO_NUL, description="a folder of small files, each holding one secret"
    )


class Service(Form):
    """The table ``[service]``: the running of the service itself. The defaults suit a spare computer."""

    settle_s: float = Field(10, ge=0, le=3600, description="seconds a file must be unchanged before it is read")
    scan_s: float = Field(60, ge=1, le=3600, description="seconds between two looks through the drop folder")
    watch: Literal["auto", "scan"] = Field(
        "auto", description='"auto" also listens for changes; "scan" for a network share that reports none'
    )
    finished_after_min: float = Field(
        20,
        ge=0,
        le=24 * 60,
        description="minutes without a new row after which an unfinished firing is judged as it is",
    )
    silent_after_min: float = Field(
        30, ge=1, le=24 * 60, description="minutes without a new row in mid-firing after which you are told"
    )
    file_limit_s: float = Field(60, gt=0, le=3600, description="seconds one file may take before it is set aside")
    file_limit_mb: float = Field(200, gt=0, le=4096, description="files larger than this are set aside")
    heartbeat_url: WebAddress | None = Field(
        None, description="a web address fetched now and then, so silence is noticed"
    )
    heartbeat_min: float = Field(10, ge=1, le=24 * 60, description="minutes between two heartbeats")
    backup_at: time = Field(time(5, 0), description="the time of the daily back-up, for example 05:00:00")
    backups_kept: int = Field(7, ge=1, le=1000, description="how many dated back-ups are kept")
    disk_free_mb: float = Field(500, ge=0, description="you are told when the data disk has less free than this")
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        "info", description="how much the service log holds"
    )


class LogForm(Form):
    """The table ``[kiln.log]``: only what a log file cannot tell by itself."""

    temperature_unit: TemperatureUnit | None = Field(None, description='"C" or "F": the unit in the log')
    time_unit: TimeUnit | None = Field(None, description='"s", "min" or "h": the unit of a plain time column')
    day_order: DayOrder | None = Field(None, description='"day-first" or "month-first": how the log writes dates')
    time_zone: TimeZone | None = Field(None, description='the zone of the log\'s clock, for example "Europe/Dublin"')
    delimiter: str | None = Field(
        None, min_length=1, max_length=1, description='what parts the columns: "," ";" "\\t" "|" " "'
    )
    decimal: Literal[".", ","] | None = Field(None, description='"." or ","')
    encoding: str | None = Field(None, description='for example "utf-8", "cp1252", "utf-16"')
    columns: dict[str, str] = Field(
        default_factory=dict, description='column name (or number from 1) = role, for example T1 = "zone top"'
    )


class CircuitForm(Form):
    """One ``[[kiln.circuit]]``."""

    name: str = Field(min_length=1, max_length=40, description='the circuit\'s name, for example "top"')
    zone: str | None = Field(None, description="the zone it heats, one of the kiln's zones")
    elements: int = Field(1, ge=1, le=48, description="number of elements in the circuit")
    wiring: Wiring = Field("parallel", description='"parallel" or "series"')
    element_ohm: Annotated[tuple[Annotated[float, Field(gt=0, le=1000)], ...], BeforeValidator(_as_list)] = Field(
        (), description="resistance of one element as new and cold, in ohm, for example 27.4; or a list, one for each"
    )
    line: str | None = Field(None, description='the supply conductors, for example "L1-L2" or "L1-N"')

    @model_validator(mode="after")
    def _an_ohm_for_each(self) -> "CircuitForm":
        if len(self.element_ohm) not in (0, 1, self.elements):
            raise ValueError(
                f"element_ohm holds {len(self.element_ohm)} values for {self.elements} elements: give one, or all"
            )
        return self


class KilnForm(Form):
    """One ``[[kiln]]``: only ``id`` is needed; each missing fact costs only the results that need it."""

    id: str = Field(
        min_length=1,
        max_length=60,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]*$",
        description='letters, digits, space, "_", "." and "-"; logs in the sub-folder of this name are this kiln\'s',
    )
    patterns: tuple[str, ...] = Field((), description='file names that are this kiln\'s, for example ["juniper-*.csv"]')
    name: str = Field("", max_length=60, description="the name people use")
    model: str = Field("", max_length=80, description="from the nameplate, for ordering parts")
    serial: str = Field("", max_length=80, description="from the nameplate, for ordering parts")
    volts: float | None = Field(None, gt=0, le=1000, description="nameplate volts, for example 240.0")
    supply: Supply | None = Field(
        None,
        description='"single-phase", "three-phase delta", "three-phase wye" or "three-phase wye with neutral"',
    )
    rated_kw: float | None = Field(None, gt=0, le=500, description="nameplate kilowatts, for example 9.6")
    volume_l: float | None = Field(None, gt=0, le=20000, description="chamber volume in litres, for example 185")
    max_temp_c: float | None = Field(
        None, gt=300, le=1800, description="highest temperature allowed, in deg C, for example 1290"
    )
    thermocouple: ThermocoupleType | None = Field(None, description='the thermocouple\'s type, for example "K"')
    zones: tuple[str, ...] = Field((), max_length=6, description="zone names in the order of the log's columns")
    time_zone: TimeZone | None = Field(None, description="only if it differs from the studio's")
    replace_at_power: float = Field(
        0.90, gt=0.3, lt=1, description="share of new power at which elements are replaced, for example 0.90"
    )
    element_price: float | None = Field(None, ge=0, description="price of one element")
    log: LogForm = Field(default_factory=LogForm, description="what a log file cannot tell")
    circuit: tuple[CircuitForm, ...] = Field((), max_length=48, description="the heating circuits")

    @model_validator(mode="after")
    def _circuits_fit(self) -> "KilnForm":
        names = [circuit.name for circuit in self.circuit]
        for circuit in self.circuit:
            if circuit.zone is not None and self.zones and circuit.zone not in self.zones:
                raise ValueError(
                    f"circuit {circuit.name!r} heats zone {circuit.zone!r}, which is none of {list(self.zones)}"
                )
            if circuit.line is not None and self.supply is not None and circuit.line not in _LINES[self.supply]:
                allowed = ", ".join(sorted(_LINES[self.supply]))
                raise ValueError(
                    f"circuit {circuit.name!r}: line {circuit.line!r} does not fit {self.supply} ({allowed})"
                )
        if len(set(names)) != len(names):
            raise ValueError("two circuits have the same name")
        if len(set(self.zones)) != len(self.zones):
            raise ValueError("two zones have the same name")
        return self

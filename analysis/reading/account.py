"""How a log was understood: what each column was taken for and why, the time base, the units, what is not known."""

from dataclasses import dataclass

from analysis.reading.firing_log import FiringLog
from config.kiln import TemperatureUnit


@dataclass(frozen=True, slots=True)
class ColumnAccount:
    """One column of the file. ``number`` counts from 1, ``role`` is a role of ``analysis.reading.roles``."""

    number: int
    name: str
    role: str
    unit: str
    why: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """Something the file cannot tell: what, what was taken for now, and the setting that would tell."""

    what: str
    taken: str
    setting: str


@dataclass(frozen=True, slots=True)
class RowCount:
    """Where every row of the file went: ``lines`` is the sum of all the others.

    ``used`` samples; ``repeated``, ``blank`` (not one usable number), ``text`` (events), ``headers`` (preamble,
    header, units), ``cut`` (last line without its end), ``damaged`` (wrong number of fields or no time),
    ``empty`` lines.
    """

    lines: int = 0
    used: int = 0
    repeated: int = 0
    blank: int = 0
    text: int = 0
    headers: int = 0
    cut: int = 0
    damaged: int = 0
    empty: int = 0


@dataclass(frozen=True, slots=True)
class Account:
    """How one file was understood. All text is plain and safe to show (control characters are made visible)."""

    name: str
    size_bytes: int
    encoding: str
    encoding_why: str
    form: str
    delimiter: str
    decimal: str
    header_line: int | None
    preamble: tuple[str, ...]
    columns: tuple[ColumnAccount, ...]
    rows: RowCount
    time_base: str
    time_why: str
    sample_s: float
    temperature_unit: TemperatureUnit
    temperature_unit_why: str
    temperature_unit_certain: bool
    unknown: tuple[Unknown, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """All firings of one file, oldest first, with the account and every repair or doubt of the whole file."""

    firings: tuple[FiringLog, ...]
    account: Account
    problems: tuple[str, ...]

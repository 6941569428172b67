"""The account of one file put together from what each step of reading found."""

from collections.abc import Sequence

from analysis.reading.account import Account, ColumnAccount, RowCount
from analysis.reading.clock_repairs import Straight
from analysis.reading.encoding import PlainText
from analysis.reading.roles import Column
from analysis.reading.samples import Samples
from analysis.reading.shown import shown
from analysis.reading.started import Began
from analysis.reading.table import Table
from analysis.reading.time_base import TimeBase
from analysis.reading.units import TemperatureUnitFound

_OF_A_ZONE = frozenset({"zone", "set point", "output"})
_TEMPERATURES = frozenset({"zone", "set point", "average", "room"})
_ELECTRICAL = {"volts": "V", "amps": "A"}
_MOST_PREAMBLE = 20


def account_of(
    plain: PlainText,
    table: Table,
    columns: Sequence[Column],
    samples: Samples,
    base: TimeBase,
    unit: TemperatureUnitFound,
    start: Began,
    straight: Straight,
    rows: RowCount,
    name: str,
    size_bytes: int,
) -> Account:
    """Return the account; every text taken from the file is made safe to show."""
    return Account(
        name=shown(name, 120),
        size_bytes=size_bytes,
        encoding=plain.encoding,
        encoding_why=plain.why,
        form=table.form,
        delimiter=table.delimiter,
        decimal=table.decimal,
        header_line=table.header_line,
        preamble=tuple(shown(line) for line in table.preamble[:_MOST_PREAMBLE]),
        columns=_columns(columns, samples, unit.unit),
        rows=rows,
        time_base=shown(base.text),
        time_why=shown(base.why),
        sample_s=straight.sample_s,
        temperature_unit=unit.unit,
        temperature_unit_why=unit.why,
        temperature_unit_certain=unit.certain,
        unknown=(*unit.unknown, *start.unknown),
    )


def _columns(columns: Sequence[Column], samples: Samples, unit: str) -> tuple[ColumnAccount, ...]:
    """Say what each column was taken for; several zones by the names the firing has them under."""
    named = dict(zip(samples.zone_names, samples.zone_columns, strict=True)) if len(samples.zone_names) > 1 else {}
    by_index = {column.index: name for name, column in named.items()}
    by_key = {key: name for name, column in named.items() for key in (column.number, column.place) if key}
    dated = any(column.role == "date" for column in columns)
    out = []
    for column in columns:
        role, why = column.role, column.why
        which: int | str | None = None
        if role in _OF_A_ZONE:
            key = column.number or column.place
            which = by_index.get(column.index) or (by_key.get(key, key) if key else None)
        elif role == "amps":
            which = column.number
        elif role in {"time", "clock"} and dated and column.values is None:
            role, why = "clock", "the time of day beside the date"
        unit_of_column = column.unit or (unit if role in _TEMPERATURES else _ELECTRICAL.get(role, ""))
        if role == "output":
            unit_of_column = samples.output_scale
        if which is not None:
            role = f"{role} {which}"
        out.append(ColumnAccount(column.index + 1, shown(column.name, 60), shown(role, 60), unit_of_column, shown(why)))
    return tuple(out)

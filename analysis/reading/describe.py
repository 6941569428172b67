"""The account of one file put together from what each step of reading found."""

from collections.abc import Sequence

from analysis.reading.account import Account, ColumnAccount, RowCount
from analysis.reading.clock_repairs import Straight, median_step
from analysis.reading.encoding import PlainText
from analysis.reading.roles import Column
from analysis.reading.shown import shown
from analysis.reading.started import Began
from analysis.reading.table import Table
from analysis.reading.time_base import TimeBase
from analysis.reading.units import TemperatureUnitFound

_OF_A_ZONE = frozenset({"zone", "set point", "output", "amps"})
_TEMPERATURES = frozenset({"zone", "set point", "average", "room"})
_MOST_PREAMBLE = 20


def account_of(
    plain: PlainText,
    table: Table,
    columns: Sequence[Column],
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
        columns=tuple(_column(column, unit.unit) for column in columns),
        rows=rows,
        time_base=shown(base.text),
        time_why=shown(base.why),
        sample_s=median_step(straight.elapsed_s),
        temperature_unit=unit.unit,
        temperature_unit_why=unit.why,
        temperature_unit_certain=unit.certain,
        unknown=(*unit.unknown, *start.unknown),
    )


def _column(column: Column, unit: str) -> ColumnAccount:
    role = column.role
    which = column.place or column.number
    if role in _OF_A_ZONE and which is not None:
        role = f"{role} {which}"
    of_column = column.unit or (unit if column.role in _TEMPERATURES else "")
    return ColumnAccount(column.index + 1, shown(column.name, 60), role, of_column, shown(column.why))

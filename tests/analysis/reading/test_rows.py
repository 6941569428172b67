"""The cells of a table: small tables are read another way, and must come out alike."""

import numpy as np
import pytest

from analysis.reading import rows
from analysis.reading.shape import Shape

CELLS = (
    "20", "20.5", "-3", "+4", ".5", "7.", "1e3", "1E-2", " 8", "8 ", "007", "12345678901234567890", "1e400", "0.1",
    "nan", "NaN", "inf", "-Infinity", "null", "-", "--", "", "True", "0x1A", "1_000", "1.2.3", "12C", "\xb2", "1d3",
)  # fmt: skip


def read(text: str, monkeypatch: pytest.MonkeyPatch, few: int) -> dict[int, list[float | str]]:
    monkeypatch.setattr(rows, "_FEW_CELLS", few)
    shape = Shape(",", ".", 3, ("a", "b", "c"), ("",) * 3, None, (), 0, 0, ("number",) * 3)
    found = rows.find_rows(text.encode("latin-1"), 0, shape)
    cells = rows.read_numbers(found, shape, [0, 1, 2])
    return {at: values if isinstance(values, list) else np.asarray(values).tolist() for at, values in cells.items()}


@pytest.mark.parametrize("cell", CELLS)
def test_a_small_table_is_read_as_a_large_one(cell: str, monkeypatch: pytest.MonkeyPatch) -> None:
    text = f"1,20.5,3\n2,{cell},4\n3,21.5,5\n"
    small, large = read(text, monkeypatch, 8_000), read(text, monkeypatch, 0)
    assert str(small) == str(large)


@pytest.mark.parametrize("row", [",4,5", "4,,5", "4,5,", ",,5", "4,,", ",5,", ",,"])
def test_empty_cells_of_a_small_table_are_read_as_in_a_large_one(row: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for text in (f"1,20.5,3\n{row}\n3,21.5,5\n", f"{row}\n1,20.5,3\n", f"1,2,3\n{row}\n{row}\n"):
        small, large = read(text, monkeypatch, 8_000), read(text, monkeypatch, 0)
        assert str(small) == str(large)


def test_plain_numbers_of_a_small_table_need_no_data_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "_frame", lambda *_: pytest.fail("a data frame was made"))
    assert read("1,20.5,3\n2,21.5,4\n", monkeypatch, 8_000) == {0: [1.0, 2.0], 1: [20.5, 21.5], 2: [3.0, 4.0]}

"""The logbook's lines: what a person wrote comes back as meant, and a slip is named with its remedy."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry
from daemon.logbook import LogbookError, content_id, format_line, parse_line, read_logbook, standing, when

KILN = Kiln(
    "juniper",
    zones=("top", "bottom"),
    time_zone="Europe/Dublin",
    circuits=(Circuit("top", "top", 2), Circuit("bottom", "bottom", 2)),
)
BARE = Kiln("thrift")
KILNS = (KILN, BARE)


def line(**fields: object) -> str:
    return json.dumps({"kiln": "juniper", "at": "2026-04-06", "what": "note", "note": "x"} | fields)


def test_the_contract_line_is_read():
    text = (
        '{"kiln": "juniper", "at": "2026-04-06", "what": "replaced", "part": "elements", "zone": null, '
        '"circuit": null, "note": "full set"}'
    )
    entry = parse_line(text, kilns=KILNS)
    assert (entry.what, entry.part, entry.zone, entry.note) == ("replaced", "elements", None, "full set")


def test_a_bare_date_is_the_start_of_that_day_where_the_kiln_stands():
    assert parse_line(line(), kilns=KILNS).at == datetime(2026, 4, 5, 23, 0, tzinfo=UTC)
    assert parse_line(line(kiln="thrift"), kilns=KILNS).at == datetime(2026, 4, 6, tzinfo=UTC)


def test_a_time_with_offset_keeps_its_moment():
    assert when("2026-10-25T01:30+01:00", "Europe/Dublin") == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def test_a_reading_needs_quantity_value_and_place():
    entry = parse_line(line(what="measured", quantity="ohm", value=13.9, where="circuit top", note=""), kilns=KILNS)
    assert (entry.quantity, entry.value, entry.where) == ("ohm", 13.9, "circuit top")


@pytest.mark.parametrize(
    ("fields", "field", "remedy"),
    [
        ({"kiln": "heron"}, "kiln", "Known: juniper, thrift"),
        ({"kiln": ""}, "kiln", "missing"),
        ({"kiln": 3}, "kiln", "text in double quotes"),
        ({"at": "06/04/2026"}, "at", "Write 2026-04-06"),
        ({"at": "2026-13-45"}, "at", "is no date"),
        ({"at": None}, "at", "missing"),
        ({"what": "fixed"}, "what", "One of replaced, repaired, measured, note"),
        ({"what": "replaced"}, "part", "say what was replaced"),
        ({"what": "replaced", "part": "coil"}, "part", "One of elements"),
        ({"what": "replaced", "part": "element", "zone": "middle"}, "zone", "Its zones: top, bottom"),
        ({"what": "replaced", "part": "element", "circuit": "left"}, "circuit", "Its circuits: top, bottom"),
        ({"what": "measured"}, "quantity", "ohm, amp or volt"),
        ({"what": "measured", "quantity": "ohm", "where": "circuit top"}, "value", "needs its number"),
        ({"what": "measured", "quantity": "ohm", "value": 13.9}, "where", "say where"),
        ({"what": "measured", "quantity": "ohm", "value": "13.9", "where": "circuit top"}, "value", "no unit"),
        ({"what": "measured", "quantity": "ohm", "value": True, "where": "circuit top"}, "value", "a number"),
        ({"what": "measured", "quantity": "ohm", "value": 0.001, "where": "circuit top"}, "value", "kilohm"),
        ({"what": "measured", "quantity": "volt", "value": -3.0, "where": "L1-L2"}, "value", "cannot be right"),
        ({"note": ""}, "note", "needs its text"),
        ({"note": "x" * 3000}, "note", "longer than 2000"),
        ({"who": "me"}, "who", "no such field"),
    ],
)
def test_a_bad_line_names_file_line_field_and_remedy(fields: dict[str, object], field: str, remedy: str):
    with pytest.raises(LogbookError) as fault:
        parse_line(line(**fields), kilns=KILNS, line=7, file="book.jsonl")
    said = str(fault.value)
    assert said.startswith("book.jsonl, line 7: ")
    assert f"{field}:" in said
    assert remedy in said


@pytest.mark.parametrize("text", ["{", "[1]", "3", '{"kiln": NaN', "=1+1"])
def test_a_line_that_is_no_object_is_said(text: str):
    with pytest.raises(LogbookError, match=r"not JSON|not an object"):
        parse_line(text, kilns=KILNS)


def test_a_number_that_is_not_finite_is_refused():
    with pytest.raises(LogbookError, match="value"):
        parse_line(
            '{"kiln":"juniper","at":"2026-04-06","what":"measured","quantity":"ohm","value":NaN,"where":"circuit top"}',
            kilns=KILNS,
        )


def test_a_file_tells_every_bad_line_at_once(tmp_path: Path):
    book = tmp_path / "book.jsonl"
    book.write_text("\n".join([line(), "", "{", line(what="fixed")]), encoding="utf-8")
    with pytest.raises(LogbookError) as fault:
        read_logbook(book, KILNS)
    assert "line 3" in str(fault.value)
    assert "line 4" in str(fault.value)


def test_a_file_with_a_byte_order_mark_is_read_oldest_first(tmp_path: Path):
    book = tmp_path / "book.jsonl"
    text = "\ufeff" + "\r\n".join([line(at="2026-05-01"), line(at="2026-04-01", note="earlier")])
    book.write_text(text, encoding="utf-8")
    assert [entry.note for entry in read_logbook(book, KILNS)] == ["earlier", "x"]


def test_the_same_line_read_twice_is_the_same_entry():
    assert parse_line(line(), kilns=KILNS).id == parse_line(line(), kilns=KILNS).id
    assert parse_line(line(), kilns=KILNS).id != parse_line(line(note="y"), kilns=KILNS).id


def test_an_entry_taken_back_and_its_taking_back_do_not_count():
    kept = parse_line(line(note="kept"), kilns=KILNS)
    wrong = parse_line(line(note="wrong", at="2026-04-07"), kilns=KILNS)
    back = parse_line(line(note="", at="2026-04-08", withdraws=wrong.id), kilns=KILNS)
    assert standing([back, wrong, kept]) == (kept,)


_texts = st.text(st.characters(exclude_categories=("Cs",)), max_size=40)


@given(
    note=_texts.filter(lambda text: text.strip()),
    zone=st.sampled_from([None, "top", "bottom"]),
    at=st.datetimes(datetime(2000, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
)
def test_writing_and_reading_an_entry_gives_it_back(note: str, zone: str | None, at: datetime):
    entry = LogbookEntry("juniper", at, "replaced", "element", zone=zone, note=note.strip())
    entry = replace(entry, id=content_id(entry))
    written = format_line(entry)
    assert "\n" not in written
    assert parse_line(written, kilns=KILNS) == entry


@given(st.text(max_size=200).filter(lambda text: "kiln" not in text))
def test_any_other_text_is_refused_with_its_place(text: str):
    with pytest.raises(LogbookError, match=r"^book\.jsonl, line 1"):
        parse_line(text, kilns=KILNS, line=1, file="book.jsonl")

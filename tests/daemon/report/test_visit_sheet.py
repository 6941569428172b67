"""The visit sheet as its reader sees it: right parts, right first measurements, right expected values.

The reader here knows nothing but the sheet's text; what is right is worked out from Ohm's law beside it.
"""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.findings import Finding, PowerRatio
from analysis.judgement import ZonePower
from config.logbook import LogbookEntry
from daemon.report import shown
from daemon.report.charts_readings import readings_chart
from daemon.report.readings_table import MOST_LINES, blocks_of, inspection_of
from daemon.report.visit_sheet import visit_sheet

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)


def sheet_of(history) -> str:
    """Return the sheet's words without its tags."""
    made = visit_sheet(history, NOW)
    made = made[made.index("<body") :]
    cells = re.sub(r"</(td|th|tr|li|p|h1|h2|dd|caption)>", " | ", made)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", cells)).replace("&#39;", "'")


def with_finding(history, **changes):
    """Return the history with one finding after its newest firing."""
    found = Finding(**({"cause": "open_circuit", "severity": "urgent", "probability": 0.8} | changes))
    last = history.firings[-1]
    healthy = tuple(replace(z, power=PowerRatio(1.0, 0.98, 1.02, "duty")) for z in last.assessment.zones)
    said = replace(last.assessment, findings=(found,), zones=healthy, power=PowerRatio(1.0, 0.98, 1.02))
    return replace(history, firings=[*history.firings[:-1], replace(last, assessment=said)])


def zone(name: str, value: float, low: float, high: float) -> ZonePower:
    return ZonePower(name, PowerRatio(value, low, high))


def row(sheet: str, name: str) -> str:
    """Return the sheet's line of readings at one place."""
    found = re.search(rf"\| {re.escape(name)} \|[^|]*(?:\|[^|]*){{5}}", sheet)
    assert found is not None, f"no line for {name}"
    return found[0]


def test_an_aged_set_brings_the_whole_set_and_expects_ohms_up_by_what_was_lost(juniper):
    sheet = sheet_of(juniper)
    assert re.search(r"6 × \| full set of heating elements", sheet)
    assert re.search(r"12 × \| terminal", sheet)
    new = 27.4 / 2  # two in parallel
    worn = new / 0.855  # zone top has 85.5 % left
    assert f"{new:.1f} Ω ({0.95 * new:.1f}–{1.05 * new:.1f})" in row(sheet, "circuit top")
    assert f"{worn:.1f} Ω ({0.95 * worn:.1f}–{1.05 * worn:.1f})" in row(sheet, "circuit top")
    assert sheet.index("circuit top") < sheet.index("circuit middle") < sheet.index("circuit bottom")
    assert "aged as estimated (suspected)" in sheet


def test_a_broken_element_of_a_pair_is_told_by_twice_the_ohms_of_its_circuit_first(heron):
    sheet = sheet_of(heron)
    assert re.search(r"1 × \| heating element for circuit top", sheet)
    first = row(sheet, "circuit top")
    assert "20.5 Ω" in first  # 41 / 2
    assert "41.0 Ω (38.9–43.1)" in first  # one of the pair left
    assert "one element open (suspected)" in sheet
    assert sheet.index("circuit top") < sheet.index("circuit middle")


def test_a_dead_relay_is_told_by_a_normal_reading_on_a_dead_circuit(juniper):
    sheet = sheet_of(with_finding(juniper, circuit="middle", zone="middle"))
    assert re.search(r"1 × \| relay or contactor", sheet)
    assert re.search(r"1 × \| circuit fuse", sheet)
    first = row(sheet, "circuit middle")
    assert sheet.index("circuit middle") < sheet.index("| top, bottom |")
    assert "13.7 Ω" in first
    assert "open (no reading)" in first
    assert re.search(r"whole: its relay, fuse or wire is dead \(suspected\)", sheet)


def test_a_lost_line_on_a_delta_looks_at_fuses_first_and_expects_its_currents(heron):
    sheet = sheet_of(with_finding(heron, cause="lost_phase"))
    assert re.search(r"1 × \| supply fuse", sheet)
    assert sheet.index("| supply fuses |") < sheet.index("| top, middle, bottom |")
    element = 400.0 / (20.5 * 1.04)  # current of one side of the delta, hot
    assert f"{element * 3**0.5:.1f} A" in sheet, "healthy line current"
    assert f"{element * 1.5:.1f} A" in sheet, "with one line lost: one side full, the other two in series"


def test_the_cautions_stand_before_the_first_measurement_and_name_every_step(juniper):
    sheet = sheet_of(juniper)
    guard = sheet[sheet.index("Before you open anything") : sheet.index("Measure, in this order")]
    for wanted in ("Cold.", "Isolate.", "Lock.", "Prove dead.", "Dust.", "Who may.", "is not dead"):
        assert wanted in guard
    assert "no safety device" in sheet


def test_readings_that_need_the_power_on_come_last_and_are_for_the_licensed(heron):
    sheet = sheet_of(heron)
    assert sheet.index("Live work: licensed person only.") > sheet.index("circuit bottom")
    assert sheet.count("Live work: licensed person only.") == 2


def test_work_notes_and_the_verification_firing_close_the_sheet(juniper):
    sheet = sheet_of(juniper)
    order = [sheet.index(head) for head in ("While the coils are out", "Reconnecting", "Verification firing")]
    assert order == sorted(order)
    assert "1050 °C" in sheet
    assert "no published source" in sheet


def test_a_kiln_of_which_nothing_is_known_says_what_is_missing(thrift):
    sheet = sheet_of(thrift)
    assert "Not in the register" in sheet or "Zones" in sheet
    assert "lists no circuits" in sheet


@pytest.mark.parametrize("zones", [1, 3, 6])
@pytest.mark.parametrize("each", [1, 4])
def test_however_many_circuits_the_readings_fit_the_page_and_none_is_lost(heron, zones, each):
    names = tuple(f"zone {i + 1}" for i in range(zones))
    lines = ("L1-L2", "L2-L3", "L3-L1")
    circuits = tuple(
        replace(heron.kiln.circuits[0], name=f"{z} bank {k}", zone=z, line=lines[(i + k) % 3])
        for i, z in enumerate(names)
        for k in range(each)
    )
    big = replace(heron, kiln=replace(heron.kiln, zones=names, circuits=circuits))
    big = with_finding(replace(big, firings=heron.firings), cause="element_ageing", severity="warning")
    found = inspection_of(big)
    blocks, left_over = blocks_of(found, big.findings)
    assert sum(block.lines for block in blocks) <= MOST_LINES
    shown = sum(len(r.names) for block in blocks for r in block.rows)
    assert shown + left_over == len(found.measurements)


def test_only_the_suspected_circuits_own_reading_is_marked(heron):
    blocks, _ = blocks_of(inspection_of(heron), heron.findings)
    rows = [r for block in blocks if block.quantity == "ohm" for r in block.rows]
    marked = {name for r in rows for name in r.names if any(cell.suspected for cell in r.cells)}
    assert marked == {"circuit top"}


def test_numbers_run_on_without_a_gap(heron):
    blocks, _ = blocks_of(inspection_of(heron), heron.findings)
    numbers = [n for block in blocks for r in block.rows for n in r.number.split("–")]
    assert [int(n) for n in numbers] == sorted({int(n) for n in numbers})
    assert numbers[0] == "1"


def test_a_zone_is_told_with_its_interval_or_not_at_all(heron):
    last = heron.firings[-1]
    known = replace(last.assessment, zones=(zone("top", 0.6, 0.5, 0.7), zone("middle", 0.99, 0.97, 1.01)))
    assert shown.zones(known) == "zone top: 60 % (50 to 70); zone middle: 99 % (97 to 101)"
    assert shown.zones(replace(known, zones=(zone("top", 0.79, 0.45, 1.41), zone("middle", 1.0, 0.9, 1.1)))) == ""
    assert (
        shown.zones(replace(known, zones=(zone("top", 1.0, 0.9, 1.1), zone("middle", 0.99, 0.9, 1.1)))) == "zones alike"
    )
    assert shown.zones(replace(known, zones=(zone("top", 0.02, 0.01, 0.03), known.zones[1]))).startswith(
        "zone top: no heat"
    )


def test_what_was_read_before_lies_beside_the_box_unless_the_wire_was_changed_since(juniper):
    at = juniper.judged[-1].started
    read = LogbookEntry("juniper", at - timedelta(days=9), "measured", quantity="ohm", value=15.9, where="circuit top")
    new = LogbookEntry("juniper", at - timedelta(days=5), "replaced", "elements")
    assert "circuit top 15.9 Ω" in visit_sheet(replace(juniper, logbook=(read,)), NOW)
    assert "circuit top 15.9 Ω" not in visit_sheet(replace(juniper, logbook=(read, new)), NOW)
    assert "before the new elements" in readings_chart(replace(juniper, logbook=(read, new))).says


def test_a_rival_that_stands_on_the_sheet_is_not_named_twice(heron):
    last = heron.firings[-1]
    dead = Finding("open_circuit", "urgent", 0.66, zone="top", circuit="top", rivals=(("lost_phase", 0.33),))
    lost = Finding("lost_phase", "urgent", 0.33, rivals=(("open_circuit", 0.66),))
    two = replace(heron, firings=[replace(last, assessment=replace(last.assessment, findings=(dead, lost)))])
    assert "Else:" not in visit_sheet(two, NOW)
    one = replace(heron, firings=[replace(last, assessment=replace(last.assessment, findings=(dead,)))])
    assert "Else: lost supply line 33 in 100" in visit_sheet(one, NOW)

"""A reader who has nothing but the visit sheet: what to bring, what to measure, and what the meter should show.

The sheet is taken apart as a person reads it, table by table. What is right is worked out here from Ohm's law and
the nameplate alone, so that the sheet and the program's own network cannot be wrong in the same way.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from math import sqrt

import pytest

from analysis.circuits import HOT_OVER_COLD
from analysis.findings import Finding, PowerRatio
from analysis.inspection import inspect
from analysis.on_site import circuit_volts
from daemon.report.readings_table import either
from daemon.report.visit_sheet import visit_sheet

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)
HOT = 1.04  # wire at firing temperature over cold, alloy handbook


@dataclass
class Reading:
    """One line of the sheet: where, and what the meter shows in each case."""

    at: str
    quantity: str
    live: bool
    shows: dict[str, str] = field(default_factory=dict)

    def suspected(self) -> dict[str, str]:
        return {case: text for case, text in self.shows.items() if case.endswith("(suspected)")}


class Reader(HTMLParser):
    """Reads parts and readings off the page in the order they stand there."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.readings: list[Reading] = []
        self.kind = ""
        self.caption = ""
        self.heads: list[str] = []
        self.row: list[str] = []
        self.cell: list[str] | None = None
        self.in_head = False
        self.feed(page[page.index("<body") :])

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.kind, self.caption, self.heads = dict(attrs).get("class") or "", "", []
        if tag == "thead":
            self.in_head = True
        if tag == "tr":
            self.row = []
        if tag in ("td", "th", "caption"):
            self.cell = []

    def handle_data(self, data):
        if self.cell is not None:
            self.cell.append(data)

    def handle_endtag(self, tag):
        if tag in ("td", "th", "caption") and self.cell is not None:
            text = " ".join("".join(self.cell).split())
            self.cell = None
            if tag == "caption":
                self.caption = text
            else:
                self.row.append(text)
        if tag == "thead":
            self.heads, self.in_head = self.row, False
        if tag == "tr" and not self.in_head:
            self._line()
        if tag == "table":
            self.kind = ""

    def _line(self):
        if self.kind == "parts":
            self.parts.append(" ".join(self.row))
        if self.kind == "readings look":
            self.readings.append(Reading(self.row[1], "Look", live=False))
        if self.kind == "readings":
            quantity = self.caption.split()[0]
            cases = dict(zip(self.heads[2:-1], self.row[2:-1], strict=True))
            self.readings.append(Reading(self.row[1], quantity, "Live work" in self.caption, cases))

    def metered(self) -> list[Reading]:
        return [r for r in self.readings if r.quantity != "Look"]


def told(value: float, sign: str, spread: float = 0.05) -> str:
    digits = 0 if value >= 100 else 1
    low, high = (1 - spread) * value, (1 + spread) * value
    return f"{value:.{digits}f} {sign} ({low:.{digits}f}–{high:.{digits}f})"


def after(history, power: float, **finding):
    """Return the history with one urgent finding and otherwise healthy zones after its newest firing."""
    found = Finding(**({"severity": "urgent", "probability": 0.9} | finding))
    last = history.firings[-1]
    zones = tuple(replace(z, power=PowerRatio(1.0, 0.98, 1.02, "duty")) for z in last.assessment.zones)
    left = PowerRatio(power, power - 0.02, power + 0.02)
    said = replace(last.assessment, findings=(found,), zones=zones, power=left)
    return replace(history, firings=[*history.firings[:-1], replace(last, assessment=said)])


def read(history) -> Reader:
    return Reader(visit_sheet(history, NOW))


def test_the_reader_of_an_aged_set_leaves_with_the_whole_set_and_its_hardware(juniper):
    sheet = read(juniper)
    assert sheet.parts == [
        "6 × full set of heating elements (6), 27.4 Ω each",
        "12 × terminal connectors with washers and nuts",
    ]


def test_the_reader_of_an_aged_set_measures_each_circuit_cold_first(juniper):
    first = read(juniper).readings[:3]
    assert [r.at for r in first] == ["circuit top", "circuit middle", "circuit bottom"], "the weakest zone first"
    new = 27.4 / 2
    for reading, left in zip(first, (0.855, 0.87, 0.88), strict=True):  # each zone's power left
        assert reading.shows["as new"] == told(new, "Ω")
        assert reading.suspected() == {"aged as estimated (suspected)": told(new / left, "Ω")}
    assert not any("relay" in case for r in first for case in r.shows), "nobody suspects a relay here"


def test_the_reader_of_a_broken_element_brings_it_and_finds_double_ohms_at_its_circuit(heron):
    sheet = read(heron)
    assert sheet.parts == [
        "1 × heating element for circuit top, 41.0 Ω each",
        "4 × terminal connectors with washers and nuts",
        "1 × further element of its circuit (in case)",
    ]
    first = sheet.readings[:3]
    assert [r.at for r in first] == ["circuit top", "circuit middle", "circuit bottom"]
    assert first[0].shows["as new"] == told(41.0 / 2, "Ω")
    assert first[0].suspected() == {"one element open (suspected)": told(41.0, "Ω")}
    assert first[0].shows["whole: its relay, fuse or wire is dead"].startswith("20.5 Ω"), "the rival's reading"


def test_one_of_two_27_ohm_elements_open_reads_27_4_instead_of_13_7(juniper):
    sheet = read(after(juniper, 5 / 6, cause="open_element", circuit="middle", zone="middle"))
    assert sheet.parts[0] == "1 × heating element for circuit middle, 27.4 Ω each"
    first = sheet.readings[0]
    assert first.at == "circuit middle"
    assert first.shows["as new"] == "13.7 Ω (13.0–14.4)"
    assert first.suspected() == {"one element open (suspected)": "27.4 Ω (26.0–28.8)"}


def test_the_reader_of_a_dead_relay_brings_relay_fuse_elements_and_hardware_in_case(juniper):
    sheet = read(after(juniper, 2 / 3, cause="open_circuit", circuit="middle", zone="middle"))
    assert [p.removesuffix(" (in case)") for p in sheet.parts] == [
        "1 × relay or contactor for circuit middle, to match its label",
        "1 × circuit fuse for circuit middle, if fitted",
        "2 × heating elements for circuit middle, 27.4 Ω each",
        "4 × terminal connectors with washers and nuts",
    ]


def test_the_reader_of_a_dead_relay_finds_the_circuit_whole_then_fuse_and_coil_then_the_volts(juniper):
    sheet = read(after(juniper, 2 / 3, cause="open_circuit", circuit="middle", zone="middle"))
    circuit, others, fuse, coil, volts = sheet.metered()[:5]
    assert circuit.at == "circuit middle"
    assert circuit.shows["whole: its relay, fuse or wire is dead (suspected)"] == told(27.4 / 2, "Ω")
    assert circuit.shows["all elements or a lead open (suspected)"] == "open (no reading)"
    assert others.at == "top, bottom"
    assert not set(others.shows) - set(circuit.shows)
    assert (fuse.at, fuse.shows["whole"]) == ("fuse", "below 0.5 Ω")
    assert (coil.at, coil.suspected()) == ("relay coil", {"dead (suspected)": "open (no reading)"})
    assert not any(r.live for r in (circuit, others, fuse, coil))
    assert volts.live, "a licensed person's, after everything that can be done dead"
    assert volts.quantity == "Volts"
    assert volts.suspected() == {"its relay, fuse or wire is dead (suspected)": "near 0 V"}
    assert volts.shows["supply reaches it: a joint or coil opens when hot"] == "240 V (228–252)"


def test_the_reader_of_a_lost_line_checks_fuses_finds_whole_circuits_then_volts_before_amps(heron):
    sheet = read(after(heron, 0.5, cause="lost_phase"))
    assert sheet.parts == ["1 × supply fuse, if fused: rating as marked at the board"]
    fuses, circuits, *live = sheet.metered()
    assert fuses.at == "supply fuses"
    assert fuses.suspected() == {"line lost here (suspected)": "open (no reading)"}
    assert circuits.at == "top, middle, bottom"
    assert circuits.shows["as new"] == told(41.0 / 2, "Ω")
    assert all(r.live for r in live)
    assert [r.at for r in live] == ["L1-L2", "L2-L3", "L3-L1", "L1", "L2", "L3"]


def test_with_l1_lost_a_delta_shows_half_the_volts_at_l1_and_the_currents_of_two_lines(heron):
    live = {r.at: r.shows for r in read(after(heron, 0.5, cause="lost_phase")).metered() if r.live}
    lost = "line L1 lost (suspected)"
    assert live["L2-L3"][lost] == told(400.0, "V"), "untouched"
    assert live["L1-L2"][lost].startswith("200 V")  # the dead terminal hangs between two like circuits in series
    assert live["L3-L1"][lost].startswith("200 V")
    side = 400.0 / (41.0 / 2 * HOT)
    assert live["L1"][lost] == "no current"
    assert live["L2"][lost] == told(1.5 * side, "A", 0.1)  # its own side, and half of one through the other two
    assert live["L1"]["as new"] == told(sqrt(3) * side, "A", 0.1)


def test_nobody_is_asked_to_bridge_relays(heron):
    for finding in ({"cause": "lost_phase"}, {"cause": "open_circuit"}, {"cause": "element_ageing"}):
        page = visit_sheet(after(heron, 0.5, **finding), NOW)
        assert "bridged" not in page


@pytest.mark.parametrize(
    ("supply", "line", "volts"),
    [
        ("single-phase", None, 400.0),
        ("three-phase delta", "L1-L2", 400.0),
        ("three-phase wye", "L1-N", 400.0 / sqrt(3)),
        ("three-phase wye with neutral", None, 400.0 / sqrt(3)),
    ],
)
def test_the_volts_across_a_circuit_follow_the_supply(heron, supply, line, volts):
    kiln = replace(heron.kiln, supply=supply)
    assert circuit_volts(kiln, replace(kiln.circuits[0], line=line)) == pytest.approx(volts)
    assert circuit_volts(replace(kiln, volts=None), None) is None


def test_elements_of_several_resistances_are_ordered_by_place_count_and_ohms(juniper):
    top, middle, bottom = juniper.kiln.circuits
    mixed = replace(juniper.kiln, circuits=(top, replace(middle, element_ohm=(33.1, 33.1)), bottom))
    worn = Finding("element_ageing", "warning", 0.9)
    found = inspect(mixed, None, [worn])
    listed = "circuit top: 2 of 27.4 Ω; circuit middle: 2 of 33.1 Ω; circuit bottom: 2 of 27.4 Ω"
    assert found.parts[0].what == f"full set of heating elements (6), {listed}"


def test_elements_of_one_kind_are_not_ordered_by_the_scatter_of_their_wire(juniper):
    circuits = tuple(replace(c, element_ohm=(21.8, 22.0)) for c in juniper.kiln.circuits)
    worn = inspect(replace(juniper.kiln, circuits=circuits), None, [Finding("element_ageing", "warning", 0.9)])
    assert worn.parts[0].what == "full set of heating elements (6), about 21.9 Ω each"


def test_a_dead_circuit_nobody_can_name_asks_for_the_elements_of_one_circuit_with_each_one_s_ohms(juniper):
    top, middle, bottom = juniper.kiln.circuits
    mixed = replace(juniper.kiln, circuits=(top, replace(middle, element_ohm=(33.1, 33.1)), bottom))
    parts = inspect(mixed, None, [Finding("open_circuit", "urgent", 0.9)]).parts
    elements = next(p for p in parts if p.part == "element")
    assert elements.count == 2
    ohms = "27.4 Ω (circuit top) or 33.1 Ω (circuit middle) or 27.4 Ω (circuit bottom)"
    assert elements.what == f"heating elements of one circuit, {ohms} each"


def test_a_string_in_series_is_suspected_open_or_whole_where_its_circuit_is_dead(juniper):
    series = tuple(replace(c, wiring="series") for c in juniper.kiln.circuits)
    kiln = replace(juniper, kiln=replace(juniper.kiln, circuits=series))
    sheet = read(after(kiln, 2 / 3, cause="open_circuit", circuit="middle", zone="middle"))
    assert set(sheet.readings[0].suspected()) == {
        "an element or a lead open (suspected)",
        "whole: its relay, fuse or wire is dead (suspected)",
    }


@pytest.mark.parametrize("cause", ["thermocouple_drift", "thermocouple_fault", "heat_leak", "welded_contact"])
def test_no_live_work_is_asked_for_where_it_decides_nothing(juniper, cause):
    sheet = read(after(juniper, 1.0, cause=cause, zone="top"))
    assert not any(r.live for r in sheet.readings)


def test_a_couple_that_reads_wrong_is_compared_in_place_and_no_heating_circuit_is_measured(juniper):
    sheet = read(after(juniper, 1.0, cause="thermocouple_drift", zone="top"))
    assert "witness cones, or a new couple, beside the thermocouple of zone top" in sheet.readings[0].at
    assert "exchanged with a neighbour's" in sheet.readings[1].at
    assert not sheet.metered()


def test_circuits_of_several_zones_named_otherwise_say_their_zone(juniper):
    circuits = tuple(replace(c, name=str(i)) for i, c in enumerate(juniper.kiln.circuits, 1))
    kiln = replace(juniper, kiln=replace(juniper.kiln, circuits=circuits))
    assert [r.at for r in read(after(kiln, 0.9, cause="element_ageing")).readings[:3]] == [
        "circuit 1 (zone top)",
        "circuit 2 (zone middle)",
        "circuit 3 (zone bottom)",
    ]


def test_a_leak_or_a_chance_gain_ages_no_wire(juniper):
    sheet = read(after(juniper, 1.06, cause="heat_leak", power_step=-0.1))
    assert not any("aged" in case for r in sheet.readings for case in r.shows)


def test_a_kiln_without_circuits_in_the_register_is_measured_against_its_nameplate(juniper):
    kiln = replace(juniper, kiln=replace(juniper.kiln, circuits=(), supply="single-phase", volts=240.0, rated_kw=12.0))
    first = read(after(kiln, 0.5, cause="open_circuit")).metered()[0]
    assert first.at == "each circuit"
    assert first.shows["all circuits side by side (volts² / watts, cold)"] == told(
        240.0**2 / 12000.0 / HOT_OVER_COLD, "Ω"
    )


def test_measurements_are_numbered_in_their_order_and_all_dead_work_comes_first(heron):
    dead = Finding("open_circuit", "urgent", 0.9, zone="top", circuit="top")
    found = inspect(heron.kiln, None, [dead])
    assert [m.order for m in found.measurements] == list(range(1, len(found.measurements) + 1))
    assert [m.live for m in found.measurements] == sorted(m.live for m in found.measurements)
    assert [m.key for m in found.measurements[:3]] == ["circuit top", "fuse", "relay coil"]


def test_columns_that_read_alike_are_one_column():
    assert either(["circuit upper dead", "circuit lower dead"]) == "circuit upper or lower dead"
    assert either(["circuit top dead"]) == "circuit top dead"

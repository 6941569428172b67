"""The trend report: complete, self-contained, inert, and the same bytes each time."""

import hashlib
import re
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from analysis.findings import Evidence, Finding
from config.logbook import LogbookEntry
from daemon.report.charts_zones import zones_chart
from daemon.report.history import LeftOut
from daemon.report.kiln_page import kiln_page
from daemon.report.studio_page import studio_page
from daemon.report.visit_sheet import visit_sheet

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)
HOSTILE = "<script>alert(1)</script>\"'&=cmd|/c calc!A1 ../../etc \x1b[31m \u202e {{7*7}} {c:1222} $x^2$"


class Seen(HTMLParser):
    """Collects tags, ids and text of a page, and complains about tags that do not match."""

    VOID = frozenset({"meta", "br", "hr", "img", "input", "link"})

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        self.ids += [value for name, value in attrs if name == "id"]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not self.open or self.open[-1] != "style":
            self.text += data + " "


@pytest.fixture(scope="module")
def page(juniper) -> str:
    return kiln_page(juniper, NOW, files="juniper")


def test_the_verdict_comes_before_any_chart(page):
    assert page.index("Plan a visit") < page.index("What to do") < page.index('<svg class="chart')


def test_every_chart_of_the_design_is_there_with_its_description_and_table(page):
    for key in ("power", "climb", "firing", "zones", "duty", "energy", "readings"):
        for width in ("w", "n"):
            assert f'aria-labelledby="{key}-{width}-t {key}-{width}-d"' in page
            said = re.search(f'<desc id="{key}-{width}-d">([^<]+)</desc>', page)
            assert said is not None
            assert len(said[1]) > 30
        section = page[page.index(f'<section class="leaf" id="{key}"') :]
        section = section[: section.index("</section>")]
        assert "<table>" in section
        assert "<tbody>" in section


def test_the_page_asks_for_nothing_from_outside_and_holds_no_script(page):
    seen = Seen(page)
    assert not {"script", "link", "iframe", "object", "embed", "img"} & set(seen.tags)
    for name, value in seen.attributes:
        assert not name.startswith("on")
        if name in ("href", "src", "xlink:href"):
            assert re.fullmatch(r"#[\w-]+|[a-z-]+\.html", value), value
    style = page[page.index("<style>") : page.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style
    assert "default-src 'none'" in page


def test_ids_are_unique_so_that_drawings_do_not_borrow_from_each_other(page):
    ids = Seen(page).ids
    assert len(ids) == len(set(ids))
    for used in re.findall(r"url\(#([^)]+)\)|href=\"#([^\"]+)\"", page):
        assert (used[0] or used[1]) in ids


def test_headings_go_down_one_level_at_a_time(page):
    levels = [int(tag[1]) for tag in Seen(page).tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_evidence_for_and_against_rivals_and_the_deciding_measurement_are_shown(page):
    text = Seen(page).text
    for wanted in ("Speaks for it", "Speaks against it", "a sag of 3 %", "If it is not this:", "What decides:"):
        assert wanted in text


def test_wherever_an_inspection_is_suggested_the_cautions_stand_open_on_the_page(page):
    text = Seen(page).text
    first = text[: text.index("Heating power left")]
    assert "Fired elements are brittle" in first
    assert "Isolate, lock off and prove dead" in first
    for head in ("Isolate.", "Lock.", "Prove dead.", "Dust.", "Who may."):
        assert head in text
    assert '<details class="cautions-box" open>' in page


def test_temperatures_follow_the_studio(juniper, page):
    assert "1222 °C" in page
    fahrenheit = kiln_page(replace(juniper, studio=replace(juniper.studio, temperature_unit="F")), NOW)
    text = Seen(fahrenheit).text
    assert "2232 °F" in text  # {c:1222}
    assert "The last 180 °F before" in text  # {dc:100}
    assert "°C" not in text


def test_what_the_numbers_rest_on_names_logs_gaps_and_reference(page, thrift):
    text = Seen(page).text
    assert "60 firings" in text
    assert "juniper/readme.pdf: no text" in text
    assert "2 repeated rows dropped at 03:12" in text
    assert "the power of the nameplate" in text
    bare = Seen(kiln_page(thrift, NOW)).text
    for fact in ("volts", "rated_kw", "circuits"):
        assert fact in bare
    assert "own first firings" in bare


def test_a_chart_that_cannot_be_drawn_says_why(thrift):
    text = Seen(kiln_page(thrift, NOW)).text
    assert "Too few logs hold the output" in text
    assert "No energy can be given" in text


def test_repairs_are_marked_in_the_chart_and_named_in_the_logbook(page):
    assert ">A</text>" in page
    assert "A: 13 Feb 2026, Replaced: the whole set of elements (full set)" in page


def test_the_same_history_gives_the_same_bytes(juniper, page):
    assert kiln_page(juniper, NOW, files="juniper") == page


def test_another_process_draws_the_same_bytes(heron):
    code = (
        "import importlib.util, sys, hashlib\n"
        f"spec = importlib.util.spec_from_file_location('samples', {str(Path(__file__).with_name('conftest.py'))!r})\n"
        "m = importlib.util.module_from_spec(spec); sys.modules['samples'] = m; spec.loader.exec_module(m)\n"
        "from daemon.report.charts_zones import zones_chart\n"
        "print(hashlib.sha256(zones_chart(m.lost_circuit()).wide.encode()).hexdigest())"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == hashlib.sha256(zones_chart(heron).wide.encode()).hexdigest()


def hostile(history):
    """Return the history with hostile text wherever text comes from outside."""
    kiln = replace(
        history.kiln,
        name=HOSTILE,
        model=HOSTILE,
        serial=HOSTILE,
        zones=(HOSTILE, "middle", "bottom"),
        circuits=(replace(history.kiln.circuits[0], name=HOSTILE, zone=HOSTILE), *history.kiln.circuits[1:]),
    )
    last = history.firings[-1]
    found = Finding(
        "open_element",
        "urgent",
        0.8,
        zone=HOSTILE,
        circuit=HOSTILE,
        evidence=(Evidence(HOSTILE, True), Evidence(HOSTILE, False)),
    )
    said = replace(
        last.assessment,
        programme=HOSTILE,
        problems=(HOSTILE,),
        findings=(found,),
        missing=(HOSTILE,),
        verification=HOSTILE,
        zones=(replace(last.assessment.zones[0], zone=HOSTILE), *last.assessment.zones[1:]),
    )
    at = history.firings[-3].assessment.started
    book = (
        LogbookEntry(kiln.id, at, "replaced", "relay", zone=HOSTILE, note=HOSTILE, id="x"),
        LogbookEntry(kiln.id, at, "measured", quantity="ohm", value=15.0, where=f"circuit {HOSTILE}", id="y"),
        LogbookEntry(kiln.id, at, "note", note=HOSTILE, id="z"),
    )
    return replace(
        history,
        kiln=kiln,
        firings=[*history.firings[:-1], replace(last, logs=(HOSTILE,), assessment=said)],
        logbook=book,
        studio=replace(history.studio, name=HOSTILE),
        left_out=(LeftOut(HOSTILE, HOSTILE),),
    )


@pytest.mark.parametrize("make", ["kiln", "visit", "studio"])
def test_hostile_names_and_log_texts_are_inert(juniper, make):
    bad = hostile(juniper)
    made = {
        "kiln": lambda: kiln_page(bad, NOW, files="x"),
        "visit": lambda: visit_sheet(bad, NOW, files="x"),
        "studio": lambda: studio_page([bad], bad.studio, "today"),
    }[make]()
    seen = Seen(made)
    assert "script" not in seen.tags
    assert "<script>alert(1)</script>" in seen.text or "<script>alert(1)" in seen.text
    assert "\x1b" not in made
    assert "\u202e" not in made
    assert "49" not in re.findall(r"calc!A1 \S+ \S+ *(\d+)", seen.text)
    assert "{{7*7}}" in seen.text or make == "studio"


def test_a_kiln_that_was_never_fired_has_a_page(juniper):
    text = Seen(kiln_page(replace(juniper, firings=[]), NOW)).text
    assert "No firing has been read yet" in text


def test_a_single_firing_is_enough_for_a_page(juniper):
    assert "After firing 1" in Seen(kiln_page(replace(juniper, firings=juniper.firings[:1], logbook=()), NOW)).text


def test_names_in_other_scripts_are_kept(juniper):
    made = kiln_page(replace(juniper, kiln=replace(juniper.kiln, name="窯一号 фарфор", zones=("上", "中", "下"))), NOW)
    assert "窯一号 фарфор" in made
    assert ">上</text>" in made, "the chart's own labels too"


def test_a_thousand_firings_take_less_than_three_seconds(veteran):
    begin = time.process_time()  # of the processor: a busy machine is not the page's fault
    kiln_page(veteran, NOW)
    visit_sheet(veteran, NOW)
    assert time.process_time() - begin < 3.0

"""The pages in a real browser: printed, at a phone's width, light and dark, and with hostile text.

Needs Chromium; the tests that look inside the page also need playwright, and the accessibility check the axe-core
script named by COILWATCH_AXE (``npm install axe-core`` somewhere else). What is missing is skipped and said.
"""

import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from daemon.report.kiln_page import kiln_page
from daemon.report.studio_page import studio_page
from daemon.report.visit_sheet import visit_sheet

pytestmark = pytest.mark.slow
NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
HOSTILE = '<img src=x onerror="document.title=1"><script>document.title=2</script>' + "W" * 40
PAPERS = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}


@pytest.fixture(scope="module")
def pages(juniper, heron, thrift, tmp_path_factory) -> dict[str, Path]:
    """Every kind of page as a file."""
    folder = tmp_path_factory.mktemp("pages")
    bad_kiln = replace(heron.kiln, name=HOSTILE, model=HOSTILE, serial=HOSTILE)
    bad = replace(heron, kiln=bad_kiln, studio=replace(heron.studio, name=HOSTILE))
    made = {
        "juniper": kiln_page(juniper, NOW),
        "heron": kiln_page(heron, NOW),
        "thrift": kiln_page(thrift, NOW),
        "juniper-visit": visit_sheet(juniper, NOW),
        "heron-visit": visit_sheet(heron, NOW),
        "thrift-visit": visit_sheet(thrift, NOW),
        "dead-visit": visit_sheet(of_dead_circuit(heron), NOW),
        "hostile": kiln_page(bad, NOW),
        "hostile-visit": visit_sheet(bad, NOW),
        "studio": studio_page([heron, juniper, thrift], juniper.studio, "today"),
    }
    places = {}
    for name, text in made.items():
        places[name] = folder / f"{name}.html"
        places[name].write_text(text, encoding="utf-8")
    return places


def of_dead_circuit(heron):
    """Heron with a circuit that gives no heat: the sheet with the widest tables."""
    last = heron.firings[-1]
    found = (replace(last.assessment.findings[0], cause="open_circuit"),)
    return replace(
        heron, firings=[*heron.firings[:-1], replace(last, assessment=replace(last.assessment, findings=found))]
    )


def printed(page: Path, paper: str, tmp_path: Path) -> int:
    """Print a page and return its number of sheets."""
    if CHROMIUM is None:
        pytest.skip("no Chromium here")
    sized = tmp_path / page.name
    text = page.read_text(encoding="utf-8")
    sized.write_text(re.sub(r"@page( sheet)?\{", rf"@page\1{{size:{PAPERS[paper]};", text), encoding="utf-8")
    pdf = tmp_path / "out.pdf"
    subprocess.run(
        [
            CHROMIUM,
            *FLAGS,
            f"--user-data-dir={tmp_path / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}",
            sized.as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["juniper-visit", "heron-visit", "thrift-visit", "dead-visit", "hostile-visit"])
def test_the_visit_sheet_is_one_printed_page(pages, name, paper, tmp_path):
    assert printed(pages[name], paper, tmp_path) == 1


@pytest.mark.parametrize("paper", PAPERS)
def test_the_report_prints_on_a_handful_of_sheets(pages, paper, tmp_path):
    assert 2 <= printed(pages["juniper"], paper, tmp_path) <= 8


@pytest.fixture(scope="module")
def browser():
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no Chromium here")
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS[1:]))
        yield opened
        opened.close()


ALL = (
    "juniper",
    "heron",
    "thrift",
    "juniper-visit",
    "heron-visit",
    "thrift-visit",
    "dead-visit",
    "hostile",
    "hostile-visit",
    "studio",
)
BESIDE = """() => { const page = document.querySelector('main').getBoundingClientRect();
  return [...document.querySelectorAll('table')].filter(t => t.checkVisibility() && !t.closest('.wide-table'))
    .filter(t => { const b = t.getBoundingClientRect(); return b.left < page.left - 1 || b.right > page.right + 1; })
    .map(t => t.textContent.slice(0, 60)); }"""
CUT = """() => [...document.querySelectorAll('svg.chart')].filter(s => s.checkVisibility()).flatMap(svg => {
  const box = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(t => {
    const b = t.getBoundingClientRect();
    return b.left < box.left - 1 || b.right > box.right + 1 || b.top < box.top - 1 || b.bottom > box.bottom + 1;
  }).map(t => t.textContent);
})"""
OVERLAP = """() => [...document.querySelectorAll('svg.chart')].filter(s => s.checkVisibility()).flatMap(svg => {
  const boxes = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
  const hits = [];
  boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
    const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const high = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    if (wide > 1.5 && high > 3) hits.push(a + ' / ' + b);
  }));
  return hits;
})"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", ALL)
def test_a_page_is_whole_quiet_and_inert(pages, browser, name, width, scheme):
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    console: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: console.append(message.text))
    page.on("pageerror", lambda error: console.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pages[name].as_uri())
    title = page.title()
    spill = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    cut, overlapping, beside = page.evaluate(CUT), page.evaluate(OVERLAP), page.evaluate(BESIDE)
    seen = page.evaluate("document.querySelectorAll('svg.chart').length")
    visible = page.evaluate("[...document.querySelectorAll('svg.chart')].filter(s => s.checkVisibility()).length")
    context.close()
    assert console == []
    assert asked == [pages[name].as_uri()], "nothing from outside"
    assert title not in ("1", "2"), "hostile text was obeyed"
    assert spill <= 0, "something is wider than the screen"
    assert cut == []
    assert beside == [], "a table leaves the page"
    assert overlapping == []
    assert seen == 2 * visible, "each chart once: the wide or the narrow"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["juniper", "thrift", "heron-visit", "studio"])
def test_a_page_has_no_serious_accessibility_finding(pages, browser, name, scheme):
    script = os.environ.get("COILWATCH_AXE")
    if not script or not Path(script).is_file():
        pytest.skip("COILWATCH_AXE names no axe-core script")
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(pages[name].as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.evaluate(Path(script).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document)")["violations"]
    context.close()
    told = [(v["id"], v["impact"], v["nodes"][0]["html"][:120]) for v in found]
    assert [t for t in told if t[1] in ("serious", "critical")] == []

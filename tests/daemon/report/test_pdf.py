"""PDF through the optional extra: one page for the sheet, nothing fetched; a plain message without the extra."""

import sys
from datetime import UTC, datetime

import pytest

from daemon.report.kiln_page import kiln_page
from daemon.report.pdf import NoPdf, pdf_of
from daemon.report.visit_sheet import visit_sheet

NOW = datetime(2026, 7, 26, 9, 0, tzinfo=UTC)


def test_without_the_extra_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(NoPdf, match=r"coilwatch\[pdf\]"):
        pdf_of("<p>")


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_sheet_and_report_become_pdf(juniper, heron):
    weasyprint = pytest.importorskip("weasyprint")
    assert weasyprint.__version__
    sheet = pdf_of(visit_sheet(heron, NOW))
    assert sheet.startswith(b"%PDF-")
    assert len(pdf_of(kiln_page(juniper, NOW))) > len(sheet)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_nothing_is_fetched_even_if_a_page_asked():
    pytest.importorskip("weasyprint")
    made = pdf_of('<p>x</p><img src="file:///etc/hostname"><img src="http://localhost:9/x.png">')
    assert made.startswith(b"%PDF-")

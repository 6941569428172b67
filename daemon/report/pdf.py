"""Pages as PDF, with the optional extra ``pdf`` (WeasyPrint). Nothing is fetched while a page is turned."""

import io
import re

_VARIABLE = re.compile(r"var\(--[a-z-]+,(#[0-9a-f]{6})\)")


class NoPdf(Exception):  # noqa: N818 - named for what it says
    """PDF cannot be made here; the message says what to install."""


def pdf_of(page: str) -> bytes:
    """Return a page of ``kiln_page``, ``studio_page`` or ``visit_sheet`` as PDF, in the light colours.

    Raises
    ------
    NoPdf
        If WeasyPrint or the system's Pango is missing.
    """
    try:
        from weasyprint import HTML  # type: ignore[import-not-found,unused-ignore]  # an optional extra
        from weasyprint.urls import URLFetcher  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        raise NoPdf(
            "PDF needs the extra: pip install 'coilwatch[pdf]'. Or open the page in a browser and print it to PDF."
        ) from None
    except OSError as fault:
        raise NoPdf(f"PDF needs the Pango library of the system, which cannot be loaded: {fault}") from None
    # Colours inside drawings are style variables, which this library does not resolve there.
    light = _VARIABLE.sub(r"\1", page)
    out = io.BytesIO()
    HTML(string=light, url_fetcher=URLFetcher(allowed_protocols=()), base_url=None).write_pdf(out)
    return out.getvalue()

"""The paper charts are drawn on: one look, one set of sizes, and the same bytes each time.

Charts are matplotlib figures without pyplot (no global state, so any thread may draw). A chart is drawn twice for a
page, wide and narrow, because a wide drawing shrunk to a phone cannot be read. The SVG is put into the page itself:
no DOCTYPE, no metadata, colours as style variables, text as text, with a title and a description for those who
hear it, and every id made the chart's own.
"""

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font

from daemon.report import ink

# Set once at import (rc_context is not safe with threads): equal bytes need a fixed salt and no date.
mpl.rcParams.update(
    {
        "svg.hashsalt": "coilwatch",
        "svg.fonttype": "none",
        "font.size": 11.0,
        "font.family": "sans-serif",
        "axes.linewidth": 0.8,
        "axes.edgecolor": ink.RULE.light,
        "axes.labelcolor": ink.SOFT.light,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.titlesize": 11.0,
        "xtick.color": ink.RULE.light,
        "ytick.color": ink.RULE.light,
        "xtick.labelcolor": ink.SOFT.light,
        "ytick.labelcolor": ink.SOFT.light,
        "xtick.labelsize": 11.0,
        "ytick.labelsize": 11.0,
        "text.color": ink.TEXT.light,
        "grid.color": ink.GRID.light,
        "grid.linewidth": 0.8,
        "lines.solid_capstyle": "round",
        "path.simplify": True,
        "text.parse_math": False,
        "axes.unicode_minus": False,
    }
)
WIDE = (740.0, 300.0)
NARROW = (350.0, 290.0)
POINTS_PER_INCH = 72.0
Draw = Callable[[Axes, bool], None]


@dataclass(frozen=True, slots=True)
class Table:
    """The numbers behind a chart: column heads and rows of text, newest first."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart ready for a page."""

    key: str
    heading: str
    unit: str
    says: str
    wide: Markup
    narrow: Markup
    table: Table
    notes: tuple[str, ...] = ()


def chart(
    key: str,
    heading: str,
    draw: Draw,
    table: Table,
    *,
    unit: str,
    says: str,
    notes: Sequence[str] = (),
    tall: float = 1.0,
) -> Chart:
    """Draw a chart wide and narrow.

    ``says`` is its description: what the picture shows, in a sentence or two. ``unit`` names the axes.
    """
    wide = inline_svg(f"{key}-w", "wide", heading, says, figure(draw, WIDE, tall=tall))
    narrow = inline_svg(f"{key}-n", "narrow", heading, says, figure(draw, NARROW, tall=tall))
    return Chart(key, heading, unit, says, wide, narrow, table, tuple(notes))


def figure(draw: Draw, size: tuple[float, float], *, tall: float = 1.0, headroom: float = 0.0) -> Figure:
    """Return a figure of ``size`` (points) with one pair of axes drawn by ``draw(axes, narrow)``."""
    width, height = size[0], size[1] * tall + headroom
    made = Figure(figsize=(width / POINTS_PER_INCH, height / POINTS_PER_INCH), dpi=POINTS_PER_INCH)
    made.patch.set_alpha(0.0)
    axes = made.add_axes((38 / width, 46 / height, (width - 52) / width, (height - 66 - headroom) / height))
    axes.patch.set_alpha(0.0)
    axes.set_axisbelow(True)
    axes.tick_params(length=0, pad=5)
    axes.grid(visible=True, axis="y")
    draw(axes, size == NARROW)
    return made


def inline_svg(key: str, width_class: str, heading: str, says: str, drawn: Figure) -> Markup:
    """Return a figure as SVG for the inside of a page."""
    FigureCanvasSVG(drawn)
    out = io.StringIO()
    drawn.savefig(out, format="svg", metadata={"Date": None}, transparent=True)
    return Markup(cleaned(out.getvalue(), key, width_class, heading, says))  # noqa: S704 - made by us, text escaped


def png(draw: Draw, *, heading: str, unit: str, size: tuple[float, float] = WIDE, scale: float = 2.0) -> bytes:
    """Return a chart as a PNG on paper, with its heading, for where a page cannot go."""
    headroom = 44.0
    made = figure(draw, size, headroom=headroom)
    made.patch.set_alpha(1.0)
    made.patch.set_facecolor(ink.PAPER.light)
    tall = size[1] + headroom
    made.text(14 / size[0], 1 - 10 / tall, heading, va="top", ha="left", fontsize=13, fontweight="bold")
    made.text(14 / size[0], 1 - 30 / tall, unit, va="top", ha="left", color=ink.SOFT.light)
    FigureCanvasAgg(made)
    out = io.BytesIO()
    made.savefig(out, format="png", dpi=POINTS_PER_INCH * scale, metadata={"Software": None})
    return out.getvalue()


@cache
def _drawn_characters() -> frozenset[int]:
    face = get_font(findfont(FontProperties(family="DejaVu Sans")))
    return frozenset(face.get_charmap())


def drawable(text: str) -> str:
    """Return text with every character the chart's font lacks replaced by a box (a missing one only warns)."""
    known = _drawn_characters()
    return "".join(c if ord(c) in known else "□" for c in text)


def label(text: str) -> str:
    """Return text to draw in a chart for a page: what the font lacks goes through coded and comes out as it was.

    The reader's own fonts show it; matplotlib only measures it, and would warn of what it cannot measure.
    """
    return text if drawable(text) == text else f"⟦{text.encode('utf-8', 'replace').hex()}⟧"


def _decoded(match: re.Match[str]) -> str:
    return escape(bytes.fromhex(match[1]).decode("utf-8", "replace"))


def cleaned(svg: str, key: str, width_class: str, heading: str, says: str) -> str:
    """Turn matplotlib's SVG file into an accessible, self-contained piece of a page."""
    body = re.sub(r"<metadata>.*?</metadata>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->|<style.*?</style>", "", body, flags=re.DOTALL)
    box = re.search(r'viewBox="([^"]+)"', body)
    inner = body[body.index(">") + 1 : body.rindex("</svg>")]
    used = set(re.findall(r"url\(#([^)]+)\)", inner)) | set(re.findall(r'href="#([^"]+)"', inner))
    inner = re.sub(r' id="([^"]*)"', lambda m: f' id="{key}-{m[1]}"' if m[1] in used else "", inner)
    inner = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", inner)
    inner = re.sub(r'(?:xlink:)?href="#([^"]+)"', rf'href="#{key}-\1"', inner)
    inner = re.sub(r"<[^>]+>", _tag, inner)
    inner = re.sub(r"<g>\s*</g>|<g/>|<defs>\s*</defs>", "", re.sub(r">\s+<", "><", inner))
    inner = re.sub(r"⟦((?:[0-9a-f]{2})*)⟧", _decoded, inner)
    return (
        f'<svg class="chart {width_class}" viewBox="{box[1] if box else "0 0 100 100"}" role="img" '
        f'aria-labelledby="{key}-t {key}-d"><title id="{key}-t">{escape(heading)}</title>'
        f'<desc id="{key}-d">{escape(says)}</desc>{inner.strip()}</svg>'
    )


def _tag(match: re.Match[str]) -> str:
    """Shorten the numbers of one tag, and make its font and colours the page's own (never its text)."""
    tag = re.sub(r"font: ((?:bold |\d+ )?)[\d.]+px [^;\"]*", _font, match[0])
    tag = re.sub(r"font-family: [^;\"]*;? ?", "", tag)
    tag = re.sub(r"-?\d+\.\d{2,}", lambda m: f"{float(m[0]):.1f}".removesuffix(".0"), tag)
    for colour in ink.ALL:
        tag = tag.replace(colour.light, f"var(--{colour.role},{colour.light})")
    return tag


def _font(match: re.Match[str]) -> str:
    size = re.search(r"[\d.]+px", match[0])
    weight = "font-weight:600;" if match[1] else ""
    return f"{weight}font-size:{size[0] if size else '11px'}"

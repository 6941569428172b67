"""The studio page: every kiln in one list, the one that needs a visit first on top."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from config.wording import Wording, load
from daemon.report import ink, shown
from daemon.report.charts_power import ceiling_of
from daemon.report.files import slug
from daemon.report.history import KilnHistory, Studio
from daemon.report.pages import page
from daemon.report.sheet import Chart, Table, chart, label
from daemon.report.verdict import ORDER, WORDS, Verdict, shows_wear, too_few, verdict

FLOOR = 50.0
MOST_TOLD = 5  # kilns named in a caption; the table has all


@dataclass(frozen=True, slots=True)
class Line:
    """One kiln's line."""

    name: str
    slug: str
    verdict: Verdict
    power: str
    last: str
    firings: int


def studio_page(histories: Sequence[KilnHistory], studio: Studio, now: str, wording: Wording | None = None) -> str:
    """Return the page as text. ``now`` is the moment it is made, in words."""
    words = wording or load()
    ranked = ranked_kilns(histories, words)
    lines = [_line(history, said) for history, said in ranked]
    return page(
        "studio.html.jinja",
        unit=studio.temperature_unit,
        studio=studio,
        lines=lines,
        urgent=sum(line.verdict.standing == "stop" for line in lines),
        visits=sum(line.verdict.standing == "visit" for line in lines),
        chart=_chart([history for history, _ in ranked]),
        cautions=words.cautions,
        made=now,
    )


def ranked_kilns(histories: Sequence[KilnHistory], words: Wording) -> list[tuple[KilnHistory, Verdict]]:
    """Return the kilns with their verdicts: by standing, harm, surest finding, nearest end, then name."""

    def key(pair: tuple[KilnHistory, Verdict]) -> tuple[int, int, float, float, str]:
        history, said = pair
        outlook = history.latest.outlook if history.latest and shows_wear(history.latest) else None
        left = outlook.firings_left if outlook and outlook.firings_left is not None else float("inf")
        odds = said.finding.probability if said.finding else 0.0
        return (ORDER.index(said.standing), _gravity(said), -odds, left, history.kiln.title.casefold())

    return sorted(((history, verdict(history, words)) for history in histories), key=key)


def _gravity(said: Verdict) -> int:
    """Return 0 for what may do harm at once, 1 for what is urgent, 2 for the rest."""
    if said.word == WORDS["stop"]:
        return 0
    return 1 if said.finding is not None and said.finding.severity == "urgent" else 2


def _least(pair: tuple[str, KilnHistory]) -> float:
    """Return the power a kiln is known to have at least or about, to find the lowest."""
    power = pair[1].latest.power if pair[1].latest else None
    known = None if power is None else power.low if power.value is None else power.value
    return 1.0 if known is None else known


def _line(history: KilnHistory, said: Verdict) -> Line:
    latest = history.latest
    return Line(
        history.kiln.title,
        slug(history.kiln.id),
        said,
        shown.UNKNOWN if latest is None or too_few(history) else shown.power(latest.power),
        "none" if latest is None else shown.day(latest.started, history.studio.time_zone),
        len(history.judged) if history.firings_in_all is None else history.firings_in_all,
    )


def _chart(histories: Sequence[KilnHistory]) -> Chart | None:
    known = [
        h
        for h in histories
        if h.latest and (h.latest.power.value is not None or h.latest.power.low is not None) and not too_few(h)
    ]
    if not known:
        return None
    names = [shown.plain(h.kiln.title, 24) for h in known]

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        lowest = min(100 * (h.latest.power.low or 1.0) for h in known if h.latest)
        floor = FLOOR if lowest >= FLOOR else max(0.0, 10 * ((lowest - 5) // 10))
        ceiling = ceiling_of([h.latest for h in known if h.latest])
        # Names stand above their own line, so that they need no margin.
        axes.set_ylim(len(known) - 0.4, -0.6)
        axes.set_xlim(floor, ceiling)
        axes.grid(visible=False, axis="y")
        axes.grid(visible=True, axis="x")
        axes.set_yticks([])
        step = 20 if narrow else 10
        axes.set_xticks([t for t in range(0, int(ceiling), step) if t >= floor])
        for row, (history, name) in enumerate(zip(known, names, strict=True)):
            latest = history.latest
            assert latest is not None
            power = latest.power
            axes.annotate(
                label(name), (floor, row), xytext=(0, 9), textcoords="offset points", va="bottom", fontsize=11
            )
            axes.plot([floor, ceiling], [row, row], color=ink.GRID.light, linewidth=0.8)
            axes.plot([100 * history.kiln.replace_at_power] * 2, [row - 0.2, row + 0.2], color=ink.OCHRE.light)
            low = 100 * (power.low if power.low is not None else power.value or 0.0)
            if power.value is None:
                axes.annotate(
                    "",
                    (min(low + 8, ceiling), row),
                    (low, row),
                    arrowprops={"arrowstyle": "->", "color": ink.SLATE.light},
                )
                axes.plot([low], [row], "|", color=ink.SLATE.light, markersize=12)
            else:
                high = 100 * (power.high if power.high is not None else power.value)
                axes.plot([low, high], [row, row], color=ink.COBALT.light, linewidth=3)
                axes.plot([100 * power.value], [row], "o", color=ink.COBALT.light, markersize=8)

    told = (
        sorted(zip(names, known, strict=True), key=_least) if len(known) > MOST_TOLD else zip(names, known, strict=True)
    )
    said = "; ".join(f"{n} {shown.power(h.latest.power)}" for n, h in list(told)[:MOST_TOLD] if h.latest)
    said = f"Lowest: {said}" if len(known) > MOST_TOLD else said
    rows = tuple((n, shown.power(h.latest.power)) for n, h in zip(names, known, strict=True) if h.latest)
    return chart(
        "kilns",
        "Heating power left, all kilns",
        draw,
        Table(("Kiln", "Power, per cent"), rows),
        unit="per cent of each kiln's reference power",
        says=f"{said}.",
        notes=["Dot and bar: power with its 90 % interval. Arrow: at least this much. Short upright line: threshold."],
        tall=max(0.5, 0.2 * len(known) + 0.25),
    )

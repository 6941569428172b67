"""The axes all charts over firings share: firing numbers with dates, repairs as lettered lines."""

import itertools
from collections.abc import Sequence
from string import ascii_uppercase

from matplotlib.axes import Axes

from analysis.assessment import Assessment
from config.logbook import LogbookEntry
from daemon.report import ink, shown
from daemon.report.history import KilnHistory, firings_before, repairs

STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)


def number(said: Assessment) -> int:
    """Return the firing's number as people count: from 1."""
    return said.index + 1


def marker_of(position: int) -> str:
    """Return the marker shape of the n-th series, so that series differ by shape as well as by colour."""
    return "osD^vP"[position % 6]


def colour_of(position: int) -> str:
    """Return the colour of the n-th series."""
    return (ink.COBALT, ink.OCHRE, ink.CELADON, ink.IRON, ink.SOFT, ink.SLATE)[position % 6].light


def over_firings(axes: Axes, history: KilnHistory, *, narrow: bool, ahead: float = 0.0) -> None:
    """Set the horizontal axis: firing numbers with their dates below, room ``ahead`` for firings to come."""
    judged = history.judged
    first, last = number(judged[0]), number(judged[-1])
    end = last + ahead
    pad = max(0.6, 0.02 * (end - first))
    axes.set_xlim(first - pad, end + pad)
    wanted = 4 if narrow else 8
    step = next((s for s in STEPS if (end - first) / s <= wanted), STEPS[-1])
    by_number = {number(said): said for said in judged}
    ticks = [n for n in range(first, int(end) + 1) if n % step == 0]
    if not ticks or ticks[0] - first > 0.6 * step:
        ticks = [first, *ticks]
    axes.set_xticks(ticks)
    axes.set_xticklabels([str(n) for n in ticks])
    for n in ticks:  # a row of its own: text of two lines is not centred in a reader's own font
        said = by_number.get(n)
        if said is not None and said.started is not None:
            below_axis(axes, float(n), shown.day(said.started, history.studio.time_zone, year=False))


def below_axis(axes: Axes, at: float, text: str) -> None:
    """Write text in the row below the axis' tick labels."""
    axes.annotate(
        text,
        (at, 0.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, -22),
        textcoords="offset points",
        ha="center",
        va="top",
        color=ink.SOFT.light,
        annotation_clip=False,
    )


def lettered(history: KilnHistory) -> list[tuple[str, float, LogbookEntry]]:
    """Return each repair with its letter and its place on the firing axis (between the firings around it)."""
    judged = history.judged

    def place(entry: LogbookEntry) -> float:
        before = firings_before(history, entry.at)
        return number(judged[before - 1]) + 0.5 if before else number(judged[0]) - 0.5 if judged else 0.0

    return [(letter(position), place(entry), entry) for position, entry in enumerate(repairs(history))]


def letter(position: int) -> str:
    """Return A, B, ... Z, AA, AB, ..."""
    if position < len(ascii_uppercase):
        return ascii_uppercase[position]
    return letter(position // len(ascii_uppercase) - 1) + ascii_uppercase[position % len(ascii_uppercase)]


def draw_repairs(axes: Axes, history: KilnHistory) -> None:
    """Draw a line with its letter for each repair inside the axis."""
    low, high = axes.get_xlim()
    for name, at, _ in lettered(history):
        if low <= at <= high:
            axes.axvline(at, color=ink.SOFT.light, linewidth=1.0, dashes=(1, 2))
            axes.annotate(
                name,
                (at, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(0, 3),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=10.5,
                fontweight="bold",
                color=ink.SOFT.light,
            )


def repair_notes(history: KilnHistory) -> list[str]:
    """Return the legend of the lettered lines."""
    zone = history.studio.time_zone
    return [f"{name}: {shown.day(said.at, zone)}, {shown.entry(said)}" for name, _, said in lettered(history)]


def spread_labels(wanted: Sequence[float], gap: float) -> list[float]:
    """Return label heights moved apart to at least ``gap``, keeping their order."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = list(wanted)
    for before, after in itertools.pairwise(order):
        placed[after] = max(placed[after], placed[before] + gap)
    return placed

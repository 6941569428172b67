"""Chart: the power ratio over firings, with its interval, the firings' own evidence, threshold and outlook."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from analysis.assessment import Assessment
from analysis.findings import Outlook
from daemon.report import ink, shown
from daemon.report.axes import draw_repairs, lettered, number, over_firings, repair_notes
from daemon.report.history import KilnHistory
from daemon.report.sheet import Chart, Draw, Table, chart
from daemon.report.verdict import in_firings, shows_wear, too_few

UNIT = "per cent of the reference power, by firing number and date"
FLOOR = 50.0  # the same scale for every kiln, per cent; it goes down only where a kiln does
CEILING = 112.0  # and up only where an interval does
HIGHEST = 150.0
CROWDED = 300  # firings beyond which single intervals would only blacken the paper; the band still shows them
LONGEST_AHEAD = 60.0  # firings of outlook drawn; beyond that "no end in sight" is as good


def power_chart(history: KilnHistory, key: str = "power") -> Chart:
    """Return the power chart of a kiln with at least one judged firing."""
    return chart(
        key,
        "Heating power left",
        draw_power(history),
        _table(history),
        unit=UNIT,
        says=_says(history),
        notes=_notes(history),
    )


def draw_power(history: KilnHistory) -> Draw:
    """Return the drawing: line and band are the kiln's condition, marks are what single firings showed."""
    judged = history.judged
    threshold = 100 * history.kiln.replace_at_power

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        outlook = judged[-1].outlook
        ahead = _ahead(judged[-1], outlook, len(judged)) if outlook else 0.0
        ceiling = ceiling_of(judged)
        axes.set_ylim(_floor(judged), ceiling)
        over_firings(axes, history, narrow=narrow, ahead=ahead)
        ticks = [tick for tick in range(0, int(HIGHEST), 10) if _floor(judged) <= tick < ceiling]
        axes.set_yticks(ticks)
        axes.set_yticklabels([f"{tick}" for tick in ticks])
        axes.axhline(100, color=ink.RULE.light, linewidth=1.0)
        _condition(axes, history)
        _own_evidence(axes, judged)
        if outlook and ahead:
            _outlook(axes, judged[-1], outlook, ahead)
        axes.axhline(threshold, color=ink.OCHRE.light, linewidth=1.3, dashes=(6, 3))
        axes.annotate(
            f"replace at {threshold:.0f} %",
            (0.0, threshold),
            xycoords=("axes fraction", "data"),
            xytext=(2, -4),
            textcoords="offset points",
            va="top",
            color=ink.OCHRE.light,
        )
        draw_repairs(axes, history)

    return draw


def _floor(judged: list[Assessment]) -> float:
    seen = [x for said in judged for x in (said.power.low, said.firing_power.value) if x is not None]
    lowest = 100 * min(seen, default=1.0)
    return FLOOR if lowest >= FLOOR else max(0.0, 10 * ((lowest - 5) // 10))


def ceiling_of(judged: Sequence[Assessment]) -> float:
    """Return the scale's upper end: the same for every kiln, but no interval is cut off."""
    highest = max((100 * said.power.high for said in judged if said.power.high is not None), default=0.0)
    return min(HIGHEST, max(CEILING, highest + 2.0))


def _ahead(said: Assessment, outlook: Outlook, firings: int) -> float:
    """Return the firings of outlook to draw; none once the threshold is passed."""
    if said.power.value is None or said.power.value <= outlook.threshold:
        return 0.0
    if outlook.firings_left is None or not shows_wear(said):
        return 0.0
    furthest = outlook.high or 1.5 * outlook.firings_left
    return min(LONGEST_AHEAD, max(4.0, 0.6 * firings), max(3.0, furthest + 1.0))


def _runs(history: KilnHistory) -> list[list[Assessment]]:
    """Split the firings where the condition is not known, and where new elements began a new life."""
    renewed = {at for _, at, entry in lettered(history) if entry.part in ("elements", "element")}
    runs: list[list[Assessment]] = [[]]
    for said in history.judged:
        if said.power.value is None or number(said) - 0.5 in renewed:
            runs.append([])
        if said.power.value is not None:
            runs[-1].append(said)
    return [run for run in runs if run]


def _condition(axes: Axes, history: KilnHistory) -> None:
    for run in _runs(history):
        at, value, low, high = [], [], [], []
        for said in run:  # half a firing to each side: the condition holds until the next firing says otherwise
            middle = 100 * (said.power.value or 0.0)
            at += [number(said) - 0.5, number(said) + 0.5]
            value += [middle] * 2
            low += [middle if said.power.low is None else 100 * said.power.low] * 2
            high += [middle if said.power.high is None else 100 * said.power.high] * 2
        axes.fill_between(at, low, high, color=ink.COBALT_WASH.light, linewidth=0)
        axes.plot(at, value, color=ink.COBALT.light, linewidth=2.0)


def _own_evidence(axes: Axes, judged: list[Assessment]) -> None:
    seen = [said for said in judged if said.firing_power.value is not None]
    if seen:
        at = [number(said) for said in seen]
        value = [100 * (said.firing_power.value or 0.0) for said in seen]
        down = [100 * max(0.0, (s.firing_power.value or 0.0) - (s.firing_power.low or 0.0)) for s in seen]
        up = [
            100 * max(0.0, (s.firing_power.high or s.firing_power.value or 0.0) - (s.firing_power.value or 0.0))
            for s in seen
        ]
        axes.errorbar(
            at,
            value,
            yerr=None if len(seen) > CROWDED else [down, up],
            fmt="o",
            markersize=4.2,
            markerfacecolor=ink.PAPER.light,
            markeredgecolor=ink.SOFT.light,
            ecolor=ink.SLATE.light,
            elinewidth=0.8,
            markeredgewidth=1.0,
        )
    bound = [said for said in judged if said.firing_power.value is None and said.firing_power.low is not None]
    if bound:
        axes.plot(
            [number(said) for said in bound],
            [100 * (said.firing_power.low or 0.0) for said in bound],
            "^",
            markersize=5,
            markerfacecolor="none",
            markeredgecolor=ink.SLATE.light,
            linestyle="none",
        )


def _outlook(axes: Axes, said: Assessment, outlook: Outlook, ahead: float) -> None:
    """Draw the fan from today's power to where it meets the threshold, early and late."""
    if said.power.value is None:
        return
    start, value, end = number(said), 100 * said.power.value, 100 * outlook.threshold
    if value <= end or outlook.firings_left is None:
        return
    limit = start + ahead
    early = start + max(0.5, outlook.low if outlook.low is not None else outlook.firings_left)
    late = start + outlook.high if outlook.high is not None else None
    low = value if said.power.low is None else 100 * said.power.low
    high = value if said.power.high is None else 100 * said.power.high
    steep = [low, value + (end - value) * (limit - start) / (early - start)]
    shallow = [high, high if late is None else high + (end - high) * (limit - start) / (late - start)]
    floor = axes.get_ylim()[0]
    axes.fill_between(
        [start, limit], [max(floor, v) for v in steep], shallow, color=ink.OCHRE_WASH.light, alpha=0.65, linewidth=0
    )
    middle = start + max(0.5, outlook.firings_left)
    axes.plot([start, middle], [value, end], color=ink.OCHRE.light, linewidth=1.3, dashes=(2, 2))
    if middle <= limit:
        axes.plot([middle], [end], "o", color=ink.OCHRE.light, markersize=5)
    axes.axvline(start + 0.5, color=ink.RULE.light, linewidth=0.8)
    axes.annotate(
        "to come",
        (start + 0.5, 0.0),
        xycoords=("data", "axes fraction"),
        xytext=(4, 5),
        textcoords="offset points",
        color=ink.SOFT.light,
    )


def _says(history: KilnHistory) -> str:
    judged = history.judged
    first = next((said for said in judged if said.power.value is not None), None)
    last = judged[-1]
    if first is None:
        return f"{len(judged)} firings, none with enough full output to tell the power."
    if too_few(history):
        few = f"{len(judged)} firing{'s' if len(judged) > 1 else ''} so far"
        return f"{few}: they are the 100 % that later firings will be compared with."
    text = _course(history, first, last)
    text += f"The replacement threshold is {shown.percent(history.kiln.replace_at_power)}."
    if last.power.value is not None and last.power.value < history.kiln.replace_at_power:
        text += " The power is below it."
    elif last.outlook and not shows_wear(last):
        text += " No wear to see yet."
    elif last.outlook and last.outlook.firings_left is not None:
        text += f" It is met {in_firings(last.outlook)}."
    return text


def _course(history: KilnHistory, first: Assessment, last: Assessment) -> str:
    """Return from where to where the power went: with these elements, if they are not the first."""
    judged = history.judged
    end = f"{shown.power(last.power)} after firing {number(last)}. "
    renewed = [(letter, at) for letter, at, entry in lettered(history) if entry.part == "elements"]
    if renewed:
        letter, at = renewed[-1]
        before = [s for s in judged if number(s) < at and s.power.value is not None]
        since = [s for s in judged if number(s) > at and s.power.value is not None]
        if before and since:
            return (
                f"New elements ({letter}) took the power from {shown.percent(before[-1].power.value)} to "
                f"{shown.percent(since[0].power.value)} (firing {number(since[0])}); it is {end}"
            )
    return (
        f"Over {len(judged)} firings the power went from {shown.percent(first.power.value)} "
        f"(firing {number(first)}) to {end}"
    )


def _notes(history: KilnHistory) -> list[str]:
    legend = (
        "Line and band: the kiln's power after each firing, with its 90 % interval. "
        "Rings: what one firing showed by itself. Open triangles: the firing kept pace, so at least this much."
    )
    return [legend, *repair_notes(history)]


def _table(history: KilnHistory) -> Table:
    rows = (
        (
            str(number(said)),
            shown.day(said.started, history.studio.time_zone),
            shown.plain(said.programme, 60),
            shown.power(said.power),
            shown.power(said.firing_power),
            said.firing_power.basis,
            said.reference,
        )
        for said in reversed(history.judged)
    )
    return Table(
        ("Firing", "Date", "Programme", "Power, per cent", "This firing alone", "Measured by", "Compared with"),
        tuple(rows),
    )

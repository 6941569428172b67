"""Charts: how hard the kiln has to work (duty), and what a firing takes (energy), programme by programme."""

from collections.abc import Callable

from matplotlib.axes import Axes

from analysis.assessment import Assessment
from daemon.report import ink, shown
from daemon.report.axes import colour_of, draw_repairs, marker_of, number, over_firings
from daemon.report.charts_power import CROWDED
from daemon.report.energy_drawn import drawn_kwh
from daemon.report.history import KilnHistory
from daemon.report.sheet import Chart, Table, chart

TOPS_KWH = (25.0, 50.0, 100.0, 200.0, 400.0, 1000.0, 4000.0)
AT_MOST = 4
FEWEST = 3
SHAPES = ("circles", "squares", "diamonds", "triangles")
Value = Callable[[Assessment], float | None]
Interval = Callable[[Assessment], tuple[float, float] | None]


def duty_chart(history: KilnHistory, key: str = "duty") -> Chart | None:
    """Return the duty chart, or None where no output was logged."""
    return _by_programme(
        history,
        key,
        "Duty in the hold at the peak",
        _hold_duty,
        unit="per cent of full output, by firing number and date",
        tops=(1.08,),
        scale=100.0,
        note="The share of full output that keeps the peak, as logged. It rises as power is lost or heat leaks out.",
    )


def energy_chart(history: KilnHistory, key: str = "energy") -> Chart | None:
    """Return the energy chart, or None where neither volts and amps nor rated power and output are known."""
    return _by_programme(
        history,
        key,
        "Energy of each firing",
        drawn_kwh,
        unit="kWh, by firing number and date",
        tops=TOPS_KWH,
        scale=1.0,
        note="Bars: 90 % interval of the power each firing was weighed with; the nameplate's kW may be off as well. "
        "Loads differ, so compare groups of firings, not single ones.",
        interval=energy_interval_kwh,
        price=history.studio.energy_price,
    )


def energy_interval_kwh(said: Assessment) -> tuple[float, float] | None:
    """Return the ends of a firing's energy as its power is known, or None where the power has no interval."""
    kwh, power = drawn_kwh(said), said.power
    if kwh is None or not power.value or power.low is None or power.high is None:
        return None
    return kwh * power.low / power.value, kwh * power.high / power.value


def _hold_duty(said: Assessment) -> float | None:
    return said.measures.hold_duty


def _by_programme(
    history: KilnHistory,
    key: str,
    heading: str,
    value: Value,
    *,
    unit: str,
    tops: tuple[float, ...],
    scale: float,
    note: str,
    interval: Interval | None = None,
    price: float | None = None,
) -> Chart | None:
    groups = _groups(history, value)
    if sum(len(points) for points in groups.values()) < FEWEST:
        return None

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        highest = max(v for points in groups.values() for _, v in points)
        top = next((t for t in tops if highest * 1.03 <= t), highest * 1.1)
        axes.set_ylim(0, scale * top)
        over_firings(axes, history, narrow=narrow)
        for position, points in enumerate(groups.values()):
            axes.plot(
                [number(said) for said, _ in points],
                [scale * v for _, v in points],
                marker_of(position),
                color=colour_of(position),
                markerfacecolor=ink.PAPER.light if position else colour_of(position),
                markersize=4.5,
            )
            for said, _ in points if interval is not None and len(points) <= CROWDED else ():
                ends = interval(said) if interval is not None else None
                if ends is not None:
                    axes.vlines(number(said), scale * ends[0], scale * ends[1], color=ink.SLATE.light, linewidth=0.8)
        draw_repairs(axes, history)

    legend = "; ".join(f"{SHAPES[i]}: {name}" for i, name in enumerate(groups))
    return chart(
        key,
        heading,
        draw,
        _table(history, value, scale, heading, price),
        unit=unit,
        says=_says(groups, scale, unit.split(",", maxsplit=1)[0]),
        notes=[f"{legend[:1].upper()}{legend[1:]}. {note}"],
        tall=0.86,
    )


def _groups(history: KilnHistory, value: Value) -> dict[str, list[tuple[Assessment, float]]]:
    """Return the values by programme, the most fired first, what is rarer together as the last group."""
    found: dict[str, list[tuple[Assessment, float]]] = {}
    for said in history.judged:
        seen = value(said)
        if seen is not None:
            found.setdefault(shown.plain(said.programme, 40) or "no programme name", []).append((said, seen))
    by_count = sorted(found, key=lambda name: -len(found[name]))
    groups = {name: found[name] for name in by_count[: AT_MOST - 1]}
    rest = [pair for name in by_count[AT_MOST - 1 :] for pair in found[name]]
    if rest:
        groups["other programmes"] = sorted(rest, key=lambda pair: pair[0].index)
    return groups


def _says(groups: dict[str, list[tuple[Assessment, float]]], scale: float, unit: str) -> str:
    parts = []
    for name, points in groups.items():
        few = max(1, len(points) // 4)
        first = sum(v for _, v in points[:few]) / few
        last = sum(v for _, v in points[-few:]) / few
        parts.append(f"{name}: {scale * first:.0f} at first, {scale * last:.0f} lately")
    return f"In {unit}, mean of the first and last quarter of the firings. " + "; ".join(parts) + "."


def _table(history: KilnHistory, value: Value, scale: float, heading: str, price: float | None) -> Table:
    """Return the values by firing; with a price of one unit also what each cost."""
    rows = []
    for said in reversed(history.judged):
        seen = value(said)
        rows.append(
            (
                str(number(said)),
                shown.day(said.started, history.studio.time_zone),
                shown.plain(said.programme, 40),
                "not known" if seen is None else f"{scale * seen:.0f}",
                *(
                    []
                    if price is None
                    else ["" if seen is None else shown.money(seen * price, history.studio.currency)]
                ),
            )
        )
    return Table(("Firing", "Date", "Programme", heading, *([] if price is None else ["Cost"])), tuple(rows))

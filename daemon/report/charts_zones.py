"""Charts: the power left in each zone, and each zone's share of the output, firing by firing."""

from matplotlib.axes import Axes

from analysis.findings import PowerRatio
from daemon.report import ink, shown
from daemon.report.axes import colour_of, draw_repairs, marker_of, number, over_firings, spread_labels
from daemon.report.history import KilnHistory
from daemon.report.sheet import Chart, Table, chart, label

ALIKE = 0.015  # zones nearer than this are not told apart
SHAPES = ("circles", "squares", "diamonds", "triangles", "downward triangles", "crosses")
Points = list[tuple[int, float, float | None, float | None]]


def zones_chart(history: KilnHistory, key: str = "zones") -> Chart | None:
    """Return the zone chart: power by zone where it is known, else shares of output, else None."""
    names = _zone_names(history)
    if len(names) < 2:
        return None
    by_zone = {name: _powers(history, name) for name in names}
    if any(by_zone.values()):
        return _chart(
            history, key, "Zone balance", by_zone, "per cent of each zone's reference power, by firing number and date"
        )
    shares = {name: _shares(history, position) for position, name in enumerate(names)}
    if any(shares.values()):
        return _chart(
            history,
            key,
            "Zone balance: shares of the output",
            shares,
            "per cent of the output each zone asked for, by firing number and date",
        )
    return None


def _zone_names(history: KilnHistory) -> list[str]:
    if history.kiln.zones:
        return list(history.kiln.zones)
    return [zone.zone for zone in history.judged[-1].zones]


def _powers(history: KilnHistory, name: str) -> Points:
    points: Points = []
    for said in history.judged:
        ratio = next((z.power for z in said.zones if z.zone == name and shown.zone_known(z)), None)
        if ratio is not None and ratio.value is not None:
            points.append((number(said), ratio.value, ratio.low, ratio.high))
    return points


def _shares(history: KilnHistory, position: int) -> Points:
    return [
        (number(said), said.measures.zone_share[position], None, None)
        for said in history.judged
        if len(said.measures.zone_share) > position
    ]


def _chart(history: KilnHistory, key: str, heading: str, by_zone: dict[str, Points], unit: str) -> Chart:
    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        lowest = min(100 * (low if low is not None else v) for p in by_zone.values() for _, v, low, _ in p)
        highest = max(100 * v for p in by_zone.values() for _, v, _, _ in p)
        powers = highest > 60  # shares of three zones lie near 33 %
        axes.set_ylim(max(0.0, min(50.0, 10 * ((lowest - 5) // 10))) if powers else 0.0, 112.0 if powers else 70.0)
        room = max(1.0, (len(history.judged)) * (0.34 if narrow else 0.13))
        over_firings(axes, history, narrow=narrow, ahead=room)
        if powers:
            axes.axhline(100, color=ink.RULE.light, linewidth=1.0)
        drawn = [(name, points) for name, points in by_zone.items() if points]
        span = axes.get_ylim()[1] - axes.get_ylim()[0]
        heights = spread_labels([100 * points[-1][1] for _, points in drawn], span * 0.065)
        for position, (name, points) in enumerate(drawn):
            at = [float(p[0]) for p in points]
            value = [100 * p[1] for p in points]
            if all(p[2] is not None and p[3] is not None for p in points):
                low = [100 * (p[2] or 0.0) for p in points]
                high = [100 * (p[3] or 0.0) for p in points]
                axes.fill_between(at, low, high, color=colour_of(position), alpha=0.12, linewidth=0)
            axes.plot(
                at,
                value,
                color=colour_of(position),
                linewidth=1.6,
                marker=marker_of(position),
                markersize=4.5,
                markevery=max(1, len(at) // (8 if narrow else 16)),
            )
            axes.annotate(
                label(shown.plain(name, 14)),
                (at[-1], heights[position]),
                xytext=(8, 0),
                textcoords="offset points",
                va="center",
                color=colour_of(position),
                annotation_clip=False,
            )
        draw_repairs(axes, history)

    legend = ", ".join(f"zone {shown.plain(name, 30)}: {SHAPES[i % 6]}" for i, name in enumerate(by_zone))
    return chart(
        key,
        heading,
        draw,
        _table(history, by_zone),
        unit=unit,
        says=_says(by_zone),
        notes=[f"{legend[:1].upper()}{legend[1:]}. Tint: 90 % interval."],
    )


def _says(by_zone: dict[str, Points]) -> str:
    newest = {name: points[-1] for name, points in by_zone.items() if points}
    last = {name: value for name, (_, value, _, _) in newest.items()}
    listed = "; ".join(
        f"zone {shown.plain(name, 30)}: {shown.of_zone(PowerRatio(*point[1:]))}" for name, point in newest.items()
    )
    weakest = min(last, key=lambda name: last[name])
    alike = len(last) > 1 and max(last.values()) - last[weakest] < ALIKE
    end = "All alike." if alike else f"Lowest: zone {shown.plain(weakest, 30)}."
    return f"After the newest firing: {listed}. {end}"


def _table(history: KilnHistory, by_zone: dict[str, Points]) -> Table:
    found = {name: {p[0]: p for p in points} for name, points in by_zone.items()}
    rows = []
    for said in reversed(history.judged):
        cells = []
        for points in found.values():
            point = points.get(number(said))
            cells.append("not known" if point is None else shown.power(PowerRatio(point[1], point[2], point[3])))
        rows.append((str(number(said)), shown.day(said.started, history.studio.time_zone), *cells))
    return Table(("Firing", "Date", *(shown.plain(name, 30) for name in by_zone)), tuple(rows))

"""Chart: climb at full output near the peak, always at the same temperature, firing by firing."""

from matplotlib.axes import Axes

from analysis.assessment import Assessment
from analysis.measures import BandClimb
from config.units import difference, temperature
from daemon.report import ink, shown
from daemon.report.axes import colour_of, draw_repairs, marker_of, number, over_firings
from daemon.report.charts_power import CROWDED
from daemon.report.history import KilnHistory
from daemon.report.like_firings import common_bands, full_band
from daemon.report.sheet import Chart, Table, chart

TOPS_C_PER_H = (100.0, 200.0, 400.0, 800.0)  # few fixed scales, so that kilns can be compared
INTERVAL = 1.645  # standard errors of a 90 % interval


def climb_chart(history: KilnHistory, key: str = "climb") -> Chart | None:
    """Return the chart, or None where no temperature was passed at full output often enough."""
    bands = common_bands(history)
    if not bands:
        return None
    unit = history.studio.temperature_unit
    judged = history.judged

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        highest = max(b.climb.value for at in bands for _, b in _seen(judged, at))
        top = next((t for t in TOPS_C_PER_H if highest * 1.08 <= t), highest * 1.1)
        axes.set_ylim(0, difference(top, unit))
        over_firings(axes, history, narrow=narrow)
        for position, at in enumerate(bands):
            seen = _seen(judged, at)
            x = [number(said) for said, _ in seen]
            y = [difference(b.climb.value, unit) for _, b in seen]
            error = [difference(INTERVAL * b.climb.error, unit) for _, b in seen]
            axes.errorbar(
                x,
                y,
                yerr=None if len(seen) > CROWDED else error,
                fmt=marker_of(position),
                markersize=4.5,
                color=colour_of(position),
                ecolor=ink.SLATE.light,
                elinewidth=0.8,
                markerfacecolor=ink.PAPER.light if position else colour_of(position),
            )
        draw_repairs(axes, history)

    names = [f"{_shape(i)} at {temperature(at, unit):.0f} °{unit}" for i, at in enumerate(bands)]
    return chart(
        key,
        "Climb at full output, at like temperature",
        draw,
        _table(history, bands),
        unit=f"°{unit} per hour, by firing number and date",
        says=_says(history, bands),
        notes=[
            "; ".join(names) + ". Bars: 90 % interval. Only firings that were at full output there are drawn.",
        ],
    )


def _shape(position: int) -> str:
    return ("Filled circles", "Open squares")[position]


def _seen(judged: list[Assessment], at: float) -> list[tuple[Assessment, BandClimb]]:
    return [(said, band) for said in judged if (band := full_band(said, at)) is not None]


def _says(history: KilnHistory, bands: list[float]) -> str:
    unit = history.studio.temperature_unit
    parts = []
    for at in bands:
        seen = _seen(history.judged, at)
        (first, b0), (last, b1) = seen[0], seen[-1]
        parts.append(
            f"At {shown.degrees(at, unit)} the kiln climbed {shown.rate(b0.climb.value, unit)} in firing "
            f"{number(first)} and {shown.rate(b1.climb.value, unit)} in firing {number(last)}."
        )
    return " ".join(parts)


def _table(history: KilnHistory, bands: list[float]) -> Table:
    unit = history.studio.temperature_unit
    rows = []
    for said in reversed(history.judged):
        cells = []
        for at in bands:
            band = full_band(said, at)
            plus = "" if band is None else f" ± {difference(INTERVAL * band.climb.error, unit):.0f}"
            cells.append("not at full output" if band is None else f"{difference(band.climb.value, unit):.0f}{plus}")
        rows.append((str(number(said)), shown.day(said.started, history.studio.time_zone), *cells))
    heads = tuple(f"°{unit}/h at {shown.degrees(at, unit)}" for at in bands)
    return Table(("Firing", "Date", *heads), tuple(rows))

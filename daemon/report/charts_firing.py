"""Chart: the last firing laid over earlier ones of the same programme."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from analysis.assessment import Assessment
from config.units import temperature
from daemon.report import ink, shown
from daemon.report.axes import number
from daemon.report.history import KilnHistory
from daemon.report.like_firings import like_the_last
from daemon.report.sheet import Chart, Table, chart

TOP_C = 1350.0
HOUR_S = 3600.0
NO_DEMAND_C = 50.0  # a set point below it, after the firing, asks for nothing
END_FALL_C = 150.0  # a set point that falls so far from one drawn point to the next has let go; no programme cools so
MARKS_C = (200.0, 400.0, 600.0, 800.0, 1000.0, 1100.0, 1200.0, 1250.0, 1300.0)


def firing_chart(history: KilnHistory, key: str = "firing") -> Chart | None:
    """Return the chart, or None where the last log holds nothing to draw."""
    last = history.judged[-1]
    if len(last.measures.trace.elapsed_s) < 2:
        return None
    earlier = like_the_last(history)
    unit = history.studio.temperature_unit

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: FBT001 - the form of every drawing
        axes.set_ylim(0, temperature(TOP_C, unit))
        for said in earlier:
            _line(axes, said, unit, color=ink.SLATE.light, linewidth=0.9, alpha=0.75)
        set_point = last.measures.trace.set_point_c
        if set_point:
            asked = asked_for(set_point)
            hours = [s / HOUR_S for s in last.measures.trace.elapsed_s[:asked]]
            wanted = [temperature(c, unit) for c in set_point[:asked]]
            axes.plot(hours, wanted, color=ink.OCHRE.light, linewidth=1.2, dashes=(4, 2))
        _line(axes, last, unit, color=ink.COBALT.light, linewidth=2.2)
        longest = max(s.measures.trace.elapsed_s[-1] for s in (*earlier, last)) / HOUR_S
        axes.set_xlim(-0.02 * longest, longest)  # so that the two noughts do not touch
        wanted_ticks = 5 if narrow else 10
        step = next(s for s in (1, 2, 3, 4, 6, 12, 24, 48, 240) if longest / s <= wanted_ticks or s == 240)
        axes.set_xticks(range(0, int(longest) + 1, step))
        axes.set_xticklabels([f"{h} h" for h in range(0, int(longest) + 1, step)])

    name = shown.plain(last.programme, 60) or "no programme name"
    return chart(
        key,
        "Last firing over earlier ones like it",
        draw,
        _table(history, earlier),
        unit=f"°{unit} over hours since the start: {name}",
        says=_says(history, earlier),
        notes=_notes(history, earlier),
    )


def asked_for(set_point: Sequence[float]) -> int:
    """Return how many points of a set point were asked for: without the fall after the programme's end."""
    end = max((i for i, c in enumerate(set_point) if c > NO_DEMAND_C), default=-1) + 1
    fallen = (i for i in range(1, end) if set_point[i] < set_point[i - 1] - END_FALL_C)
    return next(fallen, end)


def _line(axes: Axes, said: Assessment, unit: str, **style: object) -> None:
    drawn = said.measures.trace
    hours = [s / HOUR_S for s in drawn.elapsed_s]
    axes.plot(hours, [temperature(c, "F" if unit == "F" else "C") for c in drawn.temperature_c], **style)  # type: ignore[arg-type]  # line styles are passed on


def reached(said: Assessment, at_c: float) -> float | None:
    """Return the seconds from the start until ``at_c`` was first reached, or None."""
    pairs = zip(said.measures.trace.elapsed_s, said.measures.trace.temperature_c, strict=True)
    return next((s for s, c in pairs if c >= at_c), None)


def _says(history: KilnHistory, earlier: list[Assessment]) -> str:
    last = history.judged[-1]
    unit = history.studio.temperature_unit
    mark = max((m for m in MARKS_C if m <= last.measures.peak_c), default=None)
    drawn = last.measures.trace
    hottest = max(range(len(drawn.temperature_c)), key=lambda i: drawn.temperature_c[i])
    text = (
        f"Firing {number(last)} peaked at {shown.degrees(last.measures.peak_c, unit)} after "
        f"{shown.hours(drawn.elapsed_s[hottest])}."
    )
    if not earlier:
        return text + " No earlier firing of this programme to lay beside it."
    if mark is None:
        return text
    own = reached(last, mark)
    times = sorted(t for said in earlier if (t := reached(said, mark)) is not None)
    if own is None or not times:
        return text
    text += (
        f" It reached {shown.degrees(mark, unit)} after {shown.hours(own)}; {len(times)} earlier ones took "
        f"{shown.hours(times[0])} to {shown.hours(times[-1])}."
    )
    return text


def _notes(history: KilnHistory, earlier: list[Assessment]) -> list[str]:
    last = history.judged[-1]
    planned = " Dashes: its set point." if last.measures.trace.set_point_c else ""
    note = f"Thick line: firing {number(last)}, {shown.day(last.started, history.studio.time_zone)}.{planned}"
    if earlier:
        listed = ", ".join(str(number(said)) for said in earlier)
        note += f" Thin lines: firings {listed}, same programme and peak."
    return [note]


def _table(history: KilnHistory, earlier: list[Assessment]) -> Table:
    unit = history.studio.temperature_unit
    last = history.judged[-1]
    marks = [m for m in MARKS_C if m <= last.measures.peak_c]
    rows = []
    for said in (last, *reversed(earlier)):
        cells = []
        for mark in marks:
            seconds = reached(said, mark)
            cells.append("not reached" if seconds is None else shown.hours(seconds))
        rows.append((str(number(said)), shown.day(said.started, history.studio.time_zone), *cells))
    heads = tuple(f"to {shown.degrees(mark, unit)}" for mark in marks)
    return Table(("Firing", "Date", *heads), tuple(rows))

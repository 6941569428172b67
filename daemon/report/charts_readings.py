"""Chart: ohms measured by hand, circuit by circuit, against what new and worn elements would read."""

from dataclasses import dataclass
from datetime import datetime

from matplotlib.axes import Axes

from analysis.circuits import circuit_ohm
from config.logbook import OPEN_OHM, LogbookEntry
from daemon.report import ink, shown
from daemon.report.axes import below_axis
from daemon.report.history import KilnHistory
from daemon.report.sheet import Chart, Table, chart, label

WIRE = 0.05  # tolerance of new wire (resistance-wire supplier's table)
TOP = 2.4  # one of a parallel pair open reads twice as much


@dataclass(frozen=True, slots=True)
class Reading:
    """One ohm reading of a circuit with what it would be as new."""

    circuit: str
    entry: LogbookEntry
    value: float
    new: float


def readings(history: KilnHistory) -> list[Reading]:
    """Return the logbook's ohm readings of circuits the register can compare, oldest first."""
    found = []
    by_name = {circuit.name: circuit for circuit in history.kiln.circuits}
    for entry in history.logbook:
        if entry.what != "measured" or entry.quantity != "ohm" or entry.value is None or entry.value >= OPEN_OHM:
            continue  # an open circuit has no place on a scale of ohms; the logbook's table shows it
        name = entry.circuit or (entry.where or "").removeprefix("circuit ").strip()
        circuit = by_name.get(name)
        new = None if circuit is None else circuit_ohm(history.kiln, circuit)
        if new is not None:
            found.append(Reading(name, entry, entry.value, new))
    return found


def renewed_at(history: KilnHistory) -> datetime | None:
    """Return when the last whole set of elements went in; readings before it are of other wire."""
    sets = (e.at for e in history.logbook if e.what == "replaced" and e.part == "elements" and e.zone is None)
    return max(sets, default=None)


def readings_chart(history: KilnHistory, key: str = "readings") -> Chart | None:
    """Return the chart, or None where no circuit was measured."""
    found = readings(history)
    if not found:
        return None
    names = [c.name for c in history.kiln.circuits if any(r.circuit == c.name for r in found)]
    limit = 1.0 / history.kiln.replace_at_power

    def draw(axes: Axes, narrow: bool) -> None:  # noqa: ARG001, FBT001 - the form of every drawing
        axes.set_ylim(0.8, max(1.3, min(TOP, max(r.value / r.new for r in found) * 1.06)))
        axes.set_xlim(-0.5, len(names) - 0.5)
        axes.axhspan(1 - WIRE, 1 + WIRE, color=ink.COBALT_WASH.light, linewidth=0)
        axes.axhline(limit, color=ink.OCHRE.light, linewidth=1.3, dashes=(6, 3))
        axes.set_xticks(range(len(names)))
        axes.set_xticklabels([label(shown.plain(name, 12)) for name in names])
        axes.set_yticks([t / 10 for t in range(8, 25) if t / 10 <= axes.get_ylim()[1]])
        axes.set_yticklabels([f"{t * 10}" for t in range(8, 25) if t / 10 <= axes.get_ylim()[1]])
        for position, name in enumerate(names):
            own = [r for r in found if r.circuit == name]
            spread = [position + 0.6 * ((i + 1) / (len(own) + 1) - 0.5) for i in range(len(own))]
            values = [min(r.value / r.new, TOP) for r in own]
            axes.plot(spread, values, "o-", color=ink.COBALT.light, linewidth=1.0, markersize=5.5)
            new = own[-1].new
            below_axis(axes, float(position), f"new {new:.1f} Ω")

    last = {r.circuit: r for r in found}
    renewed = renewed_at(history)
    zone = history.studio.time_zone
    said = "; ".join(
        f"circuit {shown.plain(name, 30)} {r.value:g} Ω, {100 * (r.value / r.new - 1):+.0f} % against {r.new:.1f} Ω new"
        + (f" ({shown.day(r.entry.at, zone)}, before the new elements)" if renewed and r.entry.at < renewed else "")
        for name, r in last.items()
    )
    return chart(
        key,
        "Ohms measured by hand",
        draw,
        _table(history, found),
        unit="per cent of the as-new cold resistance, each circuit's readings from left to right in order of date",
        says=f"Newest readings: {said}.",
        notes=[f"Tint: new wire, 5 % either side. Dashes: {100 * limit:.0f} %, where power is down to the threshold."],
        tall=0.8,
    )


def _table(history: KilnHistory, found: list[Reading]) -> Table:
    rows = tuple(
        (
            shown.day(r.entry.at, history.studio.time_zone),
            shown.plain(r.circuit, 40),
            f"{r.value:g}",
            f"{r.new:.1f}",
            f"{100 * (r.value / r.new - 1):+.0f} %",
            shown.plain(r.entry.note, 120),
        )
        for r in reversed(found)
    )
    return Table(("Date", "Circuit", "Ω read", "Ω as new", "Difference", "Note"), rows)

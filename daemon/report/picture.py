"""The picture that goes with an alert: the kiln's power over its firings, as a PNG."""

from daemon.report import shown
from daemon.report.charts_power import UNIT, draw_power
from daemon.report.history import KilnHistory
from daemon.report.sheet import drawable, png


def power_picture(history: KilnHistory) -> bytes | None:
    """Return the power chart as PNG bytes, or None before the first firing."""
    if not history.judged:
        return None
    name = shown.plain(history.kiln.title, 50)
    return png(draw_power(history), heading=drawable(f"{name}: heating power left"), unit=UNIT)

"""The three ways the studio's controllers write their logs, as bytes."""

from collections.abc import Callable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from generator.firing import Firing

LABEL = "Invented sample log, Tidewrack Clay Studio"
Layout = Callable[[Firing, datetime, str], bytes]


def comma_seconds(firing: Firing, started: datetime, programme: str) -> bytes:
    """Juniper: four lines of text, then elapsed seconds, whole deg C and output in per cent, commas between."""
    lines = [
        f"{LABEL}: kiln juniper",
        f"Started: {started:%Y-%m-%d %H:%M}",
        f"Programme: {programme}",
        "",
        "elapsed s,set point C,temperature C,output %",
    ]
    lines += [
        f"{second:.0f},{set_point:.0f},{zone[0]:.0f},{100.0 * output[0]:.0f}"
        for second, set_point, zone, output in zip(
            firing.elapsed_s, firing.set_point_c, firing.zone_c, firing.output, strict=True
        )
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def semicolon_clock(firing: Firing, started: datetime, programme: str) -> bytes:
    """Heron: semicolons, decimal comma, date and clock apart, deg C to a tenth, an output in per cent for each zone."""
    lines = [
        f"{LABEL}: kiln heron",
        "Date;Time;Programme;Segment;Set point °C;"
        + ";".join(f"{zone} °C" for zone in ("Top", "Middle", "Bottom"))
        + ";"
        + ";".join(f"Output {zone} %" for zone in ("top", "middle", "bottom")),
    ]
    for index, second in enumerate(firing.elapsed_s):
        clock = wall_clock(started, float(second))
        numbers = [
            f"{firing.set_point_c[index]:.1f}",
            *(f"{value:.1f}" for value in firing.zone_c[index]),
            *(f"{100.0 * value:.0f}" for value in firing.output[index]),
        ]
        cells = [f"{clock:%d.%m.%Y}", f"{clock:%H:%M:%S}", programme, str(firing.segment[index])]
        lines.append(";".join(cells + [number.replace(".", ",") for number in numbers]))
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


def tab_fahrenheit(firing: Firing, started: datetime, programme: str) -> bytes:
    """Thrift: tabs, local date and clock in one column, whole deg F, no output. Heating over: no set point."""
    lines = [f"{LABEL}: kiln thrift", f"Programme: {programme}", "Clock\tSet point F\tKiln F"]
    for second, set_point, zone in zip(firing.elapsed_s, firing.set_point_c, firing.zone_c, strict=True):
        target = f"{set_point * 1.8 + 32.0:.0f}" if set_point > 0.0 else ""
        lines.append(f"{wall_clock(started, float(second)):%Y-%m-%d %H:%M:%S}\t{target}\t{zone[0] * 1.8 + 32.0:.0f}")
    return ("\r\n".join(lines) + "\r\n").encode("ascii")


def wall_clock(started: datetime, elapsed_s: float) -> datetime:
    """What the clock on the wall shows: elapsed time is counted in UTC, so that the clock change shows."""
    zone = started.tzinfo
    assert isinstance(zone, ZoneInfo)
    return (started.astimezone(ZoneInfo("UTC")) + timedelta(seconds=elapsed_s)).astimezone(zone)


LAYOUTS: dict[str, Layout] = {"juniper": comma_seconds, "heron": semicolon_clock, "thrift": tab_fahrenheit}
NAMES = {"juniper": "juniper-{day}.csv", "heron": "heron-{day}.csv", "thrift": "thrift-{day}.txt"}
ROWS_KEPT_COOLING = {"juniper": (450.0, 8.0), "heron": (500.0, 8.0), "thrift": (600.0, 7.0)}

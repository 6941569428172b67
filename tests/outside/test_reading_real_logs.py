"""Reading against real series of other loggers (sources and licences: tests/outside/data/SOURCES.md)."""

import csv
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.reading import read_log
from config.kiln import Kiln, LogHints

DATA = Path(__file__).parent / "data"


def water(keep_offsets: bool) -> tuple[bytes, list[datetime], list[float]]:
    text = (DATA / "water_flow_2022-03.csv").read_text(encoding="utf-8")
    lines = text.splitlines()
    stamps = [datetime.fromisoformat(line.split(",")[0]) for line in lines[1:]]
    values = [float(line.split(",")[1]) for line in lines[1:]]
    if not keep_offsets:
        lines = [lines[0], *(line[:19] + line[25:] for line in lines[1:])]
    return "\n".join(lines).encode() + b"\n", stamps, values


@pytest.mark.parametrize("keep_offsets", [True, False])
def test_an_hourly_log_across_the_clock_change_of_march_2022_keeps_true_time(keep_offsets):
    """The file's own UTC offsets are the truth; with them stripped the kiln's zone must give the same times."""
    data, stamps, values = water(keep_offsets)
    hints = LogHints(columns={"Water flow [l/s]": "zone 1"}, temperature_unit="C")
    reading = read_log(data, name="flow.csv", kiln=Kiln(id="flow", time_zone="Europe/Rome", log=hints))
    log = reading.firings[0]
    assert log.started == stamps[0].astimezone(UTC)
    want = [(stamp - stamps[0]).total_seconds() for stamp in (s.astimezone(UTC) for s in stamps)]
    np.testing.assert_array_equal(log.elapsed_s, want)
    np.testing.assert_array_equal(log.zone_c[:, 0], values)
    jumps = [problem for problem in reading.problems if "daylight saving" in problem]
    assert len(jumps) == (0 if keep_offsets else 1)


def test_a_real_fifteen_minute_logger_of_sixteen_columns_is_told_apart():
    with (DATA / "inverter_2022-01.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    columns = {name: "ignore" for name in rows[0] if "das_temp" in name or "inveter_temp" in name}
    kiln = Kiln(id="modules", time_zone="America/Denver", log=LogHints(temperature_unit="C", columns=columns))
    reading = read_log((DATA / "inverter_2022-01.csv").read_bytes(), name="x.csv", kiln=kiln)
    log = reading.firings[0]
    at = {name: k for k, name in enumerate(rows[0])}
    modules = [[float(row[at[name]]) for name in rows[0] if name.startswith("module_temp")] for row in rows[1:]]
    np.testing.assert_allclose(log.zone_c, modules)
    assert log.zone_c.shape == (200, 3)
    np.testing.assert_allclose(log.room_c, [float(row[at["ambient_temp__780"]]) for row in rows[1:]])
    np.testing.assert_allclose(log.volts, [float(row[at["ac_volts__778"]]) for row in rows[1:]])
    assert np.unique(np.diff(log.elapsed_s)).tolist() == [900.0]
    assert log.started == datetime(2022, 1, 2, 7, 1, tzinfo=UTC)


def test_a_real_month_first_log_without_a_number_above_twelve_is_decided_by_its_midnights():
    data = (DATA / "weather_2022-01.csv").read_bytes()
    hints = LogHints(temperature_unit="C", columns={"Ambient Temperature": "zone 1", "1": "time"})
    reading = read_log(data, name="weather.csv", kiln=Kiln(id="weather", time_zone="Etc/GMT+7", log=hints))
    log = reading.firings[0]
    rows = [line.split(b",") for line in data.splitlines()[1:]]
    used = [row for row in rows if row[1]]
    stamps = [datetime.strptime(row[0].decode(), "%m/%d/%Y %H:%M") for row in used]  # noqa: DTZ007 - local times
    np.testing.assert_array_equal(log.elapsed_s, [(stamp - stamps[0]).total_seconds() for stamp in stamps])
    np.testing.assert_allclose(log.zone_c[:, 0], [float(row[1]) for row in used])
    assert "month first" in reading.account.time_why
    assert reading.account.unknown == ()
    assert reading.account.rows.blank == len(rows) - len(used)


@pytest.mark.parametrize("first", ["2011-11-05", "2012-03-10"], ids=["autumn", "spring"])
def test_a_photovoltaic_series_in_wall_time_keeps_true_time_across_the_clock_change(first):
    """The series' fixed offset is the truth; pandas (a general library) writes it in Denver's wall time.

    The panels rest when the clock changes: in autumn all rows of the hour that comes twice are the same.
    """
    rows = pd.read_csv(DATA / "ac_power_2011_2012.csv", parse_dates=["measured_on"])
    rows = rows[rows["measured_on"] >= pd.Timestamp(first, tz="-07:00")].head(288).dropna()
    wall = rows["measured_on"].dt.tz_convert("America/Denver").dt.strftime("%Y-%m-%d %H:%M:%S")
    data = pd.DataFrame({"stamp": wall, "power": rows["ac_power_2"]}).to_csv(index=False).encode()
    hints = LogHints(columns={"power": "zone 1"}, temperature_unit="C")
    reading = read_log(data, name="pv.csv", kiln=Kiln(id="pv", time_zone="America/Denver", log=hints))
    # a day's rise and fall looks like a firing: together the parts must hold every row at its true time
    seconds = np.concatenate([log.started.timestamp() + log.elapsed_s for log in reading.firings])
    np.testing.assert_array_equal(seconds, [moment.timestamp() for moment in rows["measured_on"]])
    assert sum("daylight saving" in problem for problem in reading.problems) == 1

"""A small studio for intake: real reading and judging, in this process, on made-up logs of a simple kiln."""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database

from analysis.assessment import assess, begin
from analysis.reading import join_logs, read_log
from config.settings import Settings, load
from daemon.intake import Intake
from daemon.store import files, firings
from daemon.store.database import open_store


class Here:
    """Reads and judges in this process: the same calls as the child process answers."""

    def __init__(self) -> None:
        self.read_names: list[str] = []
        self.judged = 0

    def read(self, data, name, kiln, modified):
        self.read_names.append(name)
        return read_log(data, name=name, kiln=kiln, modified=modified)

    def join(self, earlier, later):
        return join_logs(earlier, later)

    def assess(self, kiln, state, log, entries):
        self.judged += 1
        return assess(kiln, begin(kiln) if state is None else state, log, entries)


def rows(started: datetime, *, peak_c: float = 1200.0, climb_c_per_h: float = 150.0, step_min: int = 3) -> list[str]:
    """Return the rows of one firing: climb, a short hold, cooling to 500 deg C."""
    out, temp, at, held = [], 20.0, started, 0
    cooling = False
    while not (cooling and temp < 500):
        out.append(
            f"{at:%Y-%m-%dT%H:%M:%SZ},{temp:.1f},{0 if cooling else min(peak_c, temp + 5):.1f},{0 if cooling else 80}"
        )
        at += timedelta(minutes=step_min)
        if temp < peak_c and not cooling:
            temp = min(peak_c, temp + climb_c_per_h * step_min / 60)
        elif held < 15:
            held += step_min
        else:
            cooling = True
            temp -= (temp - 20) * 0.22 * step_min / 60
    return out


def log_text(started: datetime, *, upto: int | None = None, **how: float) -> str:
    """Return a whole log, or its first ``upto`` rows."""
    return "\n".join(["time,temperature,set point,output", *rows(started, **how)[:upto]]) + "\n"


@dataclass
class Studio:
    """A drop folder with its intake; time passes only when told."""

    root: Path
    settings: Settings
    db: Database
    here: Here
    moment: datetime = datetime(2026, 5, 1, 12, tzinfo=UTC)
    tick: float = 1000.0
    intake: Intake = field(init=False)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self, settings: Settings | None = None) -> None:
        """Begin again from the database, as after a crash or with other settings."""
        self.settings = settings or self.settings
        self.intake = Intake(self.db, self.settings, self.here, now=lambda: self.moment, tick=lambda: self.tick)

    def drop(self, name: str, data: str | bytes, *, age_s: float = 3600.0) -> Path:
        """Put a file into the drop folder, last changed ``age_s`` seconds ago."""
        file = self.root / "drop" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data.encode() if isinstance(data, str) else data)
        when = datetime.now(UTC).timestamp() - age_s
        os.utime(file, (when, when))
        return file

    def pass_time(self, seconds: float) -> None:
        """Let time pass, on both clocks."""
        self.tick += seconds
        self.moment += timedelta(seconds=seconds)

    def work(self) -> None:
        """Look, and do all there is to do now."""
        self.intake.look()
        self.intake.glance()
        while self.intake.step():
            pass

    def firings(self, kiln: str = "juniper"):
        """Return a kiln's judged firings."""
        return firings.of_kiln(self.db, kiln)

    def state(self, name: str) -> str:
        """Return a file's state as stored."""
        return files.all_files(self.db)[name].state

    def reason(self, name: str) -> str:
        """Return the reason stored for a file's state."""
        return files.all_files(self.db)[name].reason


@pytest.fixture
def make_studio(tmp_path: Path) -> Iterator[Callable[..., Studio]]:
    """Return a maker of studios with the kilns juniper and heron."""
    opened: list[Database] = []

    def make(*, extra: str = "", kilns: tuple[str, ...] = ("juniper", "heron")) -> Studio:
        text = "[studio]\ntime_zone = 'Etc/UTC'\n[service]\nsettle_s = 10\n" + extra
        for kiln in kilns:
            text += f'\n[[kiln]]\nid = "{kiln}"\n[kiln.log]\ntemperature_unit = "C"\n'
        (tmp_path / "coilwatch.toml").write_text(text, encoding="utf-8")
        (tmp_path / "drop").mkdir(exist_ok=True)
        settings = load(tmp_path / "coilwatch.toml")
        opened.append(open_store(settings.folders.database))
        return Studio(tmp_path, settings, opened[-1], Here())

    yield make
    for db in opened:
        db.close()


@pytest.fixture
def studio(make_studio: Callable[..., Studio]) -> Studio:
    """Return a studio with the kilns juniper and heron."""
    return make_studio()

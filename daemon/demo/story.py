"""The sample studio as a story: its logs and logbook entries in the order of their dates."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from config.kiln import Kiln
from config.logbook import LogbookEntry

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
_DAY = re.compile(r"(\d{4}-\d{2}-\d{2})\.\w+$")


class NoSamples(Exception):  # noqa: N818 - named for what it says
    """The sample studio is not where it should be; the message says what to do."""


@dataclass(frozen=True, slots=True)
class LogArrives:
    """A firing log that is put into the drop folder: its place below ``logs/`` is its place there."""

    day: date
    path: Path
    kiln: str

    @property
    def key(self) -> str:
        """The log's path in the drop folder, with ``/``."""
        return f"{self.kiln}/{self.path.name}"


@dataclass(frozen=True, slots=True)
class EntryWritten:
    """A line that somebody writes into the logbook."""

    day: date
    entry: LogbookEntry


Step = LogArrives | EntryWritten


def sample_folder(samples: Path = SAMPLES) -> Path:
    """Return the folder of the sample studio; raises ``NoSamples`` if it is not complete."""
    if not (samples / "coilwatch.toml").is_file() or not any((samples / "logs").glob("*/*")):
        raise NoSamples(
            f"{samples}: the sample studio is not there. It comes with the source, not with the installed program: "
            "run the demo from a checkout installed with `pip install -e .`, or name its folder with --samples."
        )
    return samples


def story(samples: Path, kilns: tuple[Kiln, ...], time_zone: str) -> tuple[Step, ...]:
    """Return every step of the story in the order of its date; an entry comes before the logs of its day."""
    from daemon.logbook import read_logbook

    steps: list[Step] = []
    for path in sorted((samples / "logs").glob("*/*")):
        found = _DAY.search(path.name)
        if found is not None:
            steps.append(LogArrives(date.fromisoformat(found[1]), path, path.parent.name))
    written = read_logbook(samples / "logbook.jsonl", kilns)
    steps.extend(EntryWritten(_local_day(entry.at, time_zone), entry) for entry in written)
    return tuple(sorted(steps, key=lambda step: (step.day, isinstance(step, LogArrives))))


def _local_day(moment: datetime, time_zone: str) -> date:
    return moment.astimezone(ZoneInfo(time_zone)).date()

"""One firing as read from a log: clean columns in SI-like units, with an account of what was repaired."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
OutputKind = Literal["duty", "on-off"]
StartedFrom = Literal["rows", "text", "file name", "file date", "unknown"]


class UnreadableLog(Exception):  # noqa: N818 - named for what it says of the log
    """The one error reading raises: these bytes hold no firing that can be used.

    ``reason`` is one plain sentence, ``line`` the line in the file (from 1) where one can be named, and
    ``remedy`` what would make it readable.
    """

    def __init__(self, reason: str, *, line: int | None = None, remedy: str = "") -> None:
        super().__init__(reason)
        self.reason = reason
        self.line = line
        self.remedy = remedy

    def __str__(self) -> str:
        where = "" if self.line is None else f"line {self.line}: "
        return f"{where}{self.reason}{' ' + self.remedy if self.remedy else ''}"


@dataclass(frozen=True, slots=True)
class Event:
    """Text the controller wrote in mid-log (an error, a message), ``elapsed_s`` after the first sample."""

    elapsed_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Spike:
    """One run of thermocouple samples taken out: ``count`` of them in ``zone`` (index), the first at ``elapsed_s``.

    ``kind``: ``spike`` (a jump no kiln can make), ``dropout`` (missing or absurd), ``stuck`` (one value held).
    """

    zone: int
    elapsed_s: float
    count: int
    kind: Literal["spike", "dropout", "stuck"]
    size_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class FiringLog:
    """One firing's samples. ``n`` samples, ``z`` zones; missing numbers are NaN.

    Attributes
    ----------
    elapsed_s : shape (n,), strictly increasing, first value 0; wall-clock jumps are already taken out.
    zone_c : shape (n, z), thermocouple temperatures in deg C, spikes and dropouts set to NaN.
    set_point_c : shape (n, z) in deg C (a single set point is repeated for each zone), or None if not logged.
    output : shape (n, z), share of full output 0..1 (a single output is repeated), or None if not logged.
    output_kind : how ``output`` is logged: a duty, or the relay's instantaneous state.
    volts : shape (n,) supply volts, or None.  amps : shape (n, lines), or None.  room_c : shape (n,), or None.
    segment : shape (n,) the controller's own segment number, NaN where absent, or None.
    started : aware UTC, or None where the log holds no date.  started_from says where it came from.
    programme : the programme's name as written in the log, or None.
    complete_tail : False if the file ends in mid-line (still being written, or cut off).
    problems : one plain sentence for each repair or doubt, with its time and count.
    """

    elapsed_s: FloatArray
    zone_c: FloatArray
    set_point_c: FloatArray | None
    output: FloatArray | None
    zone_names: tuple[str, ...]
    output_kind: OutputKind | None = None
    volts: FloatArray | None = None
    amps: FloatArray | None = None
    room_c: FloatArray | None = None
    segment: FloatArray | None = None
    started: datetime | None = None
    started_from: StartedFrom = "unknown"
    programme: str | None = None
    events: tuple[Event, ...] = ()
    spikes: tuple[Spike, ...] = ()
    complete_tail: bool = True
    problems: tuple[str, ...] = ()

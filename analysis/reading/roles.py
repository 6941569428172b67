"""Which column is what, decided once for the file: by hint, by name, and by what the column does.

Roles: ``time``, ``date``, ``clock``, ``half day``, ``zone``, ``average``, ``set point``, ``output``, ``volts``,
``amps``, ``room``, ``segment``, ``stage text``, ``programme``, ``message`` and ``ignore``; zone, set point, output and
amps may carry a number or a zone's name.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.reading.behaviour import Behaviour, behaviour_of, follows, how_ruled, only_falls
from analysis.reading.firing_log import FloatArray, UnreadableLog
from analysis.reading.hints import PER_ZONE
from analysis.reading.names import NameSays, plain, what_name_says

_WORDS_FOR_TIME = frozenset({"time", "date", "clock"})
_FIRED, _COLD, _ROOM = 300.0, 0.15, (1.0, 130.0)
"""Reading from which a kiln is fired, in either unit; the share of it that a room stays under (45 deg C of 300, and far
less in a firing that goes on); and what a room near a kiln may have, from 1 deg C to 130 deg F. It varies, too."""

_NUMBERS = frozenset({"zone", "average", "set point", "output", "volts", "amps", "room", "segment"})
_WEAK = frozenset({"t", "x", "z", "value", "reading"})
_NUMBER = re.compile(r"\d+")
_LARGE_T = re.compile(r"T\d{0,2}")
_PERCENT_TOP = 106.0
_FEW = 0.01  # damaged cells that do not change what a column is
_START_SPREAD = 12.0  # deg C or F between readings of a cold kiln; common practice, no source


@dataclass(frozen=True, slots=True)
class Column:
    """One column with its role. ``values`` is None for text; ``number`` from 1, ``place`` a zone's name or place."""

    index: int
    name: str
    unit: str | None
    values: FloatArray | None
    role: str = "ignore"
    number: int | None = None
    place: str | None = None
    why: str = ""


def decide_roles(
    columns: Sequence[Column],
    times: Mapping[int, str],
    hints: Mapping[int, tuple[str, int | None, str | None]],
    zones: Sequence[str],
    mute: frozenset[int] = frozenset(),
) -> list[Column]:
    """Give every column its role.

    ``times`` says which text columns hold times (index -> ``date and time``, ``date``, ``clock``, ``duration`` or
    ``half day``); ``zones`` are the register's zone names (may be empty); the names of ``mute`` columns say which
    zone's they are and nothing else. Raises ``UnreadableLog`` without a zone.
    """
    said = [what_name_says(column.name) for column in columns]
    said = [replace(says, role=None, word="") if i in mute else says for i, says in enumerate(said)] if mute else said
    out: list[Column] = []
    conducts: dict[int, Behaviour] = {}
    for column, says in zip(columns, said, strict=True):
        if column.index in hints:
            role, number, place = hints[column.index]
            if column.values is None and role in _NUMBERS:
                raise UnreadableLog(
                    f"[kiln.log] columns: column {column.name or column.index + 1!r} is to be {role}, but holds text.",
                    remedy="Choose another column.",
                )
            out.append(_with(column, says, role, "setting [kiln.log] columns", number, place))
        elif column.values is None:
            out.append(_text_role(column, says, times.get(column.index)))
        else:
            out.append(_numeric_role(column, says, column.values, zones))
    out = _one_time(_small_t(out), conducts)
    out = _unnamed(out, conducts, zones)
    out = _cold_ones(_rescue_zones(out, conducts), zones)
    if not any(column.role == "zone" for column in out):
        raise UnreadableLog(
            "no column looks like a kiln's temperature.",
            remedy='Name it in the register, for example [kiln.log] columns = {"2" = "zone top"}.',
        )
    return out


def _with(
    column: Column, says: NameSays, role: str, why: str, number: int | None = None, place: str | None = None
) -> Column:
    unit = column.unit or says.unit
    if number is None and place is None and (role in PER_ZONE or role == "?"):
        number, place = says.number, says.place
    return Column(column.index, column.name, unit, column.values, role, number, place, why)


def _text_role(column: Column, says: NameSays, time: str | None) -> Column:
    if time == "half day":
        return _with(column, says, "half day", "AM and PM")
    if time is not None:
        role = {"date": "date", "clock": "clock"}.get(time, "time")
        return _with(column, says, role, f"holds a {time}")
    if says.role in {"message", "programme"}:
        return _with(column, says, says.role, f'named "{says.word}"')
    if says.role in {"stage text", "segment"}:
        return _with(column, says, "stage text", f'named "{says.word}"')
    return _with(column, says, "stage text" if says.role is None else "ignore", "text")


def _numeric_role(column: Column, says: NameSays, values: FloatArray, zones: Sequence[str]) -> Column:
    role = says.role
    if role is None:
        place = _zone_place(column.name, zones)
        if place is None:
            return _with(column, says, "?", "")
        return _with(column, says, "zone", "named like a zone of the register", None, place)
    why = f'named "{says.word}"'
    if role in {"stage text", "message"}:
        role = "segment"
    low, high = _span(values)
    if np.isnan(low):
        return _with(column, says, "ignore" if role == "zone" else role, why + ", but empty")
    if role in {"zone", "average", "set point"} and column.unit is None and says.unit == "%":
        return _with(column, says, "output", "in percent")
    if role == "zone" and _hardly_says_zone(says, low, high):
        return _with(column, says, "?", "")
    written_out = role == "date" and 19_700_101 <= low <= high <= 22_000_101  # 20260302
    if role in _WORDS_FOR_TIME and not written_out and not _runs_on(values):
        return _with(column, says, "?", "")
    doubt = _doubt(role, says.word, values, low, high)
    return _with(column, says, "ignore" if doubt else role, why + doubt)


def _doubt(role: str, word: str, values: FloatArray, low: float, high: float) -> str:
    """Return why a column cannot be what its name says, or nothing."""
    if role == "programme" and low != high:
        return ", but changes within the log"
    if role == "output" and (high > _PERCENT_TOP or low < -5):
        beyond = float(np.mean((values > _PERCENT_TOP) | (values < -5)))
        return f", but reaches {high:g}: no share of full output" if beyond > _FEW else ""
    if role == "segment" and high - low > 200:
        return ", but runs far beyond segment numbers"
    if role == "volts" and word == "v" and high < 30:
        return ", but too low for a supply"
    return ""


def _hardly_says_zone(says: NameSays, low: float, high: float) -> bool:
    """Tell whether a name holds no more than a unit, or one letter that may mean something else."""
    if says.place is not None:
        return False
    if says.word == says.unit:
        return True
    return says.word in _WEAK and (says.number is None or not -100 < low <= high < 3000)


def _zone_place(name: str, zones: Sequence[str]) -> str | None:
    bare = plain(name).strip()
    return next((zone for zone in zones if bare and plain(zone).strip() == bare), None)


def _span(values: FloatArray) -> tuple[float, float]:
    low, high = float(values.min(initial=np.inf)), float(values.max(initial=-np.inf))
    if np.isnan(low):
        x = values[np.isfinite(values)]
        return (float(x.min()), float(x.max())) if x.size else (np.nan, np.nan)
    return low, high


def _runs_on(values: FloatArray) -> bool:
    """Tell whether a numeric column only goes on (but for a few repairs), as a time does."""
    step = np.diff(values)
    ups, downs = int(np.count_nonzero(step > 0)), int(np.count_nonzero(step < 0))
    return step.size == 0 or max(ups, downs) >= 0.5 * step.size >= 10 * min(ups, downs)


def _small_t(columns: list[Column]) -> list[Column]:
    """Take a small ``t`` beside ``T`` or ``T1`` for the time, as physics writes them; where it only goes on."""
    if not any(_LARGE_T.fullmatch(column.name) for column in columns):
        return columns
    return [
        replace(column, role="time", number=None, why='named "t", beside "T"')
        if column.name == "t" and column.role == "?" and column.values is not None and _runs_on(column.values)
        else column
        for column in columns
    ]


def _one_time(columns: list[Column], conducts: dict[int, Behaviour]) -> list[Column]:
    """See that there is a time column: named ones first, else the first column that only goes on."""
    if any(column.role in _WORDS_FOR_TIME for column in columns):
        return columns
    for i, column in enumerate(columns):
        free = column.role in {"?", "zone", "ignore"} and not column.why.startswith("setting")
        if free and column.values is not None and _behaviour(column, conducts).conduct == "clock":
            columns[i] = replace(column, role="time", why="only goes on, as a time does")
            return columns
    raise UnreadableLog(
        "no column holds the time.",
        remedy='Name it in the register, for example [kiln.log] columns = {"1" = "time"}.',
    )


def _behaviour(column: Column, conducts: dict[int, Behaviour]) -> Behaviour:
    assert column.values is not None
    if column.index not in conducts:
        conducts[column.index] = behaviour_of(column.values)
    return conducts[column.index]


def _unnamed(columns: list[Column], conducts: dict[int, Behaviour], zones: Sequence[str]) -> list[Column]:
    """Decide the columns without a telling name by what they do."""
    open_ = [column for column in columns if column.role == "?"]
    if not open_:
        return columns
    out = list(columns)
    hot = [c for c in open_ if _behaviour(c, conducts).conduct in {"temperature", "clock"} and not _is_count(c)]
    hot = [c for c in hot if c.values is not None and not only_falls(c.values)] or hot
    known = [c.values for c in hot if c.values is not None]
    wild = [c for c in open_ if c.values is not None and _behaviour(c, conducts).conduct == "other"]
    hot = sorted([*hot, *(c for c in wild if c.values is not None and follows(c.values, known))], key=lambda c: c.index)
    named = sum(column.role == "zone" for column in columns)
    if len(hot) + named < max(1, len(zones)):  # a kiln that hardly warmed up
        cold = [c for c in _alike_at_start(open_) if c not in hot]
        missing = max(1, len(zones)) + ("set point" not in {c.role for c in columns}) - len(hot) - named
        hot = sorted([*hot, *cold[: max(0, missing)]], key=lambda c: c.index)
    for column, role, why in _temperatures(hot, columns, zones):
        out[column.index] = replace(column, role=role, why=why)
    rest = [column for column in open_ if out[column.index].role == "?"]
    for column, role, why in _others(rest, out, conducts, zones):
        out[column.index] = replace(column, role=role, why=why)
    return out


def _alike_at_start(columns: Sequence[Column]) -> list[Column]:
    """Return the longest run of neighbouring columns that begin alike (and not at 0), as a cold kiln's readings do."""
    best: list[Column] = []
    run: list[Column] = []
    last = (-9, np.nan)
    for column in columns:
        assert column.values is not None
        head = column.values[np.isfinite(column.values)][:5]
        first = float(np.median(head)) if head.size else 0.0
        runs_on = column.index == last[0] + 1 and abs(first - last[1]) <= _START_SPREAD
        run = [] if abs(first) < 1.0 else [*run, column] if runs_on else [column]
        last = (column.index, first)
        best = run if len(run) > len(best) else best
    return best


def _is_count(column: Column) -> bool:
    assert column.values is not None
    step = np.diff(column.values)
    return bool(step.size) and bool((step == step[0]).all())


def _temperatures(
    hot: Sequence[Column], columns: Sequence[Column], zones: Sequence[str]
) -> list[tuple[Column, str, str]]:
    """Tell set points from zones among columns that behave like temperatures."""
    named_zones = sum(column.role == "zone" for column in columns)
    named_points = sum(column.role == "set point" for column in columns)
    wanted = len(zones) - named_zones if zones else None
    ruled: set[int] = set()
    if named_points == 0 and len(hot) > (0 if named_zones else 1) and len(hot) != wanted:
        ruled = {column.index for column in _set_points(hot, _axis(columns), wanted, among_named=named_zones > 0)}
    out = []
    for column in hot:
        if column.index in ruled:
            out.append((column, "set point", "runs in straight lines as a programme does"))
        else:
            out.append((column, "zone", "climbs and cools as a kiln does"))
    return out


def _set_points(
    hot: Sequence[Column], axis: FloatArray | None, wanted: int | None, *, among_named: bool
) -> list[Column]:
    """Return the columns that are set points, where ``wanted`` zones (None if unknown) are fewer than the columns."""
    scores = how_ruled({c.index: c.values for c in hot if c.values is not None}, axis)
    order = sorted(hot, key=lambda c: -scores[c.index])
    if wanted is not None and wanted > 1 and len(hot) == wanted + 1 and not among_named:
        return [max((hot[0], hot[-1]), key=lambda c: scores[c.index])]  # first or last, never among the zones
    if wanted is not None and wanted > 0 and len(hot) in {wanted + 1, 2 * wanted}:
        return order[: len(hot) - wanted]
    best, second = scores[order[0].index], scores[order[1].index] if len(order) > 1 else 0.0
    return order[:1] if best > 0.93 and best - second > 0.02 else []


def _axis(columns: Sequence[Column]) -> FloatArray | None:
    return next((c.values for c in columns if c.role == "time" and c.values is not None), None)


def _others(
    rest: Sequence[Column], columns: Sequence[Column], conducts: dict[int, Behaviour], zones: Sequence[str]
) -> list[tuple[Column, str, str]]:
    """Decide outputs, volts, amps, room and segment among the columns that are no temperatures."""
    out: list[tuple[Column, str, str]] = []
    outputs = sum(column.role == "output" for column in columns)
    n_zones = len(zones) or sum(column.role == "zone" for column in columns) or 1
    have = {column.role for column in columns}
    for alike in _numbered_alike(rest):
        own = [_other_role(_behaviour(c, conducts), outputs < n_zones and "output" not in have, have) for c in alike]
        said = next((c.name for c, (role, _) in zip(alike, own, strict=True) if role == "output"), None)
        for column, (role, why) in zip(alike, own, strict=True):
            # what one of them is all are: a zone that hardly asks for heat has an output that looks like anything
            same = said is not None and len(alike) <= n_zones and _may_be_output(_behaviour(column, conducts))
            found = ("output", f"numbered like {said}") if same and role != "output" else (role, why)
            outputs += found[0] == "output"
            out.append((column, *found))
    return out


def _numbered_alike(columns: Sequence[Column]) -> list[list[Column]]:
    """Put columns together whose names differ by their number alone."""
    groups: dict[str, list[Column]] = {}
    for column in columns:
        numbers = _NUMBER.findall(column.name)
        stem = _NUMBER.sub("#", column.name) if len(numbers) == 1 else f"{column.index} {column.name}"
        groups.setdefault(stem, []).append(column)
    return list(groups.values())


def _may_be_output(seen: Behaviour) -> bool:
    return seen.conduct != "empty" and seen.low >= 0.0 and seen.high <= _PERCENT_TOP


def _other_role(seen: Behaviour, output_open: bool, have: set[str]) -> tuple[str, str]:  # noqa: FBT001
    by_conduct = {
        "empty": ("ignore", "empty"),
        "constant": ("ignore", "always the same"),
        "segment": ("ignore" if "segment" in have else "segment", "small whole numbers in steps"),
        "volts": ("ignore" if "volts" in have else "volts", "steady about a supply's volts"),
        "clock": ("ignore", "only counts on"),
        "other": ("ignore", "behaves like nothing known"),
        "temperature": ("ignore", "behaves like a temperature"),
    }
    if seen.conduct in by_conduct:
        return by_conduct[seen.conduct]
    if seen.conduct == "on-off":
        if output_open and seen.high in {1.0, 100.0}:
            return "output", "switches between two values"
        return ("amps" if "amps" not in have and seen.high < 400 else "ignore"), "switches between two values"
    if seen.zero_share == 0.0 and seen.high - seen.low < 60 and seen.high < 130 and seen.low > -20:
        return ("ignore" if "room" in have else "room"), "keeps to what a room may have"
    if output_open and seen.low >= 0 and (seen.high <= 1.005 or (seen.high <= 100.5 and _output_like(seen))):
        return "output", "bounded as an output is"
    if "amps" not in have and seen.low >= -1:
        return "amps", "from zero up, no bound at full output"
    return "ignore", "behaves like nothing known"


def _output_like(seen: Behaviour) -> bool:
    return seen.integers or seen.high >= 99.5


def _rescue_zones(columns: list[Column], conducts: dict[int, Behaviour]) -> list[Column]:
    """Without a zone, an average (or a set point's twin) has to do: better one temperature than none."""
    if any(column.role == "zone" for column in columns):
        return columns
    for i, column in enumerate(columns):
        if column.role == "average" and column.values is not None:
            columns[i] = replace(column, role="zone", why="the only temperature logged is an average")
            return columns
    for i, column in enumerate(columns):
        free = column.role == "ignore" and not column.why.startswith("setting")
        if free and column.values is not None and _behaviour(column, conducts).conduct == "temperature":
            columns[i] = replace(column, role="zone", why="the only column that climbs as a kiln does")
            return columns
    return columns


def _cold_ones(columns: list[Column], zones: Sequence[str]) -> list[Column]:
    """Take a temperature too many that stays as a room is while the kiln is fired for the room's.

    Too many for the register's zones, or, without those, one beside numbered others; and without a number, a place or a
    zone's name of its own: a dead thermocouple may read as cold as the room, and that is worth a message.
    """
    found = [column for column in columns if column.role == "zone" and column.values is not None]
    hottest = max((_span(c.values)[1] for c in found if c.values is not None), default=0.0)
    if len(found) < 2 or (zones and len(found) <= len(zones)) or not hottest > _FIRED:
        return columns
    numbered = sum(column.number is not None for column in found)
    for column in found:
        assert column.values is not None
        low, high = _span(column.values)
        named = column.number is not None or column.place is not None or column.why.startswith("setting")
        beside = bool(zones) or numbered == len(found) - 1
        if beside and not named and high < _COLD * hottest and _ROOM[0] < low < high < _ROOM[1]:
            taken = any(other.role == "room" for other in columns)
            role = "ignore" if taken else "room"
            columns[column.index] = replace(column, role=role, why="stays as a room is while the kiln is fired")
    return columns

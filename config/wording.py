"""The wording of causes, cautions and measurements, read from data files a studio can edit or translate.

The files that ship with Coilwatch lie in ``config/wording``: one in ``causes/`` for each cause, one for the general
cautions, one for measuring, tools and the trade's notes. A studio may name a folder of its own: a file there with
the same name replaces, key by key, what it wants otherwise. Whatever it leaves out keeps the shipped sentence.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal, get_args

from config.settings_place import SettingsError

CauseName = Literal[
    "element_ageing",
    "open_element",
    "open_circuit",
    "lost_phase",
    "loose_connection",
    "welded_contact",
    "low_supply",
    "thermocouple_drift",
    "thermocouple_fault",
    "heat_leak",
    "heavy_load",
    "programme_change",
    "aborted_firing",
    "incomplete_log",
]
After = Literal["verification", "compare", "none"]
SHIPPED = Path(__file__).parent / "wording"
CIRCUIT_PLACE = "in circuit "  # how a finding's circuit is told as a place
LONGEST_FILE = 64 * 1024


class WordingError(SettingsError):
    """A wording file that cannot be used; the message names file, field and remedy."""


@dataclass(frozen=True, slots=True)
class CauseWording:
    """What is said of one cause. Sentences may hold ``{c:1222}``/``{dc:60}``; ``headline`` holds ``{where}``.

    ``headline_circuit``, where there is one, is the headline for one known circuit and holds ``{name}``.
    ``first_look`` is what to look at first, ``deciding`` the reading that tells the cause from its rivals.
    ``parts`` are what the trade brings beside the counted parts. ``after`` says how the repair is proved: by a
    verification firing, by comparing the next ordinary firing, or not at all.
    """

    title: str
    short: str
    headline: str
    what: str
    what_not: str
    consequence: str
    first_look: str
    deciding: str
    evidence_wanted: tuple[str, ...]
    inspection: tuple[str, ...]
    cautions: tuple[str, ...]
    parts: tuple[str, ...]
    after: After
    headline_circuit: str = ""

    def headline_at(self, where: str) -> str:
        """Return the headline for a place such as ``in zone top`` or ``in circuit 2`` (may be empty)."""
        if self.headline_circuit and where.startswith(CIRCUIT_PLACE):
            return self.headline_circuit.replace("{name}", where.removeprefix(CIRCUIT_PLACE))
        return " ".join(self.headline.replace("{where}", where).split()).replace(" :", ":")


@dataclass(frozen=True, slots=True)
class Caution:
    """One step of the general cautions: a short head and its sentence."""

    key: str
    head: str
    text: str


@dataclass(frozen=True, slots=True)
class Cautions:
    """The general cautions shown with every inspection; ``short`` is the one line for a phone."""

    short: str
    heading: str
    steps: tuple[Caution, ...]
    off_is_not_dead: str
    no_safety_device: str
    sources: str


@dataclass(frozen=True, slots=True)
class Method:
    """How one kind of reading is taken and how far it may be off."""

    how: str
    tolerance: str


@dataclass(frozen=True, slots=True)
class Notes:
    """A heading with its list."""

    heading: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Measuring:
    """Instructions for readings, tools, and the trade's notes (marked with ``practice_mark``)."""

    practice_mark: str
    methods: Mapping[str, Method]
    tools: Notes
    coils_out: Notes
    comparison: Notes
    reconnecting: Notes
    verification: Notes
    verification_source: str


@dataclass(frozen=True, slots=True)
class Wording:
    """All of it."""

    causes: Mapping[str, CauseWording]
    cautions: Cautions
    measuring: Measuring


def load(folder: Path | None = None) -> Wording:
    """Read the shipped wording, with the studio's own files in ``folder`` laid over it.

    Raises
    ------
    WordingError
        If a file is not TOML, has a key that does not exist, or a value of the wrong kind.
    """
    if folder is not None and not folder.is_dir():
        raise WordingError(f"{folder}: no such folder. Set folders.wording to a folder, or remove the setting.")
    causes: dict[str, CauseWording] = {}
    for name in cause_names():
        causes[name] = _cause(_merged(f"causes/{name}.toml", folder), f"causes/{name}.toml")
    cautions = _merged("cautions.toml", folder)
    measuring = _merged("measuring.toml", folder)
    return Wording(causes, _cautions(cautions), _measuring(measuring))


def cause_names() -> tuple[CauseName, ...]:
    """Return the names of all causes, in the order they are listed everywhere."""
    return get_args(CauseName)


def _read(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > LONGEST_FILE:
            raise WordingError(f"{path}: larger than {LONGEST_FILE // 1024} KiB. Wording files are a page of text.")
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except tomllib.TOMLDecodeError as fault:
        raise WordingError(f"{path}: not TOML: {fault}. Check quotes and brackets there.") from None
    except UnicodeDecodeError:
        raise WordingError(f"{path}: not UTF-8. Save the file as UTF-8.") from None


def _merged(name: str, folder: Path | None) -> dict[str, Any]:
    shipped = _read(SHIPPED / name)
    own = None if folder is None else folder / name
    return shipped if own is None or not own.is_file() else _laid_over(shipped, _read(own), str(own))


def _laid_over(base: dict[str, Any], over: dict[str, Any], where: str) -> dict[str, Any]:
    laid = dict(base)
    for key, value in over.items():
        if key not in base:
            raise WordingError(f"{where}: there is no key {key!r}. Known here: {', '.join(sorted(base))}.")
        if isinstance(base[key], dict) and isinstance(value, dict):
            laid[key] = _laid_over(base[key], value, f"{where}: [{key}]")
        elif type(value) is not type(base[key]):
            wanted = "a list" if isinstance(base[key], list) else "a sentence in quotes"
            raise WordingError(f"{where}: {key} must be {wanted}.")
        else:
            laid[key] = value
    return laid


def _sentences(raw: Mapping[str, Any], key: str, where: str) -> tuple[str, ...]:
    listed = raw[key]
    if not all(isinstance(entry, str) for entry in listed):
        raise WordingError(f"{where}: {key} must be a list of sentences in quotes.")
    return tuple(listed)


def _cause(raw: Mapping[str, Any], where: str) -> CauseWording:
    after: str = raw["after"]
    if after not in get_args(After):
        raise WordingError(f"{where}: after must be one of {', '.join(get_args(After))}, not {after!r}.")
    lists = ("evidence_wanted", "inspection", "cautions", "parts")
    values: dict[str, Any] = {
        field.name: _sentences(raw, field.name, where) if field.name in lists else raw[field.name]
        for field in fields(CauseWording)
        if field.name in raw
    }
    return CauseWording(**values)


def _cautions(raw: Mapping[str, Any]) -> Cautions:
    steps = tuple(_caution(step) for step in raw["steps"])
    plain = {key: str(raw[key]) for key in ("short", "heading", "off_is_not_dead", "no_safety_device", "sources")}
    return Cautions(steps=steps, **plain)


def _caution(raw: object) -> Caution:
    keys = ("key", "head", "text")
    if not isinstance(raw, dict) or set(raw) != set(keys):
        raise WordingError("cautions.toml: each of steps needs key, head and text.")
    return Caution(*(str(raw[key]) for key in keys))


def _measuring(raw: Mapping[str, Any]) -> Measuring:
    methods = {kind: Method(raw[kind]["how"], raw[kind]["tolerance"]) for kind in ("ohm", "amp", "volt")}

    def notes(key: str) -> Notes:
        return Notes(str(raw[key]["heading"]), _sentences(raw[key], "items", f"measuring.toml: [{key}]"))

    return Measuring(
        practice_mark=raw["practice_mark"],
        methods=methods,
        tools=notes("tools"),
        coils_out=notes("coils_out"),
        comparison=notes("comparison"),
        reconnecting=notes("reconnecting"),
        verification=notes("verification"),
        verification_source=raw["verification"]["source"],
    )

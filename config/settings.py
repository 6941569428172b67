"""Settings: read ``coilwatch.toml``, the environment and the secrets folder into plain, typed values.

The environment (``COILWATCH_``, tables joined by ``__``) wins over the secrets folder, which wins over the file.
"""

import difflib
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict
from pydantic_settings import SettingsError as SourceError

from config.alerts import AlertSettings
from config.kiln import Circuit, Kiln, LogHints
from config.settings_form import FoldersForm, KilnForm, Service, Studio
from config.settings_place import SettingsError, did_you_mean, line_of, message, places

__all__ = ["AlertSettings", "Folders", "Service", "Settings", "SettingsError", "Studio", "find", "load"]

PREFIX = "COILWATCH_"
NAMED_BY = "COILWATCH_SETTINGS"
USUAL_NAME = "coilwatch.toml"
_AT_LINE = re.compile(r" \(at line (\d+), column (\d+)\)$")


@dataclass(frozen=True, slots=True)
class Folders:
    """Where things are: absolute paths. ``data`` holds everything Coilwatch itself writes."""

    drop: Path
    data: Path
    secrets: Path
    wording: Path | None = None

    @property
    def database(self) -> Path:
        """The database file."""
        return self.data / "coilwatch.db"

    @property
    def reports(self) -> Path:
        """The folder of reports and visit sheets."""
        return self.data / "reports"

    @property
    def backups(self) -> Path:
        """The folder of dated back-ups of the database."""
        return self.data / "backups"

    @property
    def kept(self) -> Path:
        """The folder of packed copies of the logs taken in, named by their content."""
        return self.data / "kept"

    @property
    def service_log(self) -> Path:
        """The service's own log file."""
        return self.data / "service.log"


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a person may set, checked. ``file`` is the settings file they came from."""

    file: Path
    studio: Studio
    folders: Folders
    alerts: AlertSettings
    service: Service
    kilns: tuple[Kiln, ...]

    def kiln(self, kiln_id: str) -> Kiln:
        """Return the kiln with this id; KeyError with the known ids if there is none."""
        for kiln in self.kilns:
            if kiln.id == kiln_id:
                return kiln
        known = ", ".join(kiln.id for kiln in self.kilns) or "none"
        raise KeyError(f"no kiln {kiln_id!r} in the register (known: {known})")

    def secrets(self) -> tuple[str, ...]:
        """Return every secret value, for the filter that keeps them out of logs."""
        values = [address.get_secret_value() for address in self.alerts.targets.values()]
        if self.service.heartbeat_url is not None:
            values.append(self.service.heartbeat_url.get_secret_value())
        return tuple(value for value in values if value)


class SettingsFile(BaseSettings):
    """The whole of ``coilwatch.toml`` as it is written."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX,
        env_nested_delimiter="__",
        extra="forbid",
        frozen=True,
        hide_input_in_errors=True,
    )
    studio: Studio = Field(default_factory=Studio, description="the studio")
    folders: FoldersForm = Field(default_factory=FoldersForm, description="the folders")
    alerts: AlertSettings = Field(default_factory=AlertSettings, description="who is told what")
    service: Service = Field(default_factory=Service, description="the service itself")
    kiln: tuple[KilnForm, ...] = Field((), description="the kiln register")

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],  # noqa: ARG003 - the library passes it
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - the library passes it
        file_secret_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - the library passes it
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Let the environment win over what ``load`` hands in (the file, with the secrets folder laid over it)."""
        return env_settings, init_settings


def find(path: Path | None = None) -> Path:
    """Return the settings file meant: ``path``, else $COILWATCH_SETTINGS, else ./coilwatch.toml."""
    return Path(path or os.environ.get(NAMED_BY) or USUAL_NAME).absolute()


def load(path: Path | None = None) -> Settings:
    """Read and check the settings.

    Raises ``SettingsError`` with one message that names file, line, field and remedy. A byte order mark is
    tolerated. Values, which may be secret, are never part of the message.
    """
    file = find(path)
    text, data = _read(file)
    _refuse_unknown_environment(file)
    folders_table = data.get("folders")
    named = folders_table.get("secrets") if isinstance(folders_table, dict) else None
    secrets = file.parent / (named if isinstance(named, str) and named else "secrets")
    merged = _merge(data, _from_secrets(secrets))
    if credentials := os.environ.get("CREDENTIALS_DIRECTORY"):
        merged = _merge(merged, _from_secrets(Path(credentials)))
    try:
        form = SettingsFile(**merged)
    except ValidationError as error:
        raise SettingsError(message(file, text, data, SettingsFile, error.errors(include_input=False))) from None
    except SourceError as error:
        field = re.search(r'field "([^"]*)"', str(error))
        name = PREFIX + (field[1].upper() if field else "...")
        raise SettingsError(
            f"the environment: {name} cannot be read. Lists and tables there are written as JSON."
        ) from None
    _refuse_doubles(file, form)
    return Settings(
        file=file,
        studio=form.studio,
        folders=_folders(file, text, form.folders, secrets),
        alerts=form.alerts,
        service=form.service,
        kilns=tuple(
            _kiln(kiln, form.studio if "time_zone" in form.studio.model_fields_set else None) for kiln in form.kiln
        ),
    )


def _folders(file: Path, text: str, form: FoldersForm, secrets: Path) -> Folders:
    drop, data = (_place(file, folder) for folder in (form.drop, form.data))
    if drop.resolve() == data.resolve():
        line = line_of(("folders", "data"), places(text)) or 1
        raise SettingsError(
            f"{file}:{line}: folders, data: is the drop folder itself. Give Coilwatch a folder of its own."
        )
    wording = None if form.wording is None else _place(file, form.wording).absolute()
    return Folders(drop=drop.absolute(), data=data.absolute(), secrets=secrets, wording=wording)


def _place(file: Path, folder: str) -> Path:
    try:
        return file.parent / Path(folder).expanduser()
    except RuntimeError:
        raise SettingsError(f"{file}: folders: {folder}: there is no such home folder. Write the whole path.") from None


def _read(file: Path) -> tuple[str, dict[str, Any]]:
    try:
        raw = file.read_bytes()
    except FileNotFoundError:
        raise SettingsError(
            f"{file}: there is no such settings file. Write one with `coilwatch setup`, or name it with --settings."
        ) from None
    except OSError as error:
        raise SettingsError(f"{file}: cannot be read ({error.strerror}). Check that it is a readable file.") from None
    try:
        text = _decoded(raw)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise SettingsError(f"{file}:{line}: the text is not UTF-8. Save the file as UTF-8 in your editor.") from None
    try:
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        at = _AT_LINE.search(said)
        line = int(at[1]) if at else text.count("\n") + 1
        what = _AT_LINE.sub("", said).removesuffix(" (at end of document)")
        rule = "Text stands in quotes, numbers with a point, true and false in lower case."
        if "\\" in "".join(text.splitlines()[line - 1 : line]):
            rule = "A path with \\ stands in single quotes, or is written with / instead."
        raise SettingsError(f"{file}:{line}: this is not TOML: {what}. {rule}") from None


def _refuse_unknown_environment(file: Path) -> None:
    """A mistyped variable would otherwise be overlooked in silence."""
    known = [f"{PREFIX}{name.upper()}" for name in SettingsFile.model_fields]
    for variable in sorted(os.environ):
        head = variable.upper().split("__")[0]
        if head.startswith(PREFIX) and head not in known and head != NAMED_BY:
            near = difflib.get_close_matches(head, known, n=1)
            hint = f" Did you mean {near[0]}?" if near else f" Known: {', '.join(known)}."
            raise SettingsError(f"{file} or the environment: {variable}: there is no such setting.{hint}")


def _decoded(raw: bytes) -> str:
    """Return the text of a file an editor wrote, with or without byte order mark."""
    return raw.decode("utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")


def _from_secrets(folder: Path) -> dict[str, Any]:
    """Return the secrets folder as nested tables: the file ``alerts__targets__phone`` holds one value.

    An editor that puts ``.txt`` behind every name, or writes UTF-16, is no obstacle.
    """
    tables: dict[str, Any] = {}
    try:
        files = sorted(entry for entry in folder.iterdir() if entry.is_file() and "__" in entry.name)
    except OSError:
        return tables  # a secrets folder is not required
    for entry in files:
        path = entry.name.removeprefix(PREFIX).lower().removesuffix(".txt").split("__")
        if path[0] not in SettingsFile.model_fields:
            raise SettingsError(f"{entry}: there is no such setting. {did_you_mean(SettingsFile, (path[0],))}")
        try:
            value = _decoded(entry.read_bytes()).strip()
        except (OSError, UnicodeDecodeError):
            raise SettingsError(f"{entry}: this secret cannot be read. It should be a small UTF-8 text file.") from None
        here = tables
        for part in path[:-1]:
            here = here.setdefault(part, {})
        here[path[-1]] = value
    return tables


def _merge(under: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Lay one set of tables over another; a value in ``over`` wins."""
    merged = dict(under)
    for key, value in over.items():
        below = merged.get(key)
        merged[key] = _merge(below, value) if isinstance(below, Mapping) and isinstance(value, Mapping) else value
    return merged


def _refuse_doubles(file: Path, form: SettingsFile) -> None:
    seen: dict[str, str] = {}
    for kiln in form.kiln:
        if kiln.id.casefold() in seen:
            raise SettingsError(f'{file}: kiln "{kiln.id}", id: two kilns have this id. Give each its own.')
        seen[kiln.id.casefold()] = kiln.id


def _kiln(form: KilnForm, studio: Studio | None) -> Kiln:
    values = form.model_dump(exclude={"log", "circuit", "time_zone"})
    circuits = tuple(
        Circuit(
            name=circuit.name,
            zone=circuit.zone,
            elements=circuit.elements,
            wiring=circuit.wiring,
            element_ohm=circuit.element_ohm * circuit.elements
            if len(circuit.element_ohm) == 1
            else circuit.element_ohm,
            line=circuit.line,
        )
        for circuit in form.circuit
    )
    return Kiln(
        **values,
        time_zone=form.time_zone or (studio.time_zone if studio is not None else None),
        log=LogHints(**form.log.model_dump()),
        circuits=circuits,
    )

"""The text of a new, commented ``coilwatch.toml``, and the questions that fill it in."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

SUPPLIES = ("single-phase", "three-phase delta", "three-phase wye", "three-phase wye with neutral")


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person told about the studio and its first kiln; only what is known is written as set."""

    studio: str = ""
    time_zone: str = "UTC"
    unit: Literal["C", "F"] = "C"
    energy_price: float | None = None
    drop: str = "drop"
    data: str = "data"
    kilns: tuple[str, ...] = ()
    volts: float | None = None
    rated_kw: float | None = None
    supply: str | None = None
    zones: tuple[str, ...] = ()
    log_unit: Literal["C", "F"] | None = None


def computers_zone() -> str:
    """Return this computer's time zone, UTC if it has no usable name."""
    from zoneinfo import ZoneInfo

    try:
        import tzlocal

        name = tzlocal.get_localzone_name()
        ZoneInfo(name)
    except Exception:  # noqa: BLE001 - whatever is wrong with the computer's own setting
        return "UTC"
    return str(name)


def ask(known: Answers, answer: Callable[[str], str]) -> Answers:
    """Ask for what matters; an empty answer keeps what is in brackets."""

    def text(question: str, now: str) -> str:
        return answer(f"{question} [{now}]: ").strip() or now

    def number(question: str, now: float | None) -> float | None:
        while True:
            said = answer(f"{question} [{'unknown' if now is None else f'{now:g}'}]: ").strip().replace(",", ".")
            if not said:
                return now
            try:
                return float(said)
            except ValueError:
                print("  a number, please, or nothing")

    def choice(question: str, now: str, allowed: tuple[str, ...]) -> str:
        while (said := text(f"{question} ({', '.join(allowed)})", now)) not in (*allowed, now):
            print(f"  one of: {', '.join(allowed)}")
        return said

    studio = text("The studio's name", known.studio or "none")
    time_zone = text("Time zone of the studio and its logs", known.time_zone)
    unit = choice("Temperatures people here read in", known.unit, ("C", "F"))
    price = number("Price of one kWh; messages then say what waiting costs", known.energy_price)
    drop = text("The folder that is watched for logs", known.drop)
    kilns = text("Kilns: a short id for each, commas between", ", ".join(known.kilns) or "kiln-1")
    first = next((kiln.strip() for kiln in kilns.split(",") if kiln.strip()), "the kiln")
    volts = number(f"Volts on the nameplate of {first}", known.volts)
    rated_kw = number(f"Kilowatts on the nameplate of {first}", known.rated_kw)
    supply = choice(f"Supply of {first}", known.supply or "unknown", SUPPLIES)
    zones = text("Its zones in the order of the log's columns, commas between", ", ".join(known.zones) or "one zone")
    log_unit = choice("Temperatures in its logs are in", known.log_unit or "unknown", ("C", "F"))
    return replace(
        known,
        studio=studio,
        time_zone=time_zone,
        unit="F" if unit == "F" else "C",
        energy_price=price,
        drop=drop,
        kilns=tuple(kiln.strip() for kiln in kilns.split(",") if kiln.strip()),
        volts=volts,
        rated_kw=rated_kw,
        supply=None if supply == "unknown" else supply,
        zones=() if zones == "one zone" else tuple(zone.strip() for zone in zones.split(",") if zone.strip()),
        log_unit="C" if log_unit == "C" else "F" if log_unit == "F" else None,
    )


def settings_text(answers: Answers) -> str:
    """Return the settings file. What is not known stands as a comment, ready to be filled in."""
    studio = "" if answers.studio == "none" else answers.studio
    lines = [
        "# Settings of Coilwatch. Text stands in quotes; what begins with # is not read.",
        "",
        "[studio]",
        f"name = {_quoted(studio)}",
        f"time_zone = {_quoted(answers.time_zone)}",
        f"temperature_unit = {_quoted(answers.unit)}          # the unit of messages and reports",
        _line("energy_price", answers.energy_price, "0.34", "per kWh; messages then say what waiting costs"),
        "",
        "[folders]                       # relative paths count from this file",
        f"drop = {_quoted(answers.drop)}                   # watched, with all sub-folders; nothing in it is changed",
        f"data = {_quoted(answers.data)}                   # database, reports, back-ups; keep it on a local disk",
        "",
        "[alerts]",
        "# quiet_from = 22:00:00         # warnings wait; urgent alerts are always sent",
        "# quiet_to = 07:00:00",
        '# digest_day = "monday"         # or "never"',
        "# Notification addresses are secrets: write each into a small file of its own,",
        "#   secrets/alerts__targets__phone     (one line, for example ntfy://your-own-topic)",
        "# or set COILWATCH_ALERTS__TARGETS__PHONE. Then try: coilwatch check --send",
        "",
        "[service]",
        "# settle_s = 10                 # a file must be unchanged for so long before it is read",
        '# watch = "scan"                # for a network share that reports no changes',
        "",
    ]
    for number, kiln in enumerate(answers.kilns or ("kiln-1",)):
        lines += _kiln(kiln, answers if number == 0 else _nothing_else(answers))
    return "\n".join(lines)


def _nothing_else(answers: Answers) -> Answers:
    """The nameplate asked for is the first kiln's only."""
    return replace(answers, volts=None, rated_kw=None, supply=None, zones=(), log_unit=None)


def _kiln(kiln: str, answers: Answers) -> list[str]:
    zones = f"[{', '.join(_quoted(zone) for zone in answers.zones)}]" if answers.zones else None
    return [
        "[[kiln]]",
        _line("id", _quoted(kiln), "", "its logs lie in the sub-folder of this name ..."),
        _line("patterns", None, f"[{_quoted(kiln + '-*.csv')}]", "... or fit one of these"),
        '# name = ""                     # as people call it',
        '# model = ""                    # model and serial from the nameplate, for ordering parts',
        '# serial = ""',
        _line("volts", answers.volts, "240.0", "nameplate"),
        _line("supply", answers.supply and _quoted(answers.supply), '"single-phase"', f"or {', '.join(SUPPLIES[1:])}"),
        _line("rated_kw", answers.rated_kw, "9.6", "nameplate"),
        "# volume_l = 185",
        "# max_temp_c = 1290             # you are warned above it, in deg C",
        '# thermocouple = "K"',
        _line("zones", zones, '["top", "middle", "bottom"]', "in the order of the log's columns"),
        "# element_price = 45.0",
        "[kiln.log]                      # only what a log cannot tell by itself",
        _line("temperature_unit", answers.log_unit and _quoted(answers.log_unit), '"C"', '"C" or "F"'),
        "# One block for each switched circuit gives the readings to expect on a visit:",
        "# [[kiln.circuit]]",
        '# name = "top"',
        '# zone = "top"',
        "# elements = 2",
        '# wiring = "parallel"           # or "series"',
        "# element_ohm = 27.4            # one element, new and cold; or a list",
        '# line = "L1-L2"                # three-phase only',
        "",
    ]


def _line(key: str, value: object, example: str, comment: str) -> str:
    said = f"{key} = {value}" if value is not None else f"# {key} = {example}"
    return f"{said:<31} # {comment}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)

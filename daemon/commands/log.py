"""``coilwatch log``: write into a kiln's logbook what was replaced, repaired, measured or noted."""

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from config.logbook import OPEN_OHM, LogbookEntry, Part, Quantity, What

if TYPE_CHECKING:
    from sqlite_utils import Database

    from config.kiln import Kiln
    from config.settings import Settings

EXAMPLES = """examples:
  coilwatch log juniper replaced elements --note "full set"
  coilwatch log juniper replaced relay --zone top --at 2026-04-06
  coilwatch log juniper measured 13.9 ohm --where "circuit top"
  coilwatch log juniper measured open --where "circuit top"     the meter showed no reading
  coilwatch log juniper note "lid hinge is loose"
  coilwatch log juniper undo 3f9a1c22be       takes an entry back (by another entry; nothing is erased)
  coilwatch log juniper list
  coilwatch log juniper read logbook.jsonl    takes in a whole file of entries
With something left out it asks, at a terminal; in a script it says what is missing."""
WHATS: tuple[str, ...] = (*get_args(What), "undo", "list", "read")
ASK_AT_MOST = 3
SLACK = timedelta(days=1)  # a day has begun somewhere else already, or the clock is a little off
OPEN_WORDS = frozenset({"open", "ol", "o.l", "o.l.", "o/l"})  # as a person or a meter says it
Ask = Callable[[str], str]


class Unanswered(Exception):  # noqa: N818 - named for what it says
    """Something needed was not given and cannot be asked for."""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    parser = subparsers.add_parser(
        "log",
        help="write a repair, a reading or a note into a kiln's logbook",
        description="Writes into a kiln's logbook. Repairs begin a new baseline; readings make the causes surer.",
        epilog=EXAMPLES,
    )
    parser.add_argument("kiln", metavar="KILN", help="the kiln's id")
    parser.add_argument("what", metavar="WHAT", nargs="?", choices=WHATS, help=", ".join(WHATS))
    parser.add_argument("words", metavar="...", nargs="*", help="the part; or value and ohm, amp or volt; or the note")
    parser.add_argument("--part", choices=get_args(Part), help="what was replaced or repaired")
    parser.add_argument("--zone", help="the zone it belongs to")
    parser.add_argument("--circuit", help="the circuit it belongs to")
    parser.add_argument("--quantity", choices=get_args(Quantity), help="what was measured")
    parser.add_argument("--value", type=float, help="the reading")
    parser.add_argument("--where", help='where it was measured, such as "circuit top" or "L1-L2"')
    parser.add_argument("--note", default="", help="a remark")
    parser.add_argument("--at", help="when, as 2026-04-06 or 2026-04-06T14:30 (default: now)")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Write, list, take back or take in entries."""
    from config.settings import load
    from daemon.commands.errors import CommandError
    from daemon.logbook import LogbookError
    from daemon.store.database import open_store

    settings = load(args.settings)
    try:
        kiln = settings.kiln(args.kiln)
        with closing(open_store(settings.folders.database)) as db:
            return _do(args, settings, kiln, db)
    except KeyError as fault:
        raise CommandError(str(fault.args[0])) from None
    except (LogbookError, Unanswered) as fault:
        raise CommandError(str(fault)) from None
    except (EOFError, KeyboardInterrupt):
        raise CommandError("Nothing was written.") from None


def _do(args: argparse.Namespace, settings: "Settings", kiln: "Kiln", db: "Database") -> int:
    ask = input if sys.stdin.isatty() and sys.stdout.isatty() else None
    what = args.what or _answer(ask, f"What was done to {kiln.title}?", WHATS[:4], "WHAT")
    if what == "list":
        return _list(args, settings, kiln, db)
    if what == "read":
        return _read(args, settings, kiln, db)
    entry = _undo(args, kiln, db) if what == "undo" else _entry(args, kiln, what, ask)
    return _write(args, settings, kiln, db, [entry])


def _entry(args: argparse.Namespace, kiln: "Kiln", what: str, ask: Ask | None) -> LogbookEntry:
    """Return the entry that the words, the flags and, at a terminal, the answers make."""
    from daemon import clock
    from daemon.logbook import LogbookError, checked, when

    known = _from_words(args, what)
    if what in ("replaced", "repaired"):
        known["part"] = known["part"] or _answer(ask, f"What was {what}?", get_args(Part), "--part")
        if ask and kiln.zones and known["zone"] is None and known["circuit"] is None and known["part"] != "elements":
            known["zone"] = _answer(ask, "In which zone? (empty: the whole kiln)", kiln.zones, "--zone", optional=True)
    elif what == "measured":
        known["quantity"] = known["quantity"] or _answer(ask, "What was measured?", get_args(Quantity), "--quantity")
        if known["value"] is None:
            said = _answer(ask, "What did it read? (a number, or: open)", (), "--value")
            known["value"] = OPEN_OHM if said.casefold() in OPEN_WORDS else _number(said)
        places = [f"circuit {circuit.name}" for circuit in kiln.circuits]
        if known["circuit"] and not known["where"]:
            known["where"] = f"circuit {known['circuit']}"
        known["where"] = known["where"] or _answer(ask, "Where?", places, "--where", free=True)
    elif not known["note"]:
        known["note"] = _answer(ask, "The note:", (), "the note's text")
    now = clock.now().replace(microsecond=0)
    at = when(args.at, kiln.time_zone) if args.at else now
    if at > now + SLACK:
        raise LogbookError(f"at: {args.at} lies in the future. Write the day it was done; leave --at out for now.")
    return checked(LogbookEntry(kiln=kiln.id, at=at, what=what, **known), kiln)  # type: ignore[arg-type]  # checked by argparse's choices


def _from_words(args: argparse.Namespace, what: str) -> dict[str, Any]:
    from daemon.logbook import LogbookError

    known: dict[str, Any] = {
        name: getattr(args, name) for name in ("part", "zone", "circuit", "quantity", "value", "where", "note")
    }
    words: list[str] = list(args.words)
    if what == "note":
        known["note"] = " ".join([*words, known["note"]]).strip()
        return known
    for word in words:
        if what in ("replaced", "repaired") and word in get_args(Part):
            if known["part"] not in (None, word):
                raise LogbookError(f"{known['part']} and {word}: write one entry for each part.")
            known["part"] = word
        elif what == "measured" and word in get_args(Quantity):
            known["quantity"] = word
        elif what == "measured" and word.casefold() in OPEN_WORDS:
            known["value"], known["quantity"] = OPEN_OHM, "ohm"
        elif what == "measured" and known["value"] is None:
            known["value"] = _number(word)
        else:
            hint = f"Parts: {', '.join(get_args(Part))}." if what != "measured" else "Say it as: measured 13.9 ohm."
            raise LogbookError(f"{word!r} is not understood here. {hint}")
    return known


def _number(text: str) -> float:
    from daemon.logbook import LogbookError

    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise LogbookError(f"{text!r} is no number. Write the reading as 13.9, without its unit.") from None


def _answer(
    ask: Ask | None, question: str, choices: Sequence[str], flag: str, *, optional: bool = False, free: bool = False
) -> str:
    """Ask until the answer is one of ``choices`` (any text if there are none, or if ``free``)."""
    if ask is None:
        said = f" ({', '.join(choices)})" if choices else ""
        raise Unanswered(f"Missing: {flag}{said}. Give it on the command line, or run this at a terminal.")
    listed = "".join(f"\n  {number}  {choice}" for number, choice in enumerate(choices, 1))
    for _ in range(ASK_AT_MOST):
        answer = ask(f"{question}{listed}\n> ").strip()
        if answer.isdigit() and 1 <= int(answer) <= len(choices):
            return choices[int(answer) - 1]
        if answer in choices or (answer and (free or not choices)) or (optional and not answer):
            return answer
        print(f"Please answer with one of: {', '.join(choices)}." if choices else "Please answer.")
    raise Unanswered(f"{flag} was not answered. Nothing was written.")


def _undo(args: argparse.Namespace, kiln: "Kiln", db: "Database") -> LogbookEntry:
    """Return the entry that takes another back."""
    from daemon import clock
    from daemon.logbook import LogbookError, standing
    from daemon.store import logbook

    counting = standing(logbook.of_kiln(db, kiln.id))
    wanted = args.words[0] if args.words else ""
    found = next((entry for entry in counting if entry.id == wanted), None)
    if found is None:
        listed = ", ".join(entry.id for entry in counting[-5:]) or "none"
        raise LogbookError(f"{kiln.id}: no standing entry {wanted!r}. The newest: {listed}. See `log {kiln.id} list`.")
    return LogbookEntry(
        kiln=kiln.id,
        at=clock.now().replace(microsecond=0),
        what="note",
        note=" ".join([f"takes back {found.id}", *args.words[1:], args.note]).strip(),
        withdraws=found.id,
    )


def _read(args: argparse.Namespace, settings: "Settings", kiln: "Kiln", db: "Database") -> int:
    from daemon.logbook import LogbookError, read_logbook

    if len(args.words) != 1:
        raise LogbookError(f"Name one file: coilwatch log {kiln.id} read logbook.jsonl")
    entries = [e for e in read_logbook(Path(args.words[0]), settings.kilns) if e.kiln == kiln.id]
    return _write(args, settings, kiln, db, entries)


def _write(
    args: argparse.Namespace, settings: "Settings", kiln: "Kiln", db: "Database", entries: Sequence[LogbookEntry]
) -> int:
    from daemon.logbook import content_id
    from daemon.store import logbook
    from daemon.store.database import write_tx

    named = [entry if entry.id else replace(entry, id=content_id(entry)) for entry in entries]
    with write_tx(db):
        before = {entry.id for entry in logbook.of_kiln(db, kiln.id)}
        for entry in named:
            logbook.add(db, entry)
    fresh = [entry for entry in named if entry.id not in before]
    if args.json:
        print(json.dumps([_as_json(entry) for entry in fresh], ensure_ascii=False))
        return 0
    from daemon.report import shown

    for entry in fresh:
        print(f"{entry.id}  {shown.day(entry.at, _zone(settings, kiln))}  {shown.plain(shown.entry(entry))}")
        for line in _at_once(settings, kiln, db, entry):
            print(f"            {line}")
    if not fresh:
        print("Nothing new: these entries were in the logbook already.")
    elif any(entry.what in ("replaced", "repaired") for entry in fresh):
        print("The next firings are judged against it. Pages and alerts follow with the service, or `start --once`.")
    return 0


def _at_once(settings: "Settings", kiln: "Kiln", db: "Database", entry: LogbookEntry) -> list[str]:
    """Return what a reading says at once, against what each case would show."""
    if entry.what != "measured":
        return []
    from config.units import render
    from daemon.report import shown
    from daemon.report.gather import history_of
    from daemon.report.reading_fit import fits, since_newest_firing
    from daemon.report.readings_table import inspection_of

    history = history_of(db, settings, kiln)
    newest = history.latest.started if history.latest else None
    if not since_newest_firing([entry], newest):
        return []  # what was read before belongs to the state the kiln had then
    expected = inspection_of(history).measurements
    said = fits(entry, expected, {finding.cause for finding in history.findings})
    if said:
        return [render(said, settings.studio.temperature_unit)]
    places = dict.fromkeys(m.key for m in expected if m.quantity == entry.quantity and m.expected)
    known = f" Known places: {', '.join(places)}." if places else ""
    return [f"Kept, but nothing is expected at {shown.plain(entry.where or '', 60)!r}: it moves no odds.{known}"]


def _zone(settings: "Settings", kiln: "Kiln") -> str:
    return kiln.time_zone or settings.studio.time_zone


def _list(args: argparse.Namespace, settings: "Settings", kiln: "Kiln", db: "Database") -> int:
    from daemon.logbook import standing
    from daemon.report import shown
    from daemon.store import logbook

    entries = standing(logbook.of_kiln(db, kiln.id))
    if args.json:
        print(json.dumps([_as_json(entry) for entry in entries], ensure_ascii=False))
        return 0
    for entry in entries:
        print(f"{entry.id}  {shown.day(entry.at, _zone(settings, kiln))}  {shown.plain(shown.entry(entry))}")
    if not entries:
        print(f"The logbook of {kiln.title} is empty.")
    return 0


def _as_json(entry: LogbookEntry) -> dict[str, Any]:
    from daemon.logbook import format_line

    known: dict[str, Any] = json.loads(format_line(entry))
    return known

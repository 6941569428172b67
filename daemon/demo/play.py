"""Playing the story: logs go into the watched folder, the service does the rest, the screen shows it."""

import sys
import time
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from config.settings import Settings, load
from config.wording import Wording
from config.wording import load as load_wording
from daemon.demo import told
from daemon.demo.following import Follower
from daemon.demo.phone import Message, Phone
from daemon.demo.screen import Screen
from daemon.demo.service_process import ServiceProcess
from daemon.demo.story import EntryWritten, LogArrives, story
from daemon.demo.studio_folder import drop, make_studio, set_phone
from daemon.report.write import pages_of

ON_THE_DAY = "on the day"


@dataclass(slots=True)
class Played:
    """What the demo has seen so far: messages shown, causes standing by kiln, logs done."""

    shown: int = 0
    standing: dict[str, set[str]] = field(default_factory=dict)
    logs: int = 0
    earlier: int = 0


def play(folder: Path, samples: Path, screen: Screen, pause_s: float) -> int:
    """Play the whole story in ``folder`` and return the exit status; a folder half played is played on."""
    began = time.monotonic()
    settings_file = make_studio(folder, samples)
    phone = Phone(folder / "phone")
    try:
        set_phone(folder, phone.url)
        settings = load(settings_file)
        screen.say(f"An invented studio, {settings.studio.name}, is being made in {folder}")
        screen.say("Its logs go one by one into the folder that the Coilwatch service watches.")
        screen.say()
        with ServiceProcess(settings_file, settings.folders.data, folder / "service said.txt") as service:
            played = _Player(settings, samples, screen, phone, service, pause_s).play()
    finally:
        phone.hang_up()
    _close(settings, screen, phone, played, began)
    return 0


class _Player:
    """One run through the story."""

    def __init__(
        self, settings: Settings, samples: Path, screen: Screen, phone: Phone, service: ServiceProcess, pause_s: float
    ) -> None:
        self._settings, self._screen, self._phone, self._service = settings, screen, phone, service
        self._pause_s = pause_s
        self._steps = story(samples, settings.kilns, settings.studio.time_zone)
        self._wording: Wording = load_wording(settings.folders.wording)
        self._played = Played(shown=len(phone.messages()))
        self._folder = settings.file.parent

    def play(self) -> Played:
        follower = Follower(self._settings.folders.database)
        logs = sum(isinstance(step, LogArrives) for step in self._steps)
        try:
            with self._screen.progress(logs):
                for step in self._steps:
                    if isinstance(step, EntryWritten):
                        self._write(step)
                    else:
                        self._log(step, follower)
                        self._screen.advance()
            follower.wait_for_messages(self._service)
            self._new_messages()
        finally:
            follower.close()
        return self._played

    def _write(self, step: EntryWritten) -> None:
        """Write a logbook entry as ``coilwatch log`` does; one written by an earlier run is the same entry."""
        from daemon.store import database, logbook

        db = database.open_store(self._settings.folders.database)
        try:
            known = len(logbook.of_kiln(db, step.entry.kiln))
            with database.write_tx(db):
                logbook.add(db, step.entry)
            if len(logbook.of_kiln(db, step.entry.kiln)) == known:
                return
        finally:
            db.close()
        entry = step.entry
        about = f" {entry.part}" if entry.part else ""
        if entry.value is not None:
            about = f" {entry.value:g} {entry.quantity} at {entry.where}"
        where = f" of circuit {entry.circuit}" if entry.circuit else ""
        note = f" ({entry.note})" if entry.note else ""
        self._screen.entry(step.day, entry.kiln, "well", f"logbook: {entry.what}{about}{where}{note}")

    def _log(self, step: LogArrives, follower: Follower) -> None:
        kiln = step.kiln
        old = follower.already_taken(step.key)
        drop(step.path, self._folder, step.key, step.day)
        taken = follower.wait_for(step.key, self._service)
        self._played.logs += 1
        if taken.firing is None:
            self._screen.entry(step.day, kiln, "info", f"{step.path.name}: {taken.reason}")
            return
        assessment = taken.firing.assessment
        known = self._played.standing.get(kiln, set())
        unit = self._settings.studio.temperature_unit
        if old:
            if not self._played.earlier:
                self._screen.say("Playing on where an earlier run was interrupted: its logs are not shown again.")
            self._played.earlier += 1
        else:
            text = told.line(assessment, self._wording, unit, known)
            self._screen.entry(step.day, kiln, told.level(assessment), text)
        self._played.standing[kiln] = {finding.cause for finding in assessment.findings}
        follower.wait_for_texts(self._service)
        name = self._settings.kiln(kiln).title
        told_now = any(name in message.title for message in self._new_messages())
        if told_now and told.level(assessment) in ("warning", "urgent"):
            self._keep_pages(step.day, kiln, follower)
        if not old and self._pause_s:
            time.sleep(self._pause_s)

    def _new_messages(self) -> tuple[Message, ...]:
        """Show the texts that reached the phone since the last look, and return them."""
        fresh = self._phone.messages()[self._played.shown :]
        self._played.shown += len(fresh)
        texts = tuple(message for message in fresh if not message.pictures)  # a picture follows when it is drawn
        for message in texts:
            self._screen.arrived(message)
        return texts

    def _keep_pages(self, day: date, kiln: str, follower: Follower) -> None:
        """Keep report and visit sheet as they are on the day of a message: by the story's end all is mended."""
        from daemon.report.gather import history_of
        from daemon.report.write import write_kiln

        folder = self._folder / ON_THE_DAY / f"{day.isoformat()} {kiln}"
        folder.mkdir(parents=True, exist_ok=True)
        history = history_of(follower.database, self._settings, self._settings.kiln(kiln))
        write_kiln(history, folder, datetime.now(UTC), self._wording)


def _close(settings: Settings, screen: Screen, phone: Phone, played: Played, began: float) -> None:
    """Show the phone, write the last reports, and say where everything is."""
    from daemon.report.write import write_reports
    from daemon.store.database import open_store

    screen.heading("What the owner's phone showed")
    screen.phone(phone.messages())
    if not phone.messages():
        screen.say("  no messages")
    db = open_store(settings.folders.database)
    try:
        write_reports(db, settings, None, datetime.now(UTC))
    finally:
        db.close()
    reports = settings.folders.reports
    screen.heading("Where everything is")
    places = [("studio report", reports / "index.html")]
    places += [(f"{kiln.title}'s report", pages_of(settings, kiln)[0]) for kiln in settings.kilns]
    places += [("messages", settings.file.parent / "phone" / "messages.jsonl")]
    kept = sorted((settings.file.parent / ON_THE_DAY).glob("*/*-visit.html"))
    places += [(f"visit sheet of {page.parent.name}", page) for page in kept]
    places += [("settings", settings.file)]
    screen.places(places)
    screen.say()
    count = f"{played.logs} firing logs, {len(phone.messages())} messages, {time.monotonic() - began:.0f} s"
    again = f" ({played.earlier} of the logs were taken in by an earlier run)" if played.earlier else ""
    screen.say(f"{count}{again}. The studio and its firings are invented. Coilwatch is no safety device.")
    screen.say("Look further:")
    program = Path(sys.argv[0]).name if len(Path(sys.argv[0]).parts) == 1 else sys.argv[0]
    screen.say(f'  {program} status --settings "{settings.file}"')
    log = min(settings.folders.drop.glob("*/*"))
    screen.say(f'  {program} read "{log}" --settings "{settings.file}"')

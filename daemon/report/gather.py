"""From the store to what a page is made from."""

from dataclasses import replace

from sqlite_utils import Database

from config.kiln import Kiln
from config.settings import Settings
from config.wording import Wording, load
from daemon.logbook import standing
from daemon.report.history import KilnHistory, LeftOut, OpenAlert, Studio
from daemon.store import files, firings, logbook


def studio_of(settings: Settings) -> Studio:
    """Return the studio's facts that pages need."""
    said = settings.studio
    return Studio(said.name, said.time_zone, said.energy_price, said.currency, said.temperature_unit)


def history_of(db: Database, settings: Settings, kiln: Kiln, *, newest: int = -1) -> KilnHistory:
    """Return everything the store holds of one kiln for its pages, or with only so many of its ``newest`` firings."""
    from daemon.alerts import open_alerts

    words = load(settings.folders.wording)
    told = [alert for alert in open_alerts(db, kiln.id) if alert.state in ("open", "acknowledged")]
    return KilnHistory(
        kiln=kiln,
        firings=firings.of_kiln(db, kiln.id, newest=newest),
        firings_in_all=firings.count(db).get(kiln.id, 0),
        logbook=standing(logbook.of_kiln(db, kiln.id)),
        # A kiln elsewhere keeps its own days: an entry of the 29th must not show as the 28th.
        studio=replace(studio_of(settings), time_zone=kiln.time_zone or settings.studio.time_zone),
        open_alerts=tuple(OpenAlert(a.incident, _text(words, a.cause, a.facts.text), a.since) for a in told),
        left_out=tuple(
            LeftOut(file.path, file.reason) for file in files.in_states(db, "set aside") if file.kiln == kiln.id
        ),
    )


def _text(words: Wording, cause: str, text: str) -> str:
    """Return what an alert is of: its own text, or the title of its cause."""
    known = words.causes.get(cause)
    return text or (known.title if known else cause.replace("_", " "))

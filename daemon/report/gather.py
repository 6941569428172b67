"""From the store to what a page is made from."""

from sqlite_utils import Database

from config.kiln import Kiln
from config.settings import Settings
from daemon.logbook import standing
from daemon.report.history import KilnHistory, LeftOut, OpenAlert, Studio
from daemon.store import files, firings, logbook


def studio_of(settings: Settings) -> Studio:
    """Return the studio's facts that pages need."""
    said = settings.studio
    return Studio(said.name, said.time_zone, said.energy_price, said.currency, said.temperature_unit)


def history_of(db: Database, settings: Settings, kiln: Kiln) -> KilnHistory:
    """Return everything the store holds of one kiln for its pages."""
    from daemon.alerts import open_alerts

    told = [alert for alert in open_alerts(db, kiln.id) if alert.state in ("open", "acknowledged")]
    return KilnHistory(
        kiln=kiln,
        firings=firings.of_kiln(db, kiln.id),
        logbook=standing(logbook.of_kiln(db, kiln.id)),
        studio=studio_of(settings),
        open_alerts=tuple(OpenAlert(a.incident, _text(a.cause, a.facts.text), a.since) for a in told),
        left_out=tuple(
            LeftOut(file.path, file.reason)
            for file in files.all_files(db).values()
            if file.kiln == kiln.id and file.state == "set aside"
        ),
    )


def _text(cause: str, text: str) -> str:
    from config.wording import load

    known = load().causes.get(cause)
    return text or (known.title if known else cause.replace("_", " "))

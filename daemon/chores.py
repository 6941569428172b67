"""The service's regular chores: time's effect on alerts, the digest, back-ups, the disk, the heartbeat."""

import logging
import shutil
import urllib.error
import urllib.request
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlite_utils import Database

from config.settings import Settings
from daemon import alerts, backup, clock, kept, live
from daemon.folder import shown
from daemon.store import files, notes, parts
from daemon.store.database import StoreError, damage, write_tx
from daemon.store.files import SeenFile

log = logging.getLogger("coilwatch.chores")
HEARTBEAT_LIMIT_S = 10.0
UNREAD_TOLD_AFTER = timedelta(days=1)
UNREAD_COUNTS_FOR = timedelta(days=30)


def tick_alerts(db: Database, settings: Settings) -> bool:
    """Repeat, escalate, unmute, and notice logs gone silent; True: there may be something to send."""
    now = clock.now()
    with write_tx(db):
        alerts.tick(db, settings, now)
        if settings.alerts.live:
            live.watch_silence(db, settings, now)
    return True


def write_digest(db: Database, settings: Settings) -> bool:
    """Write the weekly digest if it is due; True if one was written."""
    from daemon.alerts.digest import write_digest as write

    with write_tx(db):
        return write(db, settings, clock.now())


def check_disk(db: Database, settings: Settings) -> None:
    """Tell when the data disk is nearly full, and when it no longer is."""
    free_mb = shutil.disk_usage(settings.folders.data).free / 1e6
    low = free_mb < settings.service.disk_free_mb
    with write_tx(db):
        if low:
            alerts.trouble(
                db,
                "disk",
                f"The disk that holds Coilwatch's data has only {free_mb:.0f} MB free.",
                "warning",
                settings,
                clock.now(),
                remedy="Make room on it, or logs will wait unread.",
            )
        else:
            alerts.trouble_over(db, "disk", settings, clock.now())


def check_files(db: Database, settings: Settings) -> bool:
    """Tell once, kiln by kiln, of files that have lain unread for a day; True if there may be something to send.

    Files that nobody saw to for a month no longer count, so that the next ones are told again.
    """
    now = clock.now()
    unread: dict[str, list[SeenFile]] = {}
    for file in files.in_states(db, *files.ATTENTION):
        if now - clock.moment(file.changed_at) >= UNREAD_TOLD_AFTER:
            unread.setdefault(f"files:{file.kiln or '-'}", []).append(file)
    with write_tx(db):
        for alert in alerts.open_alerts(db, alerts.MACHINE_ROOM):
            if alert.cause.startswith("files:") and alert.cause not in unread:
                alerts.trouble_over(db, alert.cause, settings, now)
        for key, some in unread.items():
            newest = max(some, key=lambda file: file.changed_at)
            if now - clock.moment(newest.changed_at) > UNREAD_COUNTS_FOR:
                alerts.trouble_over(db, key, settings, now, in_silence=True)
                continue
            of = f" of {newest.kiln}" if newest.kiln else ""
            text = f"{len(some)} file(s){of} could not be taken in, the newest {shown(newest.path)}: {newest.reason}."
            remedy = "See: coilwatch status --files. They are tried again when they or the settings change."
            alerts.trouble(db, key, text, "warning", settings, now, remedy=remedy)
    return True


def back_up(db: Database, settings: Settings) -> None:
    """Check the database, make the day's back-up and tidy up, unless that was done already today."""
    local = clock.now().astimezone(ZoneInfo(settings.studio.time_zone))
    folders = settings.folders
    if not backup.is_due(folders.backups, local):
        return
    wrong = damage(db)
    if wrong is None:
        kept.tidy(folders.kept, parts.contents(db), clock.now().timestamp())
        try:
            made = backup.back_up(folders.database, folders.backups, local, settings.service.backups_kept)
        except (OSError, StoreError) as error:
            wrong = str(error)
        else:
            log.info("backed up to %s", made.name)
            notes.put(db, "back-up", made.name)
    with write_tx(db):
        if wrong is None:
            alerts.trouble_over(db, "back-up", settings, clock.now())
        else:
            log.error("no back-up could be made: %s", wrong)
            text = f"Coilwatch could not back up its database: {wrong}."
            remedy = "See `coilwatch check`; `coilwatch restore` puts back an older back-up."
            alerts.trouble(db, "back-up", text, "warning", settings, clock.now(), remedy=remedy)


def beat(db: Database, settings: Settings) -> bool:
    """Fetch the heartbeat address if the service has lately looked through the folder; True if it answered.

    An outside monitor that hears nothing for a while tells the owner: the one fault Coilwatch cannot tell itself.
    """
    url = settings.service.heartbeat_url
    looked = notes.every(db).get("looked")
    if url is None or looked is None or not _lately(looked["at"], settings):
        return False
    try:
        with _opener().open(url.get_secret_value(), timeout=HEARTBEAT_LIMIT_S) as answer:
            answer.read(100)
    except (urllib.error.URLError, OSError, ValueError) as error:
        reason = getattr(error, "reason", None) or getattr(error, "code", None) or type(error).__name__
        log.warning("the heartbeat was not answered: %s", reason)
        notes.put(db, "heartbeat", f"not answered: {reason}")
        return False
    notes.put(db, "heartbeat", "answered")
    return True


def _opener() -> urllib.request.OpenerDirector:
    """Return an opener for web addresses only: no files, no other protocols."""
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPRedirectHandler(),
        urllib.request.HTTPErrorProcessor(),
        urllib.request.HTTPDefaultErrorHandler(),
        urllib.request.UnknownHandler(),
    ):
        opener.add_handler(handler)
    return opener


def _lately(at: str, settings: Settings) -> bool:
    limit = timedelta(seconds=max(300.0, 3 * settings.service.scan_s))
    return abs(clock.now() - datetime.fromisoformat(at)) < limit

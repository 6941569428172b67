"""The weekly digest: one calm message that says how every kiln is, also when nothing is wrong.

Written once for each week, however often the job runs or the clock is set: the week is the key.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlite_utils import Database

from config.alerts import WEEKDAYS
from config.settings import Settings
from daemon.alerts import letters, rows
from daemon.alerts.desk import MACHINE_ROOM, voice_for
from daemon.alerts.incident import Alert
from daemon.alerts.message import BODY_LIMIT, Message, clean, short_verdict, shorten
from daemon.clock import stamp
from daemon.store import firings

FAR_AHEAD = timedelta(weeks=12)
_STATE_ORDER = {"urgent": 0, "warning": 1, "info": 2}


def digest_week(settings: Settings, now: datetime) -> str | None:
    """Return the week whose digest is due by now, named by the day it begins being due, or None if never.

    The hour counts on the studio's clock; a digest missed while the computer was off is written late.
    """
    alerts = settings.alerts
    if alerts.digest_day == "never":
        return None
    local = now.astimezone(ZoneInfo(settings.studio.time_zone))
    back = (local.weekday() - WEEKDAYS.index(alerts.digest_day)) % 7
    day = local.date() - timedelta(days=back)
    if day == local.date() and local.time() < alerts.digest_at:
        day -= timedelta(days=7)
    return day.isoformat()


def write_digest(db: Database, settings: Settings, now: datetime) -> bool:
    """Owe the digest of this week to everyone told first, if it is not written yet. Within the caller's transaction.

    The week in which Coilwatch is first run gets none. Returns whether one was written.
    """
    week = digest_week(settings, now)
    if week is None or not settings.alerts.targets:
        return False
    first = not list(db.query("select 1 from digests limit 1"))
    fresh = db.execute("insert or ignore into digests (week, written_at) values (?, ?)", [week, stamp(now)]).rowcount
    believed = (date.fromisoformat(week) + FAR_AHEAD).isoformat()  # later ones were written by a clock far wrong
    newest = str(next(db.query("select max(week) as week from digests where week < ?", [believed]))["week"])
    if first or not fresh or week < newest:  # a clock set back does not bring old digests again
        return False
    letters.put(
        db,
        incident=f"WEEK-{week}",
        kiln=MACHINE_ROOM,
        kind="digest",
        number=1,
        severity="info",
        message=compose_digest(db, settings, now),
        targets=settings.alerts.first_told,
        now=now,
    )
    return True


def compose_digest(db: Database, settings: Settings, now: datetime) -> Message:
    """Write the digest: worst kiln first, one line each."""
    standing = rows.standing(db)
    since = now - timedelta(days=7)
    lines: list[tuple[int, str]] = []
    for kiln in settings.kilns:
        mine = [a for a in standing if a.kiln == kiln.id and a.hidden_by is None]
        lines.append(_kiln_line(db, settings, kiln.id, kiln.title, mine, since))
    machine = [a for a in standing if a.kiln == MACHINE_ROOM]
    lines += [(_STATE_ORDER[a.severity], f"Computer: {shorten(clean(a.facts.text), 90)}") for a in machine]
    lines.sort(key=lambda line: line[0])
    wrong = sum(1 for order, _ in lines if order < 2)
    title = "Coilwatch: all kilns well" if not wrong else f"Coilwatch: {wrong} to look at"
    return Message(title, _as_many_as_fit([line for _, line in lines]))


def _kiln_line(
    db: Database, settings: Settings, kiln: str, title: str, alerts: list[Alert], since: datetime
) -> tuple[int, str]:
    latest = firings.latest(db, kiln)
    name = shorten(clean(title), 24)
    if latest is None:
        return 3, f"{name}: no firing yet."
    judged = latest.assessment
    power = judged.power
    figure = ""
    if power.value is not None:
        figure = f" Power {100 * power.value:.0f} %."
    elif power.low is not None:
        figure = f" Power at least {100 * power.low:.0f} %."
    quiet = judged.started is not None and judged.started < since
    fired = " No firing this week." if quiet else ""
    if alerts:
        worst = min(alerts, key=lambda a: _STATE_ORDER[a.severity])
        voice = voice_for(settings, kiln)
        more = f" and {len(alerts) - 1} more" if len(alerts) > 1 else ""
        mark = "URGENT " if worst.severity == "urgent" else ""
        told = f"{name}: {mark}{short_verdict(worst, voice)}{more} ({worst.incident}).{figure}{fired}"
        return _STATE_ORDER[worst.severity], told
    left = judged.outlook
    if left is not None and left.low is not None and left.high is not None and left.high < 60:
        figure += f" {max(left.low, 0):.0f} to {left.high:.0f} firings to {100 * left.threshold:.0f} %."
    return 2, f"{name}: all right.{figure}{fired}"


def _as_many_as_fit(lines: list[str]) -> str:
    text = ""
    for n, line in enumerate(lines):
        more = f"\nand {len(lines) - n} more; see the report."
        if len(text) + len(line) + 1 + len(more) > BODY_LIMIT and n:
            return text + more
        text += ("\n" if text else "") + line
    return text or "No kiln is registered yet."

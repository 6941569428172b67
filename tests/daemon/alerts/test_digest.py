"""The weekly digest: once a week, worst kiln first, also when all is well."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from daemon import alerts
from daemon.alerts import digest
from daemon.alerts.digest import compose_digest, digest_week, write_digest
from daemon.alerts.quiet import is_quiet, may_send
from daemon.store.database import write_tx

MONDAY = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)  # a Monday; the digest is due at 09:00 in Dublin
DAY = timedelta(days=1)


def write(settings: Any, db: Any, now: datetime) -> bool:
    with write_tx(db):
        return write_digest(db, settings, now)


@pytest.fixture
def kilns(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    latest: dict[str, Any] = {}
    monkeypatch.setattr(digest.firings, "latest", lambda db, kiln: latest.get(kiln))
    return latest


def test_the_week_begins_when_the_digest_is_due(studio: Any) -> None:
    settings, _ = studio()
    assert digest_week(settings, MONDAY) == "2026-03-02"
    assert digest_week(settings, MONDAY - timedelta(hours=1)) == "2026-02-23"
    assert digest_week(settings, MONDAY + 6.9 * DAY) == "2026-03-02"


def test_the_hour_is_the_studio_s_also_in_summer(studio: Any) -> None:
    settings, _ = studio()
    assert digest_week(settings, datetime(2026, 7, 6, 8, 30, tzinfo=UTC)) == "2026-07-06"  # 09:30 in Dublin


def test_a_digest_is_written_once_a_week_however_often_it_is_asked_for(studio: Any) -> None:
    settings, db = studio()
    assert not write(settings, db, MONDAY - 7 * DAY)  # the week Coilwatch is first run in has none
    written = [write(settings, db, MONDAY + n * timedelta(hours=6)) for n in range(4 * 14)]
    assert sum(written) == 2
    assert len(list(db.query("select * from outbox"))) == 2


def test_a_digest_missed_while_the_computer_was_off_is_written_late_and_only_one(studio: Any) -> None:
    settings, db = studio()
    write(settings, db, MONDAY)
    assert write(settings, db, MONDAY + 24 * DAY)
    assert not write(settings, db, MONDAY + 25 * DAY)


def test_a_clock_set_back_brings_no_old_digest(studio: Any) -> None:
    settings, db = studio()
    write(settings, db, MONDAY)
    assert write(settings, db, MONDAY + 7 * DAY)
    for weeks in range(1, 12):
        assert not write(settings, db, MONDAY + 7 * DAY - weeks * 7 * DAY)


def test_a_clock_that_was_wrong_by_years_does_not_end_the_digests(studio: Any) -> None:
    settings, db = studio()
    write(settings, db, MONDAY)
    assert write(settings, db, MONDAY + 700 * DAY)
    assert write(settings, db, MONDAY + 7 * DAY)
    assert not write(settings, db, MONDAY + 7 * DAY)
    assert write(settings, db, MONDAY + 14 * DAY)


@pytest.mark.parametrize(
    "alerts_table", ['[alerts]\ndigest_day = "never"\n[alerts.targets]\nphone = "json://localhost:9"', ""]
)
def test_no_digest_where_none_is_wanted_or_nobody_is_there(studio: Any, alerts_table: str) -> None:
    settings, db = studio(alerts_table)
    assert not any(write(settings, db, MONDAY + n * DAY) for n in range(30))


def test_all_well_is_said_in_one_line_each(studio: Any, judged: Any, kilns: dict[str, Any]) -> None:
    settings, db = studio()
    kilns["juniper"] = judged(3, power=0.99)
    message = compose_digest(db, settings, judged(3).assessment.started + DAY)
    assert message.title == "Coilwatch: all kilns well"
    assert message.body.splitlines() == [
        "Juniper: all right. Power 99 %. 9 to 24 firings to 90 %.",
        "Heron: no firing yet.",
        "thrift: no firing yet.",
    ]


def test_the_worst_kiln_comes_first(studio: Any, judged: Any, finding: Any, kilns: dict[str, Any]) -> None:
    settings, db = studio()
    kilns["juniper"], kilns["heron"] = judged(3, power=0.99), judged(3, power=0.66)
    with write_tx(db):
        alerts.record(db, settings.kilns[1], judged(0, finding()), settings, MONDAY)
        alerts.trouble(db, "disk", "The disk is nearly full.", "warning", settings, MONDAY)
    message = compose_digest(db, settings, MONDAY)
    assert message.title == "Coilwatch: 2 to look at"
    lines = message.body.splitlines()
    assert lines[0].startswith("Heron: URGENT a circuit is dead (HER-")
    assert lines[1] == "Computer: The disk is nearly full."
    assert lines[2].startswith("Juniper: all right.")


def test_a_studio_of_many_kilns_still_fits_a_phone(studio: Any) -> None:
    from dataclasses import replace

    settings, db = studio()
    many = tuple(replace(settings.kilns[0], id=f"k{n}", name=f"A kiln with a rather long name {n}") for n in range(60))
    body = compose_digest(db, replace(settings, kilns=many), MONDAY).body
    assert len(body) <= 560
    assert body.splitlines()[-1].endswith("more; see the report.")


# -- quiet hours ------------------------------------------------------------------------------------------------

QUIET = '[alerts]\nquiet_from = "22:00"\nquiet_to = "07:00"\n'


@pytest.mark.parametrize(
    ("moment", "quiet"),
    [
        (datetime(2026, 1, 10, 21, 59, tzinfo=UTC), False),
        (datetime(2026, 1, 10, 22, 0, tzinfo=UTC), True),
        (datetime(2026, 1, 11, 3, 0, tzinfo=UTC), True),
        (datetime(2026, 1, 11, 7, 0, tzinfo=UTC), False),
        (datetime(2026, 7, 10, 21, 0, tzinfo=UTC), True),  # 22:00 of Dublin's summer clock
        (datetime(2026, 7, 11, 6, 30, tzinfo=UTC), False),
    ],
)
def test_quiet_hours_pass_midnight_and_follow_the_studio_s_clock(studio: Any, moment: datetime, quiet: bool) -> None:
    settings, _ = studio(QUIET)
    assert is_quiet(moment, settings.alerts, "Europe/Dublin") is quiet


@pytest.mark.parametrize(
    ("severity", "kind", "leaves"),
    [
        ("urgent", "raised", True),  # urgent never waits,
        ("urgent", "repeated", True),
        ("urgent", "escalated", True),
        ("urgent", "cleared", False),  # but the news that it is over does
        ("warning", "raised", False),
        ("warning", "worsened", False),
        ("info", "digest", False),
    ],
)
def test_one_gate_for_every_kind_of_message(studio: Any, severity: Any, kind: str, leaves: bool) -> None:
    settings, _ = studio(QUIET)
    night = datetime(2026, 1, 11, 3, 0, tzinfo=UTC)
    assert may_send(severity, kind, night, settings.alerts, "Europe/Dublin") is leaves
    assert may_send(severity, kind, night + timedelta(hours=6), settings.alerts, "Europe/Dublin")

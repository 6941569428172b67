"""From judged firings to messages owed, in the database: who is told what, and what the commands do."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from daemon import alerts
from daemon.main import main
from daemon.store.database import write_tx

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
GROUPS = """[alerts]
escalate_to = "second"
escalate_after_h = 4
[alerts.targets]
phone = "json://localhost:9/phone"
partner = "json://localhost:9/partner"
[alerts.groups]
second = ["partner"]
"""


class Desk:
    """The alert desk of one kiln, with shorthand for what it is told."""

    def __init__(self, studio: Any, judged: Any, **how: Any) -> None:
        self.settings, self.db = studio(**how)
        self.judged, self.now, self.index = judged, START, -1
        self.kiln = self.settings.kilns[0]

    def fire(self, *findings: Any, backlog: bool = False, again: int | None = None, **how: Any) -> tuple[str, ...]:
        if again is None:
            self.index += 1
        firing = self.judged(self.index if again is None else again, *findings, **how)
        with write_tx(self.db):
            return alerts.record(self.db, self.kiln, firing, self.settings, self.now, backlog=backlog)

    def tick(self, after: timedelta = timedelta(0)) -> tuple[str, ...]:
        self.now += after
        with write_tx(self.db):
            return alerts.tick(self.db, self.settings, self.now)

    def owed(self) -> list[tuple[str, str, str]]:
        rows = self.db.query("select kind, target, part from outbox order by id")
        return [(row["kind"], row["target"], row["part"]) for row in rows]

    def sent(self) -> None:
        self.db.execute(
            "update outbox set ended = 'sent', ended_at = '2026-03-02T12:00:00.000000Z' where ended is null"
        )


def test_an_urgent_finding_owes_a_text_and_then_a_picture_to_each_first_target(
    studio: Any, finding: Any, judged: Any
) -> None:
    desk = Desk(studio, judged, alerts=GROUPS)
    (incident,) = desk.fire(finding())
    assert desk.owed() == [("raised", "phone", "text"), ("raised", "phone", "picture")]
    row = next(desk.db.query("select * from outbox"))
    assert row["incident"] == incident
    assert row["title"] == "Juniper: a circuit is dead"
    assert incident in row["body"]


def test_the_second_group_is_told_when_nobody_acknowledged_and_gets_the_closing_too(
    studio: Any, finding: Any, judged: Any
) -> None:
    desk = Desk(studio, judged, alerts=GROUPS)
    desk.fire(finding())
    assert desk.tick(timedelta(hours=3)) == ()
    desk.tick(timedelta(hours=2))
    assert desk.owed()[-1] == ("escalated", "partner", "text")
    desk.sent()
    desk.fire(verification="The repair gave full power.")
    assert desk.owed()[-2:] == [("cleared", "partner", "text"), ("cleared", "phone", "text")]


def test_an_acknowledged_alert_does_not_reach_the_second_group(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged, alerts=GROUPS)
    (incident,) = desk.fire(finding())
    with write_tx(desk.db):
        (meant,) = alerts.acknowledge(desk.db, incident.lower(), desk.settings, desk.now)
    assert meant.incident == incident
    assert desk.tick(10 * DAY) == ()


def test_a_kiln_can_be_acknowledged_as_a_whole(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    desk.fire(finding(), finding("welded_contact", zone="top"))
    with write_tx(desk.db):
        assert len(alerts.acknowledge(desk.db, "juniper", desk.settings, desk.now)) == 2
        assert alerts.acknowledge(desk.db, "heron", desk.settings, desk.now) == []
        assert alerts.acknowledge(desk.db, "", desk.settings, desk.now) == []


def test_the_closing_goes_to_the_targets_that_were_told(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    desk.fire(finding())
    desk.db.execute("update outbox set ended = 'given up'")  # it never got there
    desk.fire(verification="Full power.")
    assert desk.owed() == [("raised", "phone", "text"), ("raised", "phone", "picture")]


def test_a_backlog_is_recorded_in_silence_and_told_at_its_end(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    worn = finding("element_ageing", "warning", probability=0.86)
    for findings in [(finding(),), (), (), (worn,), (worn,)]:
        desk.fire(*findings, backlog=True)
    assert desk.owed() == []
    assert [a.cause for a in alerts.open_alerts(desk.db, "juniper")] == ["element_ageing"]
    desk.tick()
    assert [kind for kind, _, part in desk.owed() if part == "text"] == ["raised"]


def test_judging_a_firing_again_tells_nothing_twice(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    for _ in range(3):
        desk.fire(finding())
    owed = desk.owed()
    for index in range(3):
        desk.fire(finding(), again=index, backlog=index < 2)
    assert desk.owed() == owed


def test_a_rolled_back_transaction_leaves_neither_alert_nor_message(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    with pytest.raises(OSError, match="disk"), write_tx(desk.db):  # noqa: PT012 - the transaction is the block
        alerts.record(desk.db, desk.kiln, desk.judged(0, finding()), desk.settings, desk.now)
        raise OSError("disk")
    assert desk.owed() == []
    assert alerts.open_alerts(desk.db) == []


def test_with_nobody_to_tell_nothing_counts_as_told(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged, alerts="")
    assert desk.fire(finding()) == ()
    with_phone, _ = studio()
    desk.settings = with_phone  # the owner adds a target
    assert len(desk.tick()) == 1


def test_explanations_of_one_event_are_one_message_that_names_the_rival(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    rivals = (("lost_phase", 0.3),)
    desk.fire(
        finding("open_circuit", probability=0.6, since_firing=7, rivals=rivals),
        finding("lost_phase", probability=0.3, since_firing=7),
    )
    rows = list(desk.db.query("select * from outbox where part = 'text'"))
    assert len(rows) == 1
    assert "more likely than not (60 %), or lost supply line 30 %" in rows[0]["body"]


def test_a_muted_kiln_is_told_of_nothing_but_what_is_urgent(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    worn = finding("heat_leak", "warning")
    with write_tx(desk.db):
        alerts.mute(desk.db, "juniper", START + 14 * DAY, desk.settings, desk.now)
    assert desk.fire(worn) + desk.fire(worn) == ()
    assert len(desk.fire(worn, finding("welded_contact"))) == 1
    desk.tick(15 * DAY)
    assert [kind for kind, _, part in desk.owed() if part == "text"].count("raised") == 2


def test_muting_something_unknown_is_refused(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    with pytest.raises(KeyError):
        alerts.mute(desk.db, "JUN-XXXX", START, desk.settings, desk.now)


def test_a_trouble_of_the_machine_room_is_told_and_closed(studio: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    for _ in range(3):
        with write_tx(desk.db):
            alerts.trouble(
                desk.db,
                "drop folder",
                "The drop folder is gone.",
                "urgent",
                desk.settings,
                desk.now,
                remedy="Plug it in.",
            )
    with write_tx(desk.db):
        alerts.trouble_over(desk.db, "disk", desk.settings, desk.now)
        alerts.trouble_over(desk.db, "drop folder", desk.settings, desk.now + DAY)
    rows = list(desk.db.query("select kind, title, body from outbox"))
    assert [row["kind"] for row in rows] == ["raised", "cleared"]
    assert rows[0]["title"] == "Coilwatch: needs a look at the computer"
    assert "The drop folder is gone." in rows[0]["body"]
    assert "Plug it in." in rows[0]["body"]


def test_what_stands_of_a_kiln_taken_out_of_the_register_is_closed_with_the_reason(
    studio: Any, finding: Any, judged: Any
) -> None:
    desk = Desk(studio, judged)
    desk.fire(finding())
    without = replace(desk.settings, kilns=tuple(kiln for kiln in desk.settings.kilns if kiln.id != "juniper"))
    for _ in range(2):
        with write_tx(desk.db):
            alerts.tick(desk.db, without, desk.now + DAY)
    texts = list(desk.db.query("select kind, body from outbox where part = 'text'"))
    assert [row["kind"] for row in texts] == ["raised", "cleared"]
    assert "no longer in the register" in texts[1]["body"]
    assert alerts.open_alerts(desk.db) == []


def test_every_transition_is_kept_with_its_reason(studio: Any, finding: Any, judged: Any) -> None:
    desk = Desk(studio, judged)
    (incident,) = desk.fire(finding())
    desk.fire(verification="Full power.")
    rows = desk.db.query("select kind, reason from alert_transitions where incident = ? order by id", [incident])
    assert [row["kind"] for row in rows] == ["noticed", "raised", "cleared"]


# -- the verbs --------------------------------------------------------------------------------------------------


def run(desk: Desk, *words: str) -> int:
    return main([*words, "--settings", str(desk.settings.file)])


def test_the_verb_acknowledge(studio: Any, finding: Any, judged: Any, capsys: pytest.CaptureFixture[str]) -> None:
    desk = Desk(studio, judged)
    (incident,) = desk.fire(finding())
    assert run(desk, "acknowledge", incident) == 0
    assert "acknowledged" in capsys.readouterr().out
    assert alerts.open_alerts(desk.db)[0].state == "acknowledged"
    assert run(desk, "acknowledge", "JUN-NONE") == 2
    assert "coilwatch status" in capsys.readouterr().err


def test_the_verb_mute(studio: Any, finding: Any, judged: Any, capsys: pytest.CaptureFixture[str]) -> None:
    desk = Desk(studio, judged)
    (incident,) = desk.fire(finding())
    assert run(desk, "mute", incident, "14d", "--json") == 0
    assert json.loads(capsys.readouterr().out)["incidents"] == [incident]
    assert alerts.open_alerts(desk.db)[0].muted_until is not None
    assert run(desk, "mute", incident, "--off") == 0
    assert alerts.open_alerts(desk.db)[0].muted_until is None
    assert run(desk, "mute", "juniper", "36h") == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["juniper"], "say either how long or --off"),
        (["juniper", "soon"], "36h, 14d or 2w"),
        (["juniper", "900d"], "at most a year"),
        (["nobody", "14d"], "neither an incident nor a kiln (kilns: juniper, heron, thrift)"),
    ],
)
def test_the_verb_mute_says_what_is_wrong(
    studio: Any, judged: Any, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert run(Desk(studio, judged), "mute", *words) == 2
    assert told in capsys.readouterr().err


def test_without_a_settings_file_the_verbs_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["acknowledge", "x", "--settings", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err

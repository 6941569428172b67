"""The ``[alerts]`` table: sensible without a word, plain about what does not fit, silent about secrets."""

from datetime import time
from typing import Any

import pytest
from pydantic import ValidationError

from config.alerts import AlertSettings

PHONE = {"phone": "json://localhost:9/hush-hush"}


def fault(**values: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        AlertSettings(**values)
    return str(caught.value)


def test_nothing_set_is_a_studio_that_tells_nobody() -> None:
    alerts = AlertSettings()
    assert alerts.first_told == ()
    assert alerts.told_on_escalation == ()


def test_without_groups_every_target_is_told_first() -> None:
    alerts = AlertSettings(targets={**PHONE, "desk": "json://localhost:9"})
    assert alerts.first_told == ("phone", "desk")


def test_the_escalation_group_waits_unless_a_target_is_in_another_group_too() -> None:
    targets = {**PHONE, "desk": "json://localhost:9", "partner": "json://localhost:9"}
    alerts = AlertSettings(
        targets=targets, groups={"second": ("partner", "desk"), "day": ("desk",)}, escalate_to="second"
    )
    assert alerts.first_told == ("phone", "desk")
    assert alerts.told_on_escalation == ("partner", "desk")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"targets": {"My Phone": "json://x"}}, "label must be lower-case"),
        ({"targets": {"phone": "hush-hush"}}, "must look like service://"),
        ({"targets": PHONE, "groups": {"second": ["nobody"]}}, "names nobody, which is not one of the targets"),
        ({"targets": PHONE, "escalate_to": "second"}, "not one of the groups"),
        ({"targets": PHONE, "groups": {"second": ["phone"]}, "escalate_to": "second"}, "nobody would be told first"),
        ({"quiet_from": "22:00"}, "both quiet_from and quiet_to"),
        ({"digest_at": "02:30"}, "when the clocks change"),
        ({"first_wait_s": 100, "longest_wait_s": 10}, "must not be shorter"),
        ({"repeat_dayz": 3}, "Extra inputs are not permitted"),
    ],
)
def test_what_does_not_fit_is_said_in_a_sentence(values: dict[str, Any], words: str) -> None:
    assert words in fault(**values)


@pytest.mark.parametrize(
    "values", [{"targets": {"Bad Label": "json://h/hush-hush"}}, {"targets": {"phone": "hush-hush"}}]
)
def test_no_fault_repeats_the_secret(values: dict[str, Any]) -> None:
    assert "hush" not in fault(**values)


def test_a_settings_object_never_shows_its_secrets() -> None:
    alerts = AlertSettings(targets=PHONE, quiet_from="22:00", quiet_to="07:00")
    assert "hush" not in repr(alerts) + str(alerts) + alerts.model_dump_json()
    assert alerts.quiet_to == time(7, 0)

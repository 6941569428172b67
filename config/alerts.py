"""The ``[alerts]`` table of the settings: who is told, when, how often, and when Coilwatch gives up trying.

Every target has a label of the owner's choosing. The label is what is written to logs, reports and the database;
the notification URL is a secret and stays inside its ``SecretStr``.
"""

import re
from datetime import time
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator

DigestDay = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "never"]
WEEKDAYS: tuple[DigestDay, ...] = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_LABEL = re.compile(r"[a-z0-9][a-z0-9_-]{0,30}")


class AlertSettings(BaseModel):
    """What the owner may set about alerts; every field has a default that suits a small studio.

    Attributes
    ----------
    targets : label -> notification URL (a secret).
    groups : group name -> labels. Without groups every target is told first; with groups, only those of no
        group or of a group other than ``escalate_to`` are told first.
    escalate_to : the group told when an urgent alert was not acknowledged within ``escalate_after_h`` hours.
    quiet_from, quiet_to : local times between which warnings, closings and digests wait; urgent ones never do.
    repeat_days, urgent_repeat_h : wait before a still open alert is repeated; it doubles up to four times that.
    confirm_firings : a warning is raised when seen in that many of the last ``confirm_firings + 1`` firings; what may
        come and go (poor volts, a loose connection, a failing thermocouple) also when seen in three of twelve.
    clear_firings : firings in a row without the finding that clear it; doubled each time it comes back.
    power_fall : further loss of power ratio that counts as worse.
    first_wait_s, longest_wait_s : the growing wait between tries of a failing target.
    send_limit_s : a send that takes longer is abandoned and tried again.
    give_up_days : a message that could not be sent for so long, and in several tries, is given up and shown in
        ``status``.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)

    targets: dict[str, SecretStr] = Field(default_factory=dict)
    groups: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    escalate_to: str | None = None
    escalate_after_h: Annotated[float, Field(gt=0)] = 6.0
    quiet_from: time | None = None
    quiet_to: time | None = None
    repeat_days: Annotated[float, Field(ge=1)] = 14.0
    urgent_repeat_h: Annotated[float, Field(ge=1)] = 24.0
    confirm_firings: Annotated[int, Field(ge=1, le=4)] = 2
    clear_firings: Annotated[int, Field(ge=1, le=6)] = 2
    power_fall: Annotated[float, Field(gt=0, lt=1)] = 0.05
    digest_day: DigestDay = "monday"
    digest_at: time = time(9, 0)
    first_wait_s: Annotated[float, Field(gt=0)] = 15.0
    longest_wait_s: Annotated[float, Field(gt=0)] = 3600.0
    send_limit_s: Annotated[float, Field(gt=0, le=120)] = 15.0
    target_failing_h: Annotated[float, Field(gt=0)] = 6.0
    give_up_days: Annotated[float, Field(gt=0)] = 7.0
    live: bool = True
    pictures: bool = True

    @field_validator("targets")
    @classmethod
    def _labels_and_urls(cls, targets: dict[str, SecretStr]) -> dict[str, SecretStr]:
        for label, url in targets.items():
            if not _LABEL.fullmatch(label):
                raise ValueError(
                    "a target's label must be lower-case letters, digits, - or _ (at most 31), e.g. phone-1"
                )
            if "://" not in url.get_secret_value():
                raise ValueError(
                    f"the notification URL of target {label} must look like service://...; it is not shown here"
                )
        return targets

    @field_validator("digest_at")
    @classmethod
    def _digest_in_the_day(cls, at: time) -> time:
        if at < time(4, 0):  # clock changes happen before 04:00: an hour that comes twice, or not at all
            raise ValueError(
                "choose a time from 04:00 on: earlier hours come twice, or not at all, when the clocks change"
            )
        return at

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        for group, labels in self.groups.items():
            unknown = [label for label in labels if label not in self.targets]
            if unknown:
                raise ValueError(f"group {group} names {unknown[0]}, which is not one of the targets")
        if self.escalate_to is not None and self.escalate_to not in self.groups:
            raise ValueError(f"escalate_to names {self.escalate_to}, which is not one of the groups")
        if (self.quiet_from is None) != (self.quiet_to is None):
            raise ValueError("set both quiet_from and quiet_to, or neither")
        if self.longest_wait_s < self.first_wait_s:
            raise ValueError("longest_wait_s must not be shorter than first_wait_s")
        if self.targets and not self.first_told:
            raise ValueError(
                "every target is in the escalation group, so nobody would be told first; leave one out of it"
            )
        return self

    @property
    def first_told(self) -> tuple[str, ...]:
        """Labels told at once: all but those that are only in the escalation group."""
        second = set(self.groups.get(self.escalate_to, ())) if self.escalate_to else set()
        elsewhere = {label for name, labels in self.groups.items() if name != self.escalate_to for label in labels}
        return tuple(label for label in self.targets if label not in second or label in elsewhere)

    @property
    def told_on_escalation(self) -> tuple[str, ...]:
        """Labels of the escalation group; empty if there is none."""
        return tuple(self.groups.get(self.escalate_to, ())) if self.escalate_to else ()

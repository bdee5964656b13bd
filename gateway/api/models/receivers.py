"""Receivers: what answers, its state at this moment, its settings."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, SecretStr, model_validator

from gateway.api.models.base import NUMBER_AS_NAME, Answer, Body, Time, example
from gateway.api.models.visit_sheets import VisitSheetStateAnswer

__all__ = [
    "ConfirmationBody",
    "IdentityAnswer",
    "InputAnswer",
    "LimitsAnswer",
    "OutputAnswer",
    "ReadingAnswer",
    "ReceiverAnswer",
    "ReceiversAnswer",
    "SettingsAnswer",
    "SettingsBody",
    "SettingsChangeAnswer",
    "StatusAnswer",
    "WaitAnswer",
]

_LINKS = Literal[
    "connecting", "online", "silent", "port-lost", "port-busy", "password-refused", "wrong-receiver", "by-hand"
]


class IdentityAnswer(Answer):
    """Who answers on the line."""

    maker: str
    product: str
    version: str
    serial: str = Field(description="The receiver's own serial, as it states it.")
    map_name: str
    map_version: int


class LimitsAnswer(Answer):
    """What the receiver has room for; 0 where it has none of it."""

    outputs: int
    inputs: int
    slots: int
    positions: int
    on_time_min_s: int
    on_time_max_s: int
    name_bytes: int


class WaitAnswer(Answer):
    """The roster waits at this receiver until somebody approves."""

    reason: str = Field(description="`restore`, `clone`, `reset` or `board-reset`.")
    since: Time
    asked_by: str
    snapshot: str = Field(description="The snapshot that was restored, or that was taken before the reset.")
    plan: str = Field(description="The plan that restores; empty after a reset.")
    snapshot_approved: bool = Field(
        description="What the receiver holds was approved; it stays until another roster is accepted."
    )


class ReadingAnswer(Answer):
    """A memory that is being read: `done` of `total` slots of those blocks that differ from what is known."""

    done: int
    total: int


class ReceiverAnswer(Answer):
    """One receiver."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="slip-gate",
            link="online",
            since="2026-03-02T07:58:11.000Z",
            problem="",
            remedy="",
            identity={
                "maker": "Example",
                "product": "Reference receiver",
                "version": "1.0",
                "serial": "V-0001",
                "map_name": "reference",
                "map_version": 1,
            },
            limits={
                "outputs": 4,
                "inputs": 4,
                "slots": 1024,
                "positions": 8,
                "on_time_min_s": 1,
                "on_time_max_s": 3600,
                "name_bytes": 16,
            },
            capabilities=["revision", "events", "slots", "settings", "password"],
            poll_rate_hz=5.0,
            mirror_revision=412,
            confirmed=True,
            slots_used=318,
            reading={"done": 320, "total": 1024},
            waiting=None,
            visit=None,
        )
    )

    id: str
    link: _LINKS
    since: Time = Field(description="Since when the link is in this state.")
    problem: str = Field(description="What is wrong, for people; empty when nothing is.")
    remedy: str = Field(description="What to do about it.")
    identity: IdentityAnswer | None
    limits: LimitsAnswer | None
    capabilities: list[str]
    poll_rate_hz: float = Field(description="Polls a second, as reached.")
    mirror_revision: int | None = Field(description="The revision at which the mirror was last proven.")
    confirmed: bool = Field(description="False while another receiver answers than the one known.")
    slots_used: int | None = Field(description="Slots that exist; null before the memory was read.")
    reading: ReadingAnswer | None = Field(description="How far its memory is read; null while nothing of it is.")
    waiting: WaitAnswer | None = Field(description="Null when the roster does not wait here.")
    visit: VisitSheetStateAnswer | None = Field(description="How its visit sheet stands; null where a line reaches it.")


class ReceiversAnswer(Answer):
    """Every receiver of this gateway."""

    receivers: list[ReceiverAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")


class InputAnswer(Answer):
    """One monitored contact. `name` is the settings' one, empty when they have none."""

    number: int
    name: str
    state: Literal["normal", "violated"]


class OutputAnswer(Answer):
    """One output. `mode` is set on the board; null where the map does not tell."""

    number: int
    name: str
    closed: bool
    mode: Literal["latching", "timed", "momentary"] | None


class StatusAnswer(Answer):
    """The last good poll. `current` is False when the receiver can't be reached: the values are then old.

    What the receiver's map does not have is null.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            receiver="slip-gate",
            link="online",
            current=True,
            age_s=0.12,
            inputs=[{"number": 1, "name": "gate closed", "state": "normal"}],
            outputs=[{"number": 1, "name": "gate", "closed": False, "mode": "timed"}],
            revision=412,
            boot_count=7,
            uptime_s=86400,
            newest_event=5120,
            oldest_event=4865,
            local_programming=False,
            password_set=True,
            unlocked_s=0,
            enrolment="idle",
            enrolment_left_s=0,
            busy=False,
            last_refusal=None,
        )
    )

    receiver: str
    link: _LINKS
    current: bool
    age_s: float | None = Field(description="Seconds since the poll; null before the first.")
    inputs: list[InputAnswer]
    outputs: list[OutputAnswer]
    revision: int | None
    boot_count: int | None
    uptime_s: int | None
    newest_event: int | None
    oldest_event: int | None
    local_programming: bool | None
    password_set: bool | None
    unlocked_s: int | None
    enrolment: Literal["idle", "listening"] | None
    enrolment_left_s: int | None
    busy: bool
    last_refusal: str | None


_OnTimes = Annotated[
    dict[int, Annotated[int, Field(ge=0)]],
    Field(
        description="Seconds that a timed output stays closed, by the output's number.",
        json_schema_extra={"propertyNames": {"pattern": NUMBER_AS_NAME}},
    ),
]


class SettingsAnswer(Answer):
    """What the receiver holds. The link password is never shown."""

    model_config = ConfigDict(
        json_schema_extra=example(on_times_s={"1": 5, "2": 30}, local_programming=False, password_set=True)
    )

    on_times_s: _OnTimes
    local_programming: bool = Field(description="True: the board's own buttons may add, remove and time.")
    password_set: bool


class SettingsBody(Body):
    """What to change; what is left out stays. `password` "" switches the link password off."""

    model_config = ConfigDict(json_schema_extra=example(on_times_s={"2": 45}, local_programming=False))

    on_times_s: _OnTimes | None = None
    local_programming: bool | None = None
    password: SecretStr | None = Field(default=None, json_schema_extra={"writeOnly": True})

    @model_validator(mode="after")
    def _changes_something(self) -> SettingsBody:
        if not self.on_times_s and self.local_programming is None and self.password is None:
            raise ValueError("at least one of on_times_s, local_programming and password is needed")
        return self


class SettingsChangeAnswer(Answer):
    """Before and after, both read from the receiver."""

    before: SettingsAnswer
    after: SettingsAnswer


class ConfirmationBody(Body):
    """Says that the receiver which answers now is the right one. Nothing has to be sent."""

    serial: str | None = Field(
        default=None, description="The receiver's own serial that is meant; refused when another one answers."
    )

"""Settings are changed with before, after and read-back, within the receiver's own limits."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

import pytest

from gateway.domain.events import EventName
from gateway.domain.receiver import Capability, ReceiverSettings
from gateway.errors import NotProven, Refused, Unsupported
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import EVERYTHING, FakeReceiver
from tests.fakes.sync_house import SyncHouse, quay_receiver


async def ready(receiver: FakeReceiver | None = None) -> tuple[SyncHouse, FakeReceiver]:
    clock = FakeClock()
    receiver = receiver or quay_receiver(clock=clock)
    house = SyncHouse([receiver], clock=clock)
    await house.keeper.refresh("slip-gate")
    return house, receiver


async def test_before_and_after_are_read_and_told_once() -> None:
    """Only what differs is written; one event with both states."""
    house, receiver = await ready()
    before, after = await house.settings.change(
        "slip-gate", on_times_s={1: 5, 2: 90}, local_programming=False, asked_by="Kim"
    )
    assert (before.on_times_s, before.local_programming) == ((5, 5, 5), True)
    assert (after.on_times_s, after.local_programming) == ((5, 90, 5), False)
    assert (receiver.frames_of["write_on_time"], receiver.frames_of["write_local_programming"]) == (1, 1)
    (event,) = house.store.journal.all(EventName.SETTINGS_CHANGED)
    assert event.data["before"]["on_times_s"] == [5, 5, 5]
    assert event.data["after"]["on_times_s"] == [5, 90, 5]
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    assert mirror.settings == after == await house.settings.read("slip-gate")


async def test_nothing_different_is_nothing_written() -> None:
    """Asking for what is there already writes and tells nothing."""
    house, receiver = await ready()
    await house.settings.change("slip-gate", on_times_s={1: 5}, local_programming=True, asked_by="Kim")
    assert receiver.write_frames == 0
    assert house.store.journal.all(EventName.SETTINGS_CHANGED) == []


@pytest.mark.parametrize(
    ("on_times_s", "password", "code"),
    [
        ({1: 0}, None, "on-time-out-of-range"),
        ({1: 3601}, None, "on-time-out-of-range"),
        ({2: 30, 4: 5}, None, "no-such-output"),
        ({0: 5}, None, "no-such-output"),
        ({2: 30}, "ninechars", "password-unfit"),
        (None, "naïve", "password-unfit"),
        (None, "with one", "password-unfit"),
        (None, None, "nothing-asked"),
    ],
)
async def test_what_does_not_fit_is_refused_before_anything_is_written(
    on_times_s: Mapping[int, int] | None, password: str | None, code: str
) -> None:
    """The whole request, with a code and what would fit."""
    house, receiver = await ready()
    with pytest.raises(Refused) as refused:
        await house.settings.change("slip-gate", on_times_s=on_times_s, password=password, asked_by="Kim")
    assert refused.value.code == code
    assert refused.value.remedy
    assert not password or password not in str(refused.value)
    assert receiver.write_frames == 0


async def test_the_password_is_set_changed_and_switched_off_and_never_told() -> None:
    """Each time one event, none with the password in it."""
    house, receiver = await ready()
    for password in ("s3cret-A", "s3cret-B", ""):
        before, after = await house.settings.change("slip-gate", password=password, asked_by="Kim")
        assert receiver.board.password == password
        assert after.password_set is bool(password)
    assert before.password_set
    events = house.store.journal.all(EventName.SETTINGS_CHANGED)
    assert len(events) == 3
    assert "s3cret" not in repr(events)


class StubbornReceiver(FakeReceiver):
    """Acknowledges a new on-time and keeps the old one."""

    async def write_on_time(self, output: int, seconds: int) -> None:
        self.write_frames += 1


async def test_what_reads_back_otherwise_is_not_called_done() -> None:
    """NotProven names what is wrong."""
    house, _ = await ready(StubbornReceiver(clock=FakeClock()))
    with pytest.raises(NotProven, match="on-time of output 2"):
        await house.settings.change("slip-gate", on_times_s={2: 30}, asked_by="Kim")


async def test_what_the_map_lacks_is_unsupported() -> None:
    """No settings at all, and no password."""
    bare = FakeReceiver(capabilities=frozenset({Capability.EVENTS, Capability.REVISION}))
    house = SyncHouse([bare], clock=FakeClock())
    with pytest.raises(Unsupported):
        await house.settings.read("slip-gate")
    house, _ = await ready(FakeReceiver(capabilities=EVERYTHING - {Capability.PASSWORD}))
    with pytest.raises(Unsupported):
        await house.settings.change("slip-gate", password="abc", asked_by="Kim")


async def test_another_receiver_in_its_place_is_not_written() -> None:
    """Until somebody confirms it."""
    house, receiver = await ready()
    receiver.board.replace_with("FQ-0002")
    with pytest.raises(Refused):
        await house.keeper.refresh("slip-gate")
    with pytest.raises(Refused) as refused:
        await house.settings.change("slip-gate", on_times_s={1: 9}, asked_by="Kim")
    assert refused.value.code == "receiver-unconfirmed"
    assert receiver.write_frames == 0


async def test_of_several_at_once_the_first_alone_starts_from_what_it_saw() -> None:
    """They follow one another, so that each reads back what it wrote itself; no other is called unproven."""
    clock = FakeClock()
    receiver = FakeReceiver(clock=clock, frame_s=0.01)
    house = SyncHouse([receiver], clock=clock)
    await clock.run(house.keeper.refresh("slip-gate"))
    seen = await clock.run(house.settings.read("slip-gate"))

    def unchanged(now: ReceiverSettings) -> None:
        if now != seen:
            raise Refused("It was changed since.", remedy="Look again.", code="changed-since")

    async def change(seconds: int) -> str:
        try:
            _, after = await house.settings.change(
                "slip-gate", on_times_s={1: seconds}, asked_by="Kim", basis=unchanged
            )
        except Refused as error:
            return error.code
        assert after.on_times_s[0] == seconds
        return "done"

    outcomes = await clock.run(asyncio.gather(*map(change, (11, 12, 13, 14))))
    assert sorted(outcomes) == ["changed-since", "changed-since", "changed-since", "done"]
    assert receiver.frames_of["write_on_time"] == 1

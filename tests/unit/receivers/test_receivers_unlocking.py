"""The link password: unlocking when need be, wrong ones remembered, changes proven and safe against cuts."""

from __future__ import annotations

import pytest

from gateway.errors import NoAnswer, NotProven, ReceiverRefused, Refused
from gateway.modbus import Answer, ReadInputRegisters, Request, WriteRegister, WriteRegisters
from tests.fakes.register_wire import FakeUnit
from tests.unit.receivers.making import make

UNLOCK, PASSWORD, LOCK = 0x20, 0x28, 0x30


def locked(password: bytes = b"quay-7") -> FakeUnit:
    unit = FakeUnit()
    unit.password = password
    unit._show_lock()
    return unit


async def test_a_locked_receiver_is_unlocked_once_and_the_request_repeated() -> None:
    """Refused as locked: unlock, ask again; further requests need no unlocking."""
    receiver, wire, _ = make(locked(), password=lambda: "quay-7")
    await receiver.read_slots([1])
    await receiver.read_slots([2])
    assert wire.count(WriteRegisters, UNLOCK) == 1
    assert WriteRegisters(UNLOCK, b"quay-7\0\0") in wire.asked


async def test_a_status_that_says_locked_saves_the_refused_request() -> None:
    """Fresh status, password set, no seconds left: unlock first."""
    receiver, wire, _ = make(locked(), password=lambda: "quay-7")
    await receiver.read_status()
    wire.asked.clear()
    await receiver.read_slots([1])
    assert wire.asked == [WriteRegisters(UNLOCK, b"quay-7\0\0"), ReadInputRegisters(0x4000, 20)]


async def test_an_old_status_is_not_believed_about_the_lock() -> None:
    """After some seconds the request is tried as it is: somebody may have reset the board."""
    unit = locked()
    receiver, wire, clock = make(unit, password=lambda: "quay-7")
    await receiver.read_status()
    unit.password = b""
    await clock.advance(5)
    wire.asked.clear()
    await receiver.read_slots([1])
    assert wire.asked == [ReadInputRegisters(0x4000, 20)]


async def test_identity_and_status_need_no_password() -> None:
    """Both are open; nothing is unlocked for them."""
    receiver, wire, _ = make(locked(), password=lambda: "quay-7")
    await receiver.identify()
    await receiver.read_status()
    assert wire.count(WriteRegisters) == 0


async def test_a_wrong_password_is_tried_once() -> None:
    """The receiver delays after each wrong try, so the same word isn't tried at every request."""
    receiver, wire, clock = make(locked(), password=lambda: "berth-1")
    for _ in range(3):
        with pytest.raises(ReceiverRefused, match="refused the link password") as caught:
            await receiver.read_slots([1])
        assert caught.value.code == "password-refused"
        await clock.advance(10)
    assert wire.count(WriteRegisters, UNLOCK) == 1


async def test_while_the_status_is_fresh_a_refused_password_costs_no_frame() -> None:
    """Polling goes on; what needs the password fails at once."""
    receiver, wire, _ = make(locked(), password=lambda: "berth-1")
    with pytest.raises(ReceiverRefused):
        await receiver.read_slots([1])
    await receiver.read_status()
    wire.asked.clear()
    with pytest.raises(ReceiverRefused):
        await receiver.read_slots([1])
    assert wire.asked == []


async def test_another_password_in_the_settings_is_tried() -> None:
    """Somebody corrected the file."""
    words = ["berth-1"]
    receiver, wire, _ = make(locked(), password=lambda: words[0])
    with pytest.raises(ReceiverRefused):
        await receiver.read_slots([1])
    words[0] = "quay-7"
    await receiver.read_slots([1])
    assert wire.count(WriteRegisters, UNLOCK) == 2


async def test_a_restart_gives_a_refused_password_another_try() -> None:
    """The boot count rose: it may be another receiver, or one that was reset and set anew."""
    unit = locked()
    receiver, _, _ = make(unit, password=lambda: "berth-1")
    with pytest.raises(ReceiverRefused):
        await receiver.read_slots([1])
    unit.password = b"berth-1"
    unit.set_words(1, 0, 8)
    await receiver.read_status()
    await receiver.read_slots([1])


async def test_no_password_at_all_is_said_as_that() -> None:
    """Not "refused": none was given."""
    receiver, wire, _ = make(locked())
    with pytest.raises(ReceiverRefused, match="none is set here") as caught:
        await receiver.read_slots([1])
    assert caught.value.code == "locked"
    assert wire.count(WriteRegisters, UNLOCK) == 0


async def test_a_receiver_that_waits_after_a_wrong_try_is_waited_for() -> None:
    """Another hand typed a wrong one a moment ago: ours is right a second later."""
    unit = locked()
    unit.waits = 1
    receiver, wire, clock = make(unit, password=lambda: "quay-7")
    await clock.run(receiver.read_slots([1]))
    assert wire.count(WriteRegisters, UNLOCK) == 2


async def test_a_receiver_that_waits_for_long_is_left_alone_for_a_while() -> None:
    """The password isn't taken for wrong, and status polling isn't held up by tries that can't help."""
    unit = locked()
    unit.waits = 3
    receiver, wire, clock = make(unit, password=lambda: "quay-7")
    with pytest.raises(ReceiverRefused) as caught:
        await clock.run(receiver.read_slots([1]))
    assert caught.value.code == "password-wait"
    tries = wire.count(WriteRegisters, UNLOCK)
    with pytest.raises(ReceiverRefused):
        await receiver.read_slots([1])
    assert wire.count(WriteRegisters, UNLOCK) == tries
    await clock.advance(11)
    await receiver.read_slots([1])


async def test_a_change_is_proven_by_locking_and_unlocking() -> None:
    """Unlock with the old, write the new, lock, unlock with the new."""
    unit = locked()
    receiver, wire, _ = make(unit, password=lambda: "quay-7")
    await receiver.write_password("hoist-3")
    writes = [request for request in wire.asked if isinstance(request, WriteRegister | WriteRegisters)]
    assert writes == [
        WriteRegisters(UNLOCK, b"quay-7\0\0"),
        WriteRegisters(PASSWORD, b"hoist-3\0"),
        WriteRegister(LOCK, 1),
        WriteRegisters(UNLOCK, b"hoist-3\0"),
    ]
    assert unit.password == b"hoist-3"
    assert not receiver.password_in_doubt


async def test_after_a_change_the_new_password_is_used_before_the_settings_have_it() -> None:
    """The settings still say the old one for a moment."""
    unit = locked()
    receiver, wire, _ = make(unit, password=lambda: "quay-7")
    await receiver.write_password("hoist-3")
    unit.unlocked = False
    wire.asked.clear()
    await receiver.read_slots([1])
    assert [request for request in wire.asked if isinstance(request, WriteRegisters)] == [
        WriteRegisters(UNLOCK, b"hoist-3\0")
    ]


async def test_a_first_password_is_proven_too() -> None:
    """From none to one: nothing to unlock before."""
    unit = FakeUnit()
    receiver, _, _ = make(unit)
    await receiver.write_password("hoist-3")
    assert (unit.password, unit.unlocked) == (b"hoist-3", True)


async def test_the_password_can_be_switched_off() -> None:
    """Empty means off; the status proves it."""
    unit = locked()
    receiver, _, _ = make(unit, password=lambda: "quay-7")
    await receiver.write_password("")
    assert unit.password == b""
    await receiver.read_slots([1])


@pytest.mark.parametrize("after", [False, True], ids=["request lost", "answer lost"])
@pytest.mark.parametrize("step", range(6))
@pytest.mark.parametrize(("old", "new"), [("quay-7", "hoist-3"), ("", "hoist-3"), ("quay-7", "")])
async def test_a_change_cut_at_any_step_leaves_a_receiver_that_can_be_worked(
    step: int, after: bool, old: str, new: str
) -> None:
    """Whichever password is in force after the cut, it is found with one try each, and the change can be repeated."""
    unit = locked(old.encode())
    receiver, wire, clock = make(unit, password=lambda: old)
    await receiver.identify()
    wire.fail(skip=step, after=after)
    try:
        await receiver.write_password(new)
    except NoAnswer:
        unit.unlocked = False
        await clock.advance(60)
        wire.asked.clear()
        await receiver.read_slots([1])
        tried = [request.data for request in wire.asked if isinstance(request, WriteRegisters)]
        assert len(tried) == len(set(tried)) <= 2
        await receiver.write_password(new)
    wire.no_faults()
    assert unit.password == new.encode()
    unit.unlocked = False
    await receiver.read_slots([1])


async def test_after_a_cut_with_neither_in_force_the_state_is_refused() -> None:
    """New, then old is tried once each, then nothing more."""
    unit = locked()
    receiver, wire, clock = make(unit, password=lambda: "quay-7")
    wire.fail(skip=3, after=True)
    with pytest.raises(NoAnswer):
        await receiver.write_password("hoist-3")
    assert receiver.password_in_doubt
    unit.password, unit.unlocked = b"other", False
    await clock.advance(60)
    wire.asked.clear()
    for _ in range(2):
        with pytest.raises(ReceiverRefused) as caught:
            await receiver.read_slots([1])
        assert caught.value.code == "password-refused"
        await clock.advance(60)
    tried = [request.data for request in wire.asked if isinstance(request, WriteRegisters)]
    assert tried == [b"hoist-3\0", b"quay-7\0\0"]


async def test_passwords_kept_through_a_restart_of_the_gateway_are_tried_in_order() -> None:
    """The supplier may give several that can be in force, likeliest first."""
    receiver, wire, _ = make(locked(), password=lambda: ("hoist-3", "quay-7"))
    await receiver.read_slots([1])
    tried = [request.data for request in wire.asked if isinstance(request, WriteRegisters)]
    assert tried == [b"hoist-3\0", b"quay-7\0\0"]


async def test_a_receiver_that_keeps_the_old_password_is_found_out() -> None:
    """It acknowledged the new one and did not take it."""
    unit = locked()
    receiver, wire, _ = make(unit, password=lambda: "quay-7")

    def forget(request: Request) -> Answer:
        answer = FakeUnit.answer(unit, request)
        unit.password = b"quay-7"
        return answer

    unit.answer = forget  # type: ignore[method-assign]
    with pytest.raises(NotProven, match="the old one is still in force"):
        await receiver.write_password("hoist-3")
    await receiver.read_slots([1])
    assert wire.count(WriteRegisters, UNLOCK) == 3


async def test_passwords_that_dont_fit_are_refused_before_anything_is_sent() -> None:
    """Eight characters at most, of those that every keyboard has."""
    receiver, wire, _ = make()
    with pytest.raises(Refused, match="longer than the 8 characters"):
        await receiver.write_password("much-too-long")
    for odd in ("a\tb", "a b", "m\N{LATIN SMALL LETTER O WITH DIAERESIS}we"):
        with pytest.raises(Refused, match="blanks, accents or control"):
            await receiver.write_password(odd)
    assert wire.asked == []

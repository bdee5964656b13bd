"""What happens at a receiver becomes events: in order, once, with the truth about losses and lateness."""

from __future__ import annotations

from datetime import timedelta

import pytest

from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.domain.receiver import Origin, OutputMode
from gateway.watch import Names
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits, some_slot

SERIAL = 48231907


async def test_everything_between_two_polls_is_told_in_its_order() -> None:
    """Presses, inputs and outputs within 200 ms come one by one, in the order of the ring."""
    quay = Quay(words=Names(holder=lambda serial: "Berth 12" if serial == SERIAL else None))
    board = quay.receiver.board
    board.put(1, some_slot(1, SERIAL, [(1, 1)]), Origin.LINE)
    async with quay.watching():
        board.press(SERIAL)
        board.set_input(1, True)
        board.press(7, position=3)
        board.set_input(1, False)
        await quay.clock.advance(0.5)
        assert quay.told() == [
            (
                "transmitter.heard",
                {
                    "serial": "0048231907",
                    "holder": "Berth 12",
                    "position": "1",
                    "slot": 1,
                    "outputs": [1],
                    "output_names": [""],
                    "known": True,
                    "enrolling": False,
                    "battery": "unknown",
                },
            ),
            ("output.changed", {"output": 1, "name": "", "closed": True, "origin": "radio"}),
            ("input.changed", {"input": 1, "name": "", "violated": True}),
            (
                "transmitter.heard",
                {
                    "serial": "0000000007",
                    "holder": None,
                    "position": "3",
                    "slot": None,
                    "outputs": [],
                    "output_names": [],
                    "known": False,
                    "enrolling": False,
                    "battery": "unknown",
                },
            ),
            ("input.changed", {"input": 1, "name": "", "violated": False}),
        ]
        assert all(event.late is None for event in quay.store.journal.all())


async def test_the_cursor_is_in_the_commit_of_its_events() -> None:
    """No event is durable without the place in the ring that it came from, nor the other way round."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.board.press(7)
        await quay.clock.advance(0.5)
    commit = quay.store.journal.commits[-1]
    assert [draft.name for draft in commit.events] == [EventName.TRANSMITTER_HEARD]
    assert commit.cursors["slip-gate"].number == quay.receiver.board.newest


async def test_a_quiet_receiver_costs_no_commit_and_one_frame_a_poll() -> None:
    """Polling alone writes nothing to the journal, and reads the ring only when it has grown."""
    quay = Quay()
    async with quay.watching(5):
        commits, frames = len(quay.store.journal.commits), quay.receiver.frames
        await quay.clock.advance(20)
        assert len(quay.store.journal.commits) == commits
        assert quay.receiver.frames - frames == pytest.approx(100, abs=1)
        assert quay.live.poll_rate_hz == pytest.approx(5.0, abs=0.1)


async def test_an_overrun_says_how_many_were_lost() -> None:
    """The ring turns over between two polls: the count is told, then what is left, then the state as it is."""
    quay = Quay(limits=some_limits(ring=8))
    async with quay.watching():
        quay.receiver.board.set_input(2, True)
        for serial in range(1, 13):
            quay.receiver.board.press(serial)
        await quay.clock.advance(0.5)
    assert quay.told()[0] == ("ring.overrun", {"lost": 5, "next_event": 7})
    heard = [data["serial"] for _, data in quay.told(EventName.TRANSMITTER_HEARD)]
    assert heard == [f"{serial:010d}" for serial in range(5, 13)]
    assert quay.told()[-1] == ("input.changed", {"input": 2, "name": "", "violated": True})


async def test_a_restart_is_told_with_its_possible_loss() -> None:
    """The boot count rose: said once, then the outputs that fell open without a ring entry."""
    quay = Quay()
    board = quay.receiver.board
    async with quay.watching():
        board.close_output(2)
        await quay.clock.advance(0.5)
        board.press(5)
        board.restart()
        board.press(6)
        await quay.clock.advance(2)
    name, data = quay.told(EventName.RECEIVER_RESTARTED)[0]
    assert len(quay.told(EventName.RECEIVER_RESTARTED)) == 1
    assert (data["boot_count"], data["boot_count_before"], data["events_may_be_missing"]) == (2, 1, True)
    after = quay.told()[[name for name, _ in quay.told()].index(name) + 1 :]
    assert [name for name, _ in after] == ["transmitter.heard", "output.changed"]
    assert after[1][1] == {"output": 2, "name": "", "closed": False, "origin": None}


async def test_a_restart_while_the_gateway_was_off_is_told_from_the_stored_cursor() -> None:
    """The stored boot count differs at first contact: that is news, with the time of the start."""
    quay = Quay()
    async with quay.watching():
        pass
    await quay.clock.advance(3600)
    quay.receiver.board.restart()
    started = quay.clock.now()
    await quay.clock.advance(3600)
    async with quay.watching():
        pass
    (event,) = quay.store.journal.all(EventName.RECEIVER_RESTARTED)
    assert event.late is not None
    assert event.late.earliest <= started <= event.late.latest
    assert event.late.latest - event.late.earliest < timedelta(seconds=5)


async def test_what_happened_while_the_gateway_was_off_comes_late_with_its_time() -> None:
    """The ring is caught up from the stored cursor; each event says when it can have happened."""
    quay = Quay()
    async with quay.watching():
        pass
    await quay.clock.advance(600)
    quay.receiver.board.press(7)
    pressed = quay.clock.now()
    await quay.clock.advance(600)
    async with quay.watching():
        quay.receiver.board.press(8)
        await quay.clock.advance(0.5)
    missed, live = quay.store.journal.all(EventName.TRANSMITTER_HEARD)
    assert missed.late is not None
    assert missed.late.earliest <= pressed <= missed.late.latest
    assert missed.late.latest - missed.late.earliest < timedelta(seconds=3)
    assert live.late is None


async def test_the_first_contact_ever_tells_no_history() -> None:
    """What a receiver did before it was known is not told, and its memory is no change."""
    quay = Quay()
    quay.receiver.board.press(7)
    quay.receiver.board.learn(8, 1, 1)
    async with quay.watching(3):
        assert quay.told() == []
        assert set(quay.mirror.slots) == {1}


async def test_a_moved_selector_is_told_from_the_status() -> None:
    """The mode comes as a word, with the one before."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.board.set_mode(2, OutputMode.LATCHING)
        await quay.clock.advance(0.5)
    assert quay.told() == [("output.mode_changed", {"output": 2, "name": "", "mode": "latching", "before": "timed"})]


async def test_a_plain_board_is_told_from_differences() -> None:
    """A board without a ring reports what two polls show differently, and nothing at first contact."""
    quay = Quay(capabilities=frozenset())
    board = quay.receiver.board
    board.set_input(1, True)
    async with quay.watching(3):
        assert quay.told() == []
        board.set_input(1, False)
        board.close_output(2)
        await quay.clock.advance(0.5)
        assert quay.told() == [
            ("input.changed", {"input": 1, "name": "", "violated": False}),
            ("output.changed", {"output": 2, "name": "", "closed": True, "origin": None}),
        ]
        assert quay.link() is LinkState.ONLINE


async def test_presses_during_listening_are_flagged() -> None:
    """A press heard while the receiver listens for enrolment says so."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.board.listen(30)
        quay.receiver.board.press(7)
        await quay.clock.advance(0.5)
    assert quay.told()[0][1]["enrolling"] is True


async def test_what_a_plain_board_did_while_the_gateway_was_off_is_told_late() -> None:
    """The journal says what was last told of each contact; what differs at first contact is news, since then."""
    quay = Quay(capabilities=frozenset())
    board = quay.receiver.board
    async with quay.watching():
        board.set_input(1, True)
        await quay.clock.advance(1)
    board.set_input(1, False)
    await quay.clock.advance(600)
    async with quay.watching():
        pass
    async with quay.watching():
        pass
    first, second = quay.store.journal.all()
    assert (first.data["violated"], second.data["violated"]) == (True, False)
    assert second.late is not None
    assert second.late.earliest == first.time

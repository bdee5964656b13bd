"""Losing a receiver and having it back: states, events, probing, and what a failing journal may not lose."""

from __future__ import annotations

import pytest
from structlog.testing import capture_logs

from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.errors import (
    BrokenAnswer,
    GatepostError,
    LinkLost,
    NoAnswer,
    PortUnavailable,
    WrongAnswer,
    WrongReceiver,
)
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits

LINK = (EventName.LINK_LOST, EventName.LINK_RESTORED)


@pytest.mark.parametrize(
    ("error", "state"),
    [
        (NoAnswer("Silence."), LinkState.SILENT),
        (BrokenAnswer("Noise."), LinkState.SILENT),
        (WrongAnswer("Another's answer."), LinkState.SILENT),
        (LinkLost("Unplugged."), LinkState.PORT_LOST),
        (PortUnavailable("Missing.", code="port-missing"), LinkState.PORT_LOST),
        (PortUnavailable("Held.", code="port-busy"), LinkState.PORT_BUSY),
        (WrongReceiver("Another map."), LinkState.WRONG_RECEIVER),
    ],
)
async def test_each_error_has_its_state_and_one_event(error: GatepostError, state: LinkState) -> None:
    """Lost once, restored once, with the state in words; the live view says the same."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.link_error = error
        await quay.clock.advance(20)
        assert quay.link() is state
        assert quay.live.problem == error.message
        quay.receiver.no_faults()
        await quay.clock.advance(31)
        assert quay.link() is LinkState.ONLINE
        assert quay.live.problem == ""
    (lost, was), (restored, after) = quay.told(*LINK)
    assert (lost, restored) == ("link.lost", "link.restored")
    assert was["state"] == state.value
    assert after["lost_s"] == pytest.approx(20, abs=31)


async def test_silence_is_told_after_three_polls_and_a_lost_port_at_once() -> None:
    """Two missed polls are no news; a port that goes is known at the next poll, well under 2 s."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.fail(times=2)
        await quay.clock.advance(3)
        assert quay.told(*LINK) == []
        quay.receiver.fail(times=3)
        await quay.clock.advance(3)
        assert len(quay.told(*LINK)) == 2
        quay.receiver.link_error = LinkLost("Unplugged.")
        await quay.clock.advance(0.25)
        assert quay.told(*LINK)[-1][0] == "link.lost"


async def test_a_line_that_is_just_being_opened_is_no_loss() -> None:
    """At the start the port may need a moment; one that stays away is told within 2 s."""
    quay = Quay()
    quay.receiver.link_error = PortUnavailable("Not open yet.", code="port-missing")
    async with quay.watching(1.0):
        assert quay.link() is LinkState.CONNECTING
        assert quay.told(*LINK) == []
        await quay.clock.advance(1.0)
        assert quay.link() is LinkState.PORT_LOST
        assert [name for name, _ in quay.told(*LINK)] == ["link.lost"]


async def test_a_silent_receiver_is_probed_ever_more_rarely() -> None:
    """1, 2, 4 ... 30 s between single frames: a neighbour waits for one probe at most."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.link_error = NoAnswer("Silence.")
        await quay.clock.advance(70)
        before = quay.receiver.frames
        await quay.clock.advance(300)
        assert quay.receiver.frames - before == 10


async def test_a_request_of_somebody_else_brings_the_polls_back() -> None:
    """The receiver answers a refresh between two probes: polling goes on at once."""
    quay = Quay()
    async with quay.watching() as watch:
        quay.receiver.link_error = NoAnswer("Silence.")
        await quay.clock.advance(70)
        quay.receiver.no_faults()
        await quay.clock.run(watch.keeper.refresh("slip-gate"))
        await quay.clock.advance(1)
        assert quay.link() is LinkState.ONLINE
        assert quay.live.poll_rate_hz == pytest.approx(5.0, abs=0.3)


async def test_what_happened_during_the_silence_is_late_and_after_the_restoring() -> None:
    """The ring is caught up, in order, each event with its earliest and latest time."""
    quay = Quay()
    async with quay.watching():
        quay.receiver.link_error = NoAnswer("Silence.")
        await quay.clock.advance(10)
        quay.receiver.board.set_input(1, True)
        violated = quay.clock.now()
        await quay.clock.advance(30)
        quay.receiver.no_faults()
        await quay.clock.advance(31)
    *_, restored, event = quay.store.journal.all()
    assert (restored.name, event.name) == (EventName.LINK_RESTORED, EventName.INPUT_CHANGED)
    assert event.late is not None
    assert event.late.earliest <= violated <= event.late.latest


async def test_an_outage_of_a_day_is_a_handful_of_log_lines() -> None:
    """An adapter that stays unplugged for 24 h: one line when it goes, one when it is back."""
    quay = Quay()
    with capture_logs() as lines:
        async with quay.watching():
            quay.receiver.link_error = LinkLost("Unplugged.")
            await quay.clock.advance(24 * 3600)
            quay.receiver.no_faults()
            await quay.clock.advance(5)
    assert [line["event"] for line in lines] == ["link.lost", "link.restored"]
    assert [name for name, _ in quay.told(*LINK)] == ["link.lost", "link.restored"]


async def test_a_failing_journal_stops_nothing_and_loses_nothing() -> None:
    """Polling and the live state go on, nothing is told, the cursor stands; then all of it comes, in order, as late."""
    quay = Quay(limits=some_limits(ring=8))
    async with quay.watching(3):
        journal = quay.store.journal
        cursor, commits = quay.mirror.cursor, len(journal.commits)
        journal.full = True
        for serial in range(1, 41):
            quay.receiver.board.press(serial)
            await quay.clock.advance(0.5)
        quay.receiver.board.set_input(1, True)
        await quay.clock.advance(1)
        assert len(journal.commits) == commits
        assert quay.mirror.cursor == cursor
        assert quay.link() is LinkState.ONLINE
        assert "journal" in quay.live.problem
        assert quay.live.status is not None
        assert quay.live.status.input_violated[0]
        journal.full = False
        await quay.clock.advance(10)
        assert quay.live.problem == ""
        assert quay.mirror.cursor is not None
        assert quay.mirror.cursor.number == quay.receiver.board.newest
    events = journal.all(EventName.TRANSMITTER_HEARD, EventName.INPUT_CHANGED, EventName.RING_OVERRUN)
    assert [event.data.get("serial") for event in events] == [f"{n:010d}" for n in range(1, 41)] + [None]
    assert all(event.late is not None for event in events)


async def test_a_gateway_killed_while_the_journal_failed_reads_the_ring_again() -> None:
    """What only waited in memory was never acknowledged: the ring still has it, and it is told once."""
    quay = Quay()
    async with quay.watching(3):
        quay.store.journal.full = True
        quay.receiver.board.press(7)
        await quay.clock.advance(5)
    quay.store.journal.full = False
    async with quay.watching(3):
        pass
    assert len(quay.told(EventName.TRANSMITTER_HEARD)) == 1


async def test_a_long_outage_of_the_journal_keeps_memory_bounded() -> None:
    """When too much waits, the ring keeps the rest, and what it can't keep is said to be lost."""
    quay = Quay(limits=some_limits(ring=64))
    async with quay.watching(3):
        quay.store.journal.full = True
        for _ in range(60):
            for serial in range(1, 51):
                quay.receiver.board.press(serial)
            await quay.clock.advance(0.4)
        quay.store.journal.full = False
        await quay.clock.advance(10)
    heard = len(quay.told(EventName.TRANSMITTER_HEARD))
    lost = sum(data["lost"] for _, data in quay.told(EventName.RING_OVERRUN))
    assert 2000 <= heard < 3000
    assert heard + lost == 3000


async def test_polls_share_a_slow_line() -> None:
    """Three receivers whose polls take 60 ms share 40 % of the line; a silent one leaves its share to the others."""
    quay = Quay(("slip-gate", "car-park", "workshop"), frame_s=0.06)
    async with quay.watching(10) as watch:
        rates = [live.poll_rate_hz for live in watch.live.receivers()]
        assert rates == pytest.approx([0.4 / 0.06 / 3] * 3, rel=0.02)
        quay.receivers["workshop"].link_error = NoAnswer("Silence.")
        await quay.clock.advance(20)
        rates = [live.poll_rate_hz for live in watch.live.receivers()]
        assert rates == pytest.approx([0.4 / 0.06 / 2, 0.4 / 0.06 / 2, 0.0], rel=0.02)

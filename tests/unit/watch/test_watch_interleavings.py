"""A thousand random interleavings of board work, polls, losses, restarts and failures: nothing doubled or lost.

The oracle is the board's own list of what it did, kept apart from its ring. All of it is seeded.
"""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from structlog.testing import capture_logs

from gateway.domain.events import EventName
from gateway.domain.receiver import Origin
from gateway.errors import LinkLost, NoAnswer
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits

RUNS = 1000
BATCHES = 20
STEPS = 20


class Story:
    """One run: acts at random and remembers what must have been told."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.quay = Quay(limits=some_limits(slots=32, ring=256), frame_s=0.01, poll_rate_hz=2.0)
        self.pressed: list[int] = []
        self.at_risk: set[int] = set()
        self.restarts = 0
        self.serial = 100

    async def tell(self) -> None:
        """Two lives of the gateway with an interval between, then time to catch up."""
        async with self.quay.watching():
            await self.act()
        self.quay.receiver.no_faults()
        self.board_work()
        async with self.quay.watching(0.0):
            await self.act()
            self.quay.receiver.no_faults()
            self.quay.store.journal.full = False
            await self.quay.clock.advance(40)
            mirror = self.quay.mirror
            assert mirror.slots == self.quay.receiver.board.slots
            assert mirror.cursor is not None
            assert mirror.cursor.number == self.quay.receiver.board.newest

    async def act(self) -> None:
        for _ in range(STEPS):
            self.random.choice((self.board_work, self.board_work, self.board_work, self.trouble, self.end_trouble))()
            await self.quay.clock.advance(self.random.choice((0.0, 0.013, 0.1, 0.25, 1.1, 6.0)))

    def board_work(self) -> None:
        board, choose = self.quay.receiver.board, self.random
        match choose.choices(range(8), weights=(3, 3, 3, 4, 4, 3, 3, 0.5))[0]:
            case 0 | 1 | 2:
                self.serial += 1
                self.pressed.append(self.serial)
                board.press(self.serial)
            case 3:
                board.set_input(choose.randint(1, 2), choose.random() < 0.5)
            case 4:
                board.close_output(choose.randint(1, 2), choose.random() < 0.5, Origin.LINE)
            case 5:
                board.learn(choose.randint(1, 9), choose.randint(1, 4), 1)
            case 6:
                board.unlearn(choose.randint(1, 9), choose.randint(1, 4), 1)
            case 7:
                self.at_risk |= set(self.pressed) - set(self.heard())
                self.restarts += 1
                board.restart()

    def trouble(self) -> None:
        receiver = self.quay.receiver
        match self.random.randrange(4):
            case 0:
                receiver.link_error = self.random.choice((NoAnswer("Silence."), LinkLost("Unplugged.")))
            case 1:
                receiver.fail(skip=self.random.randrange(3), times=self.random.randint(1, 5))
            case 2:
                receiver.fail(skip=self.random.randrange(3), after=True)
            case 3:
                self.quay.store.journal.full = True

    def end_trouble(self) -> None:
        self.quay.receiver.no_faults()
        self.quay.store.journal.full = False

    def heard(self) -> list[int]:
        return [int(data["serial"]) for _, data in self.quay.told(EventName.TRANSMITTER_HEARD)]

    def check(self) -> None:
        """Each press once and in order; only those before a restart may be missing; changes really change."""
        heard = self.heard()
        assert len(heard) == len(set(heard)), "told twice"
        assert heard == sorted(heard), "out of order"
        missing = set(self.pressed) - set(heard)
        assert missing <= self.at_risk, "lost without a restart"
        assert self.quay.told(EventName.RING_OVERRUN) == []
        boots = [data["boot_count"] for _, data in self.quay.told(EventName.RECEIVER_RESTARTED)]
        assert boots == sorted(set(boots)), "a restart told twice"
        assert bool(boots) == bool(self.restarts)
        links = [name for name, _ in self.quay.told(EventName.LINK_LOST, EventName.LINK_RESTORED)]
        assert links.count("link.restored") <= links.count("link.lost")
        self.check_slots()
        self.check_contacts()

    def check_contacts(self) -> None:
        """Every change of a contact is another value, unless a restart cast doubt; the last is the state."""
        board = self.quay.receiver.board
        for name, key, value, states in (
            (EventName.INPUT_CHANGED, "input", "violated", board.inputs),
            (EventName.OUTPUT_CHANGED, "output", "closed", board.outputs),
        ):
            for number, state in enumerate(states, 1):
                told = [data[value] for _, data in self.quay.told(name) if data[key] == number]
                assert self.restarts or all(a != b for a, b in pairwise(told)), "a change told twice"
                assert not told or told[-1] == state, "a change was never told"

    def check_slots(self) -> None:
        """The journal's slot changes, applied in order, lead to what the receiver holds."""
        present: set[int] = set()
        for _, data in self.quay.told(EventName.SLOT_CHANGED):
            for slot in data["slots"]:
                assert (slot["slot"] in present) == (slot["what"] != "added"), "a slot change told twice"
                if slot["what"] == "removed":
                    present.discard(slot["slot"])
                else:
                    present.add(slot["slot"])
        assert present == set(self.quay.receiver.board.slots)


@pytest.mark.parametrize("batch", range(BATCHES))
async def test_nothing_is_doubled_or_lost(batch: int) -> None:
    """Presses once and in order, restarts once, slot changes consistent, whatever came in between."""
    with capture_logs():
        for seed in range(batch * RUNS // BATCHES, (batch + 1) * RUNS // BATCHES):
            story = Story(seed)
            await story.tell()
            story.check()

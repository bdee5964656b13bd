"""The operating desk over receivers in memory and a clock that only the test moves.

Fennel Quay: the slip gate's output 1 is allowed, output 2 (lamp) is not, output 3 is named after a stop; its safety
inputs are input 2 here and input 1 of the boathouse. The live state is what the test says it is.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any

from gateway.domain.gate import Contact, InputRole
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.operation import Operable, Operation, Warning
from gateway.domain.receiver import Capability
from gateway.ports import OperationOrder
from gateway.watch.operating import OperatingDesk
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.operating import OperatedReceiver
from tests.fakes.receiver import EVERYTHING, FakeReceiver, some_limits
from tests.fakes.use_cases import FakeLive, MemoryAudit, online

__all__ = ["OperatingBench"]

_SAFETY = (
    Contact("slip-gate", 2, InputRole.SAFETY, "light barrier", "slip-gate"),
    Contact("boathouse", 1, InputRole.SAFETY, "edge", "slip-gate"),
)
_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


class OperatingBench:
    """Every part by name. `order` makes an order as the API does, `operate` gives it to the desk."""

    def __init__(self, *, warning: Warning | None = None, store: MemoryStore | None = None) -> None:
        self.clock = FakeClock()
        self.store = store or MemoryStore(self.clock)
        self.audit = MemoryAudit()
        self.gate = OperatedReceiver("slip-gate", self.clock, limits=some_limits(outputs=4))
        self.gate.board.on_times_s[3] = 60
        self.boathouse = FakeReceiver("boathouse", clock=self.clock, capabilities=EVERYTHING - {Capability.OPERATE})
        self.live = FakeLive(self.heard("slip-gate"), self.heard("boathouse"))
        self.planning = False
        self.boot_id = "boot-1"
        self.warning = warning
        self.names: dict[int, str] = {}
        board = self.gate.board
        self.store.mirrors.kept["slip-gate"] = Mirror("slip-gate", board.identity, board.limits, board.revision, {})
        self.desk = self.new_desk()

    def new_desk(self) -> OperatingDesk:
        """The desk after a start, over the same store."""
        allowed = Operable("slip-gate", 1, "gate", True, "slip-gate", "Slip gate", _SAFETY, self.warning)
        return OperatingDesk(
            (allowed, Operable("slip-gate", 2, "lamp"), Operable("slip-gate", 3, "emergency-stop", True)),
            receivers={"slip-gate": self.gate, "boathouse": self.boathouse},
            poll_rates_hz={"slip-gate": 5.0, "boathouse": 5.0},
            live=self.live,
            mirrors=self.store.mirrors,
            journal=self.store.journal,
            documents=self.store.documents,
            audit=self.audit,
            clock=self.clock,
            boot_id=self.boot_id,
            planning=lambda _: self.planning,
            names={"slip-gate": self.names},
        )

    def heard(self, name: str, link: LinkState = LinkState.ONLINE) -> LiveReceiver:
        """The live state of a receiver as it is now."""
        receiver = self.gate if name == "slip-gate" else self.boathouse
        status = receiver.board.status()
        if link is LinkState.ONLINE:
            return online(name, identity=receiver.board.identity, limits=receiver.board.limits, status=status)
        return LiveReceiver(name, link, _NOON, limits=receiver.board.limits, status=status)

    def order(self, **more: Any) -> OperationOrder:
        """One closure of the slip gate, asked for now."""
        fields = {"receiver": "slip-gate", "output": 1, "reason": "a delivery", "asked_by": "token:1"}
        return OperationOrder(**{**fields, "asked_s": self.clock.monotonic(), **more})

    async def operate(self, **more: Any) -> Operation:
        """The desk's answer; virtual time moves as far as it has to."""
        return await self.clock.run(self.desk.operate(self.order(**more)))

    @asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """The desk's own task, while the body runs."""
        task = asyncio.ensure_future(self.desk.run())
        await self.clock.settle()
        try:
            yield
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

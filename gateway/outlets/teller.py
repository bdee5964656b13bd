"""What the journal is told of an outlet: that it fails, that it works again, that an event was set aside."""

from __future__ import annotations

from typing import Any

import structlog

from gateway.domain.events import Event, EventDraft, EventName
from gateway.errors import StoreError
from gateway.outlets.outages import Outage
from gateway.ports import Commit, Journal, Outlet

__all__ = ["Teller"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")


class Teller:
    """Each method is True when the event is durable."""

    def __init__(self, outlet: Outlet, journal: Journal) -> None:
        self._outlet = outlet
        self._journal = journal
        self._failing = Outage("outlet.failing")
        self._untold = Outage("event.lost")

    async def failing(self, problem: str, remedy: str, *, disabled: bool) -> bool:
        """Events can't be delivered."""
        self._failing.failed(outlet=self._outlet.name, problem=problem, disabled=disabled)
        data = {"problem": problem, "remedy": remedy, "disabled": disabled}
        return await self._tell(EventName.OUTLET_FAILING, data)

    async def recovered(self, failed_s: float) -> bool:
        """They can again."""
        told = await self._tell(EventName.OUTLET_RECOVERED, {"failed_s": round(max(failed_s, 0.0))})
        if told:
            log.info("outlet.recovered", outlet=self._outlet.name, failed_s=failed_s)
            self._failing.worked()
        return told

    async def set_aside(self, event: Event, problem: str) -> bool:
        """One was refused three times."""
        log.warning("outlet.set_aside", outlet=self._outlet.name, number=event.id.number, problem=problem)
        data = {"number": event.id.number, "event": event.name.value, "problem": problem}
        return await self._tell(EventName.OUTLET_SET_ASIDE, data)

    async def _tell(self, name: EventName, data: dict[str, Any]) -> bool:
        data = {"outlet": self._outlet.name, "kind": self._outlet.kind, **data}
        try:
            await self._journal.commit(Commit(events=(EventDraft(name, data=data),)))
        except StoreError as fault:
            self._untold.failed(name=str(name), code=fault.code)
            return False
        self._untold.worked()
        return True

"""The tasks that keep the gateway itself in order: forgetting in time, sealing the audit, feeding the watchdog."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

import structlog

from gateway.clock import Clock
from gateway.daemon.house import House
from gateway.daemon.pulse import moving_lines
from gateway.domain.events import EventDraft, EventName
from gateway.errors import StoreError
from gateway.ports import Audit, Commit, EventFilter, Journal
from gateway.store.journal import KEEP_EVENTS
from gateway.system.notify import ServiceManager
from gateway.system.watchdog import Watchdog

__all__ = ["forget_in_time", "seal_audit", "tell_outages", "watch_over"]

_SEALS = EventFilter(names=frozenset({EventName.AUDIT_SEALED}))

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.daemon")

_FORGET_EVERY_S = 6 * 3600.0
_SEAL_EVERY_S = 24 * 3600.0
#: Our choice: room is used again within 10 s of its return (fault 12), also when nothing else is written.
_PROBE_EVERY_S = 5.0


async def forget_in_time(house: House) -> None:
    """What is kept goes when the settings say so, counted only by a clock that is right."""
    ground = house.ground
    while True:
        try:
            await ground.store.journal.forget_beyond(KEEP_EVENTS)
            if ground.trust.trusted:
                days = timedelta(days=ground.settings.gateway.keep_heard_days)
                await ground.store.journal.forget_heard(ground.clock.now() - days)
                await house.syncing.shelf.prune()
                history = timedelta(days=ground.settings.gateway.keep_history_days)
                await ground.store.receipts.prune(ground.clock.now() - history)
                await ground.store.history.forget(ground.clock.now() - history)
                audit = timedelta(days=ground.settings.gateway.keep_audit_days)
                await ground.store.audit.forget(ground.clock.now() - audit)
                await ground.store.remove_set_aside(ground.clock.now() - days)
        except StoreError as fault:
            log.warning("retention.failed", code=fault.code)
        await ground.clock.sleep(_FORGET_EVERY_S)


async def seal_audit(audit: Audit, journal: Journal, clock: Clock) -> None:
    """Tell the audit's newest row at the start and once a day, so that outlets carry it to where root can't follow.

    Nothing is told while nothing was added since.
    """
    while True:
        try:
            seal = audit.seal
            told = await journal.read(0, limit=1, wanted=_SEALS, newest_first=True)
            if seal and not (told and told[0].data.get("hash") == seal.hash):
                draft = EventDraft(EventName.AUDIT_SEALED, data={"number": seal.number, "hash": seal.hash})
                await journal.commit(Commit(events=(draft,)))
        except StoreError as fault:
            log.warning("audit.not_sealed", code=fault.code)
        await clock.sleep(_SEAL_EVERY_S)


async def tell_outages(problem: Callable[[], str], journal: Journal, clock: Clock) -> None:
    """While the journal can't be written try to say so in it; the first time that works it is over, and told.

    Meanwhile health, notices and `journal.available` tell of it from memory.
    """
    while True:
        await clock.sleep(_PROBE_EVERY_S)
        if not (why := problem()):
            continue
        began = clock.monotonic()
        log.warning("journal.unavailable")
        while not await _resumed(journal, {"failed_s": round(clock.monotonic() - began, 1), "problem": why}):
            await clock.sleep(_PROBE_EVERY_S)
        log.info("journal.resumed")


async def _resumed(journal: Journal, data: Mapping[str, Any]) -> bool:
    try:
        await journal.commit(Commit(events=(EventDraft(EventName.JOURNAL_RESUMED, data=data),)))
    except StoreError:
        return False
    return True


async def watch_over(house: House, manager: ServiceManager, interval_s: float) -> None:
    """Feed the service manager's watchdog only while the store and every line make progress."""
    clock, store, lines = house.ground.clock, house.ground.store, house.ground.parts.lines
    watchdog = Watchdog(clock, manager.watchdog, interval_s)
    store_lives = watchdog.register("store")
    line_lives = {name: watchdog.register(f"line {name}") for name in lines}
    sent = dict.fromkeys(lines, -1)
    async with asyncio.TaskGroup() as group:
        group.create_task(watchdog.run())
        while True:
            await store.alive()
            store_lives()
            for name in moving_lines(house.ground, house.watching, sent):
                line_lives[name]()
            await clock.sleep(interval_s / 8)

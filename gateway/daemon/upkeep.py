"""The two tasks that keep the gateway itself in order: forgetting in time, and feeding the watchdog truthfully."""

from __future__ import annotations

import asyncio
from datetime import timedelta

import structlog

from gateway.daemon.house import House
from gateway.daemon.pulse import moving_lines
from gateway.errors import StoreError
from gateway.system.notify import ServiceManager
from gateway.system.watchdog import Watchdog

__all__ = ["forget_in_time", "watch_over"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.daemon")

_FORGET_EVERY_S = 6 * 3600.0
#: Our choice: some 200 MB, years of a quiet site; outlets can catch up as far back.
_KEEP_EVENTS = 500_000


async def forget_in_time(house: House) -> None:
    """What is kept goes when the settings say so, counted only by a clock that is right."""
    ground = house.ground
    while True:
        try:
            await ground.store.journal.forget_beyond(_KEEP_EVENTS)
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

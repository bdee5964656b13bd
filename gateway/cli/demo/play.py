"""What the demo shows, in order: sync, presses, a lost transmitter revoked and proven gone, and life in the yard."""

from __future__ import annotations

import asyncio
import contextlib
import random
import signal
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gateway.cli.client import StreamEvent
from gateway.cli.console import REFUSED, console, fail
from gateway.cli.demo.boatyard import LOST, RECEIVERS, Place, Row, holders
from gateway.cli.demo.yard import Yard, check_listen, open_yard
from gateway.cli.rosters import follow_plan
from gateway.cli.words import event_sentence, plan_sentence
from gateway.clock import SystemClock
from gateway.errors import GatepostError

__all__ = ["play"]

_GATE, _CAR_PARK, _WORKSHOP = RECEIVERS
_SHOWN = frozenset(
    f"local.gatepost.{name}"
    for name in (
        "transmitter.heard", "input.changed", "output.changed", "revocation.pending", "revocation.applied",
        "link.lost", "link.restored", "drift.found", "settings.changed", "plan.held", "plan.failed",
        "condition.raised", "condition.cleared",
    )
)  # fmt: skip


def play(seconds: float | None, listen: str) -> None:
    """Until it ends by itself after `seconds`, or somebody ends it. Faults end the command with their exit code."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # else its processes would outlive it
    try:
        check_listen(listen)
        asyncio.run(_run(seconds, listen))
    except GatepostError as error:
        fail(error)
    except KeyboardInterrupt:
        console.print("\nThe yard is closed.")


async def _run(seconds: float | None, listen: str) -> None:
    clock = SystemClock()
    end = None if seconds is None else clock.monotonic() + seconds
    with tempfile.TemporaryDirectory(prefix="gatepost-demo-") as folder:
        console.print("Fennel Quay, an invented boatyard. Two serial lines at 115200 baud, three virtual receivers.")
        async with open_yard(Path(folder), listen, clock) as yard:
            await _Play(yard, listen, end).run()


class _Play:
    """The acts of the demo, one method each."""

    def __init__(self, yard: Yard, listen: str, end: float | None) -> None:
        self._yard = yard
        self._listen = listen
        self._end = end
        self._seen: Counter[str] = Counter()
        self._written = 0

    async def run(self) -> None:
        await self._show_door()
        await self._sync()
        async with asyncio.TaskGroup() as group:
            follower = group.create_task(self._follow())
            await self._yard.clock.sleep(0.3)
            await self._presses()
            gone = await self._revoke()
            await self._live()
            follower.cancel()
        self._sum_up(gone)

    async def _show_door(self) -> None:
        token = await self._yard.client.send("POST", "/tokens", {"name": "demo", "scopes": ["admin"]})
        console.print("\nThe status page; this address signs you in:")
        console.print(f"  http://{self._listen}/#sign-in={token['secret']}", markup=False, soft_wrap=True)
        console.print(f"The API is at http://{self._listen}/api/v1, the token for this run is")
        console.print(f"  {token['secret']}", markup=False)
        console.print("Try it from another terminal:")
        console.print(
            f"  curl -H 'Authorization: Bearer {token['secret']}' http://{self._listen}/api/v1/receivers",
            markup=False,
            soft_wrap=True,
        )

    async def _sync(self) -> None:
        client = self._yard.client
        for receiver in await self._yard.wait_mirrored():
            identity, limits = receiver["identity"], receiver["limits"]
            console.print(f"\n{receiver['id']}: {identity['product']} number {identity['serial']}, "
                          f"{limits['slots']} slots, answers.", markup=False, end="")  # fmt: skip
        await client.send("POST", "/roster/fetches")
        console.print("\n\nWhat the roster would change (nothing is written yet):")
        for place in RECEIVERS:
            plan = await client.send("POST", "/plans", {"receiver": place.name, "preview": True})
            console.print(f"  {plan_sentence(plan)}", markup=False)
            for change in plan["changes"][:2]:
                console.print(f"    {change['words']}", markup=False)
        console.print("\nBringing the receivers to the roster: each slot is written, read back, and proven by CRC-32.")
        with Progress(
            TextColumn("  {task.fields[receiver]:<10}"), BarColumn(), TextColumn("{task.completed:>3}/{task.total}"),
            TimeElapsedColumn(), console=console,
        ) as bars:  # fmt: skip
            plans = await asyncio.gather(*(self._apply(place.name, bars) for place in RECEIVERS))
        for plan in plans:
            console.print(f"  {plan['receiver']}: {plan['outcome'] or plan['state']}", markup=False)

    async def _apply(self, receiver: str, bars: Progress) -> dict[str, Any]:
        plan = await self._yard.client.send("POST", "/plans", {"receiver": receiver})
        plan = await follow_plan(self._yard.client, plan, bars)
        if plan["state"] != "applied":
            raise GatepostError(f"The change for {receiver} is {plan['state']}: {plan['outcome']}.")
        self._written += plan["added"] + plan["changed"] + plan["removed"]
        return plan

    async def _follow(self) -> None:
        newest = (await self._yard.client.get("/gateway"))["journal"]["newest"]
        async for event in self._yard.client.stream(newest):
            self._tell(event)

    def _tell(self, event: StreamEvent) -> None:
        self._seen[event.name] += 1
        if event.document["type"] in _SHOWN:
            console.print(f"  {event_sentence(event.document)}", markup=False)

    async def _presses(self) -> None:
        yard, first = self._yard, holders()
        console.print("\nA berth holder drives in, and the gate leaves its closed contact:")
        await yard.act(_CAR_PARK, f"press {first[20].serial} 1")
        await yard.clock.sleep(0.3)
        await yard.act(_CAR_PARK, "input 1 violated")
        await yard.clock.sleep(1.4)
        await yard.act(_GATE, f"press {first[20].serial} 1")
        await yard.clock.sleep(0.3)
        await yard.act(_GATE, "input 1 violated")
        await yard.clock.sleep(1.0)
        await self._show_gates()
        await yard.act(_CAR_PARK, "input 1 normal")
        await yard.act(_GATE, "input 1 normal")
        await yard.clock.sleep(1.0)

    async def _show_gates(self) -> None:
        """Where every gate stands, in sentences."""
        for gate in (await self._yard.client.get("/gates"))["gates"]:
            console.print(f"    {gate['sentence']}", markup=False)

    async def _revoke(self) -> bool:
        yard, serial = self._yard, f"{LOST.serial:010d}"
        console.print(f"\n{LOST.holder} has lost a transmitter, {serial}. It still works:")
        await yard.act(_CAR_PARK, f"press {LOST.serial} 1")
        await yard.clock.sleep(0.8)
        console.print("It is revoked:")
        started = yard.clock.monotonic()
        await yard.client.send("POST", "/revocations", {"serial": serial, "reason": "lost on the pontoon"})
        proven = await self._wait_proven(serial)
        took = yard.clock.monotonic() - started
        await yard.clock.sleep(0.4)
        left = [
            place.name
            for place in RECEIVERS
            if await yard.client.get_all(f"/receivers/{place.name}/slots", "slots", q=serial)
        ]
        if proven and not left:
            console.print(
                f"Gone from every receiver after {took:.2f} s, proven by reading their memories. Pressed again:"
            )
        else:
            console.print(f"Not proven yet: {', '.join(left) or 'a receiver does not answer'}.", markup=False)
        await yard.act(_CAR_PARK, f"press {LOST.serial} 1")
        await yard.clock.sleep(1.0)
        return proven and not left

    async def _wait_proven(self, serial: str) -> bool:
        with contextlib.suppress(TimeoutError):
            async with self._yard.clock.timeout(10):
                while True:
                    for entry in await self._yard.client.get_all("/revocations", "revocations"):
                        if entry["serial"] == serial and entry["proven"]:
                            return True
                    await self._yard.clock.sleep(0.02)
        return False

    async def _live(self) -> None:
        left = None if self._end is None else self._end - self._yard.clock.monotonic()
        console.print(
            "\nLife in the yard" + (", until Ctrl-C:" if left is None else f" for {max(left, 0):.0f} s more:")
        )
        dice = random.Random(25)  # noqa: S311 - invented comings and goings
        people = [row for row in holders() if row is not LOST]
        while self._end is None or self._yard.clock.monotonic() < self._end:
            await self._someone(dice, dice.choice(people))
            await self._pause(dice.uniform(1.0, 3.0))

    async def _pause(self, seconds: float) -> None:
        if self._end is not None:
            seconds = min(seconds, max(self._end - self._yard.clock.monotonic(), 0.0))
        await self._yard.clock.sleep(seconds)

    async def _someone(self, dice: random.Random, who: Row) -> None:
        deed = dice.randrange(5)
        if deed == 0:
            await self._swing(_WORKSHOP, 3.5)
        elif deed == 1:
            await self._yard.act(_CAR_PARK, f"press {dice.randrange(49_000_000, 50_000_000)} 1")
        else:
            place = _CAR_PARK if who.group == "berth-holders" else _GATE
            await self._yard.act(
                place, f"press {who.serial} {1 if place is _GATE or who.group == 'berth-holders' else 2}"
            )
            await self._pause(0.3)
            await self._swing(place, 1.5)

    async def _swing(self, place: Place, open_s: float) -> None:
        """The gate leaves its closed contact for a while; with no press before, somebody has lifted it by hand."""
        await self._yard.act(place, "input 1 violated")
        await self._pause(open_s)
        await self._yard.act(place, "input 1 normal")

    def _sum_up(self, gone: bool) -> None:
        heard, moved = self._seen["transmitter.heard"], self._seen["output.changed"]
        console.print(
            f"\nIn this run: {self._written} slots written and proven on {len(RECEIVERS)} receivers, "
            f"{heard} presses heard, {moved} output changes "
            f"and {self._seen['input.changed']} input changes told, one transmitter revoked"
            + (" and proven gone." if gone else ", not proven gone.")
        )
        console.print(
            "Moving gates can crush, trap and kill. Gatepost is no safety device and replaces none; local codes and a "
            "licensed installer decide."
        )
        if not gone:
            raise typer.Exit(REFUSED)

"""How long a good client waits while somebody tries a thousand wrong tokens a second.

    python -m tests.benchmarks.guessing_bench

The gateway is a process with a receiver, the guesser another one with connections that stay open. The good client asks
for the gateway's state with a token of its own, from the same address, which is shut out for all tokens but known ones.
The goal is 250 ms for 99 of 100 answers.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import time

import aiohttp

from tests.integration.yard import berths, open_yard

SECONDS = 10
GUESSES_PER_SECOND = 1000
_CONNECTIONS = 8


async def _guess(address: str, count: list[int]) -> None:
    end, pause_s = time.monotonic() + SECONDS, _CONNECTIONS / GUESSES_PER_SECOND

    async def one(session: aiohttp.ClientSession, number: int) -> None:
        due = time.monotonic()
        while time.monotonic() < end:
            async with session.get("/api/v1/gateway", headers={"Authorization": f"Bearer wrong-{number}"}) as answer:
                assert answer.status in (401, 429)
            count[0] += 1
            due += pause_s
            await asyncio.sleep(max(0.0, due - time.monotonic()))

    async with aiohttp.ClientSession(address) as session, asyncio.TaskGroup() as group:
        for number in range(_CONNECTIONS):
            group.create_task(one(session, number))


def _guessing(address: str) -> None:
    count = [0]
    asyncio.run(_guess(address, count))
    print(f"{count[0] / SECONDS:.0f} wrong tokens a second")


async def _ask(address: str, token: str, seconds: float) -> list[float]:
    found, end = [], time.monotonic() + seconds
    async with aiohttp.ClientSession(address, headers={"Authorization": f"Bearer {token}"}) as session:
        while time.monotonic() < end:
            began = time.monotonic()
            async with session.get("/api/v1/gateway") as answer:
                assert answer.status == 200
                await answer.read()
            found.append(time.monotonic() - began)
            await asyncio.sleep(0.02)
    return sorted(found)


def _told(times_s: list[float]) -> str:
    half, most = times_s[len(times_s) // 2], times_s[len(times_s) * 99 // 100]
    return f"{len(times_s)} answers, half within {half * 1000:.1f} ms, 99 of 100 within {most * 1000:.1f} ms"


def main() -> None:
    """Print both, with and without a guesser."""
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_roster(*berths(3))
        yard.write_settings()
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        token = daemon.post("/tokens", {"name": "good client", "scopes": ["view"]}).json()["secret"]
        print("alone:", _told(asyncio.run(_ask(daemon.address, token, 5))))
        guesser = multiprocessing.get_context("spawn").Process(target=_guessing, args=(daemon.address,))
        guesser.start()
        time.sleep(1.5)
        print("while somebody guesses:", _told(asyncio.run(_ask(daemon.address, token, SECONDS - 2))))
        guesser.join()


if __name__ == "__main__":
    main()

"""The page with much to show: 1024 transmitters on the receiver, 5,000 people in the roster, 10,000 events.

    python -m tests.benchmarks.page_bench

Debian's Chromium on this machine, a new profile each time, the gateway on loopback. Prints medians of five: first
contentful paint (the browser's own measure) with an empty cache, until a view is whole, from a key typed in the search
to the people found, from a contact to the sentence on the page; then what it takes to scroll through all of the
events: rows, the longest task that blocked the page, and the weight of the page's files.
"""

from __future__ import annotations

import asyncio
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path

from playwright.async_api import Browser, expect

import gateway.api
from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit
from tests.browser.driving import DESK, PHONE, Visitor, open_browser, open_visitor
from tests.browser.quay import Quay, open_quay

ROUNDS, EVENTS, PEOPLE, HELD = 5, 10_000, 5_000, 1_024


def fill_journal(state: Path) -> None:
    """Ten thousand events of a busy yard, put into the store while the gateway is stopped; in a process of its own."""
    subprocess.run([sys.executable, "-m", "tests.benchmarks.page_bench", "--fill", str(state)], check=True)


async def _fill(state: Path) -> None:
    from gateway.clock import SystemClock  # noqa: PLC0415 - only the filling process needs the store
    from gateway.store.opening import open_store  # noqa: PLC0415
    from tests.fakes.use_cases import FakeTrust  # noqa: PLC0415

    store = await open_store(state, SystemClock(), FakeTrust(), boot_id="bench")
    try:
        drafts = [
            EventDraft(
                EventName.TRANSMITTER_HEARD,
                "car-park",
                {
                    "serial": f"{48_200_001 + number % 900:010d}", "holder": f"Berth {number % 900 + 1}",
                    "position": "1", "slot": number % 900 + 1, "outputs": [1], "output_names": ["barrier"],
                    "known": True, "enrolling": False,
                },
            )
            for number in range(EVENTS)
        ]  # fmt: skip
        for begin in range(0, EVENTS, 500):
            await store.journal.commit(Commit(events=tuple(drafts[begin : begin + 500])))
    finally:
        await store.close()


async def measure(work: Callable[[], Awaitable[float]]) -> str:
    """The median of so many rounds, in milliseconds."""
    return f"{statistics.median([await work() for _ in range(ROUNDS)]) * 1000:.0f} ms"


async def first_paint(browser: Browser, quay: Quay, token: str, size: tuple[int, int]) -> tuple[float, float]:
    """Seconds to the first contentful paint, and until every section stands."""
    async with open_visitor(browser, quay.address, size=size) as visitor:
        begin = time.monotonic()
        await visitor.page.goto(f"{quay.address}/#sign-in={token}")
        await expect(visitor.page.get_by_role("article", name="Slip gate")).to_be_visible()
        await expect(visitor.page.locator(".loading")).to_have_count(0)
        whole = time.monotonic() - begin
        paint = await visitor.page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
        return float(paint) / 1000, whole


async def view(browser: Browser, quay: Quay, token: str, path: str, shows: str) -> float:
    """Seconds from the address to the view with its first content."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(token)
        begin = time.monotonic()
        await visitor.page.goto(f"{quay.address}/#/{path}")
        await expect(visitor.page.get_by_text(shows).first).to_be_visible()
        return time.monotonic() - begin


async def typing(visitor: Visitor) -> float:
    """Seconds from the last key to the one person found, the page's own pause among them."""
    field = visitor.page.get_by_label("Holder or serial")
    await field.fill("")
    await expect(visitor.page.get_by_role("status").filter(has_text=f"{PEOPLE + 1:,} people")).to_be_visible()
    await field.press_sequentially("4820432")
    begin = time.monotonic()
    await field.press_sequentially("1")
    await expect(visitor.page.get_by_role("article")).to_have_count(1)
    return time.monotonic() - begin


async def live(visitor: Visitor, quay: Quay) -> float:
    """Seconds from the contact at the receiver to the sentence on the page."""
    gate = visitor.page.get_by_role("article", name="Car-park barrier")
    await expect(gate).to_contain_text("is shut")
    begin = time.monotonic()
    quay.open_gate(2)
    await expect(gate).to_contain_text("is moving")
    took = time.monotonic() - begin
    quay.shut_gate(2)
    await expect(gate).to_contain_text("is shut")
    await asyncio.sleep(1)
    return took


async def scroll(visitor: Visitor) -> dict[str, float]:
    """Scroll until every event was there; the tasks that blocked the page for longer than 50 ms are counted."""
    page = visitor.page
    await page.evaluate(
        "window.long = []; new PerformanceObserver((list) => long.push(...list.getEntries().map((e) => e.duration)))"
        ".observe({ type: 'longtask' })"
    )
    begin = time.monotonic()
    more = page.get_by_role("button", name="Show older")
    while await more.is_visible() and time.monotonic() - begin < 120:
        await page.evaluate("scrollTo(0, document.body.scrollHeight)")
        await page.wait_for_timeout(20)
    seconds = time.monotonic() - begin
    elements = int(await page.evaluate("document.querySelectorAll('.log .line').length"))
    tasks = await page.evaluate("long")
    frames = await page.evaluate(
        "new Promise((done) => { const times = []; let y = document.body.scrollHeight; const step = (now) => {"
        " times.push(now); scrollTo(0, (y -= 400)); times.length < 121 ? requestAnimationFrame(step)"
        " : done((times[120] - times[0]) / 120); }; requestAnimationFrame(step); })"
    )
    return {
        "seconds to the oldest": seconds, "rows with elements": elements, "long tasks": len(tasks),
        "longest ms": max(tasks, default=0.0), "ms a frame, scrolling back": float(frames),
    }  # fmt: skip


def weight() -> str:
    """What the page's files weigh."""
    found = [path for path in (Path(gateway.api.__file__).parent / "page").rglob("*") if path.is_file()]
    return f"{len(found)} files, {sum(path.stat().st_size for path in found) / 1024:.0f} KiB"


async def _main() -> None:
    print(datetime.now(UTC).date(), weight())
    with open_quay(people=PEOPLE, held=HELD) as quay:
        quay.yard.daemon.stop()
        fill_journal(quay.yard.folder / "state")
        quay.yard.daemon.start()
        quay.yard.daemon.wait_mirrored("slip-gate", "car-park")
        token = quay.token("admin")
        async with open_browser() as browser:
            for name, size in (("desk", DESK), ("phone", PHONE)):
                found = [await first_paint(browser, quay, token, size) for _ in range(ROUNDS)]
                paint, whole = (statistics.median(times) * 1000 for times in zip(*found, strict=True))
                print(f"{name}: first contentful paint {paint:.0f} ms, at a glance whole {whole:.0f} ms")
            for path, shows in (("timeline", "used Car-park barrier"), ("people", "Works as the roster says")):

                async def once(path: str = path, shows: str = shows) -> float:
                    return await view(browser, quay, token, path, shows)

                print(f"{path}: {await measure(once)}")
            async with open_visitor(browser, quay.address) as visitor:
                await visitor.sign_in(token)
                print("contact to sentence:", await measure(lambda: live(visitor, quay)))
                await visitor.go("people")
                print("key to person found:", await measure(lambda: typing(visitor)))
                await visitor.go("timeline?kind=use")
                print(json.dumps({key: round(value, 1) for key, value in (await scroll(visitor)).items()}))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--fill"]:
        asyncio.run(_fill(Path(sys.argv[2])))
    else:
        asyncio.run(_main())

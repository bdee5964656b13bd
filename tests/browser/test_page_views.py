"""What the page shows and how it stays true, in a real browser against a running gateway."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import parse_qs, urlsplit
from zoneinfo import ZoneInfo

import pytest
from playwright.async_api import Browser, Route, expect

from tests.browser.driving import SCHEMES, SIZES, open_visitor
from tests.browser.looks import check_told
from tests.browser.quay import MARKUP, Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")

_VIEWS = ("", "timeline", "people?q=img", "access?gate=barrier", "why?who=Berth%201")


async def test_a_gate_is_told_as_it_moves(browser: Browser, quay: Quay) -> None:
    """Without a reload: the sentence, the first sentence, and back."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        gate = visitor.page.get_by_role("article", name="Car-park barrier")
        await expect(gate).to_contain_text("Car-park barrier is shut")
        quay.press(48_200_002)
        quay.open_gate(2)
        await expect(gate).to_contain_text("Car-park barrier is moving")
        await expect(visitor.page.locator(".lead")).to_contain_text("Car-park barrier is not shut")
        await expect(gate).to_contain_text("Car-park barrier is open since")  # by time alone: no event tells it
        quay.shut_gate(2)
        await expect(gate).to_contain_text("Car-park barrier is shut")
        await visitor.go("timeline?kind=use")
        await expect(visitor.page.locator(".log .line").first).to_contain_text("Berth 2 used Car-park barrier")


async def test_taking_note_of_what_needs_somebody(browser: Browser, quay: Quay) -> None:
    """A gate that opens by itself: said once for all to hear, noted by a name, kept while it lasts."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        quay.open_gate(1)
        gate = visitor.page.get_by_role("article", name="Slip gate")
        await expect(gate).to_contain_text("opened with no transmitter", timeout=40_000)
        await expect(gate).to_contain_text("Needs attention")
        assert "open:" in await visitor.page.title()
        await gate.get_by_role("button", name="Take note").click()
        await expect(gate.get_by_label("Your name")).to_be_focused()
        await visitor.page.keyboard.press("Escape")
        await expect(gate.get_by_role("button", name="Take note")).to_be_focused()
        await visitor.page.keyboard.press("Enter")
        await gate.get_by_label("Your name").fill(MARKUP)
        await gate.get_by_label("What you did").fill("Wind had it.")
        await gate.get_by_role("button", name="Take note").click()
        await expect(gate).to_contain_text(f"{MARKUP} has taken note")
        assert await visitor.violations() == []
        quay.shut_gate(1)
        await expect(gate).to_contain_text("Healthy.")


async def test_what_is_lost_is_said_and_comes_back(browser: Browser, quay: Quay) -> None:
    """The gateway goes away: nothing is shown as if it were now. It comes back: live by itself, signed in as before."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("view"))
        gate = visitor.page.get_by_role("article", name="Slip gate")
        await expect(gate).to_contain_text("Slip gate is shut")
        quay.yard.daemon.kill()
        await expect(visitor.page.locator(".link-state")).to_contain_text("Not live since")
        await expect(gate).to_contain_text("Where Slip gate stands now is not known.")
        await expect(gate).to_contain_text("it was shut")
        bar = visitor.page.locator(".stale-bar")
        await check_told(browser, bar.locator("strong"), "◇ Not live since", frame=bar)
        assert (await visitor.page.title()).startswith("Not live")
        await expect(visitor.page.get_by_role("region", name="Needs somebody")).to_contain_text("Not known")
        assert await visitor.violations() == []
        quay.yard.daemon.start()
        await expect(visitor.page.locator(".link-state")).to_have_text("Live", timeout=40_000)
        await expect(gate).to_contain_text("Slip gate is shut", timeout=40_000)
        await expect(visitor.page.locator(".stale-bar")).to_be_hidden()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_axe_finds_nothing(browser: Browser, quay: Quay, size: str, scheme: str) -> None:
    """axe-core, WCAG 2.2 A and AA, on every view; and nothing is wider than the window."""
    async with open_visitor(browser, quay.address, size=SIZES[size], scheme=scheme) as visitor:
        await visitor.sign_in(quay.token("roster"))
        for view in _VIEWS:
            await visitor.go(view)
            await visitor.page.wait_for_timeout(0)
            assert await visitor.violations() == [], view
            content, window = await visitor.width()
            assert content <= window, view
        if size == "phone":
            await visitor.page.get_by_role("button", name="Menu").click()
            assert await visitor.violations() == []


async def test_names_full_of_markup_stay_text(browser: Browser, quay: Quay) -> None:
    """In cards, in answers, in the timeline and in the export; nothing of it becomes an element."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        quay.press(48_900_001)
        for view in ("people?q=img", "timeline?who=img", "why?who=0048900001"):
            await visitor.go(view)
            await expect(visitor.page.get_by_text(MARKUP).first).to_be_visible()
            assert await visitor.page.locator("img").count() == 0
        await visitor.go("timeline?who=img")
        async with visitor.page.expect_download() as saving:
            await visitor.page.get_by_role("link", name="Save as a table").click()
        rows = _table(Path(await (await saving.value).path()))
        assert rows
        assert {row["who"] for row in rows} == {MARKUP}


def _table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline="")))


async def test_finding_somebody_as_one_types(browser: Browser, quay: Quay) -> None:
    """By a part of the name, by digits; the card says what works where, and its story opens."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        await visitor.go("people")
        await visitor.page.get_by_label("Holder or serial").press_sequentially("48200007")
        card = visitor.page.get_by_role("article", name="Berth 7")
        await expect(visitor.page.get_by_role("article")).to_have_count(1)
        await expect(card).to_contain_text("Position 1 works Slip gate.")
        assert "q=48200007" in visitor.page.url
        await expect(card).not_to_contain_text("any.")  # a kind that nobody has said
        await card.get_by_text("Its story").click()
        await expect(card.get_by_role("link", name="Every press in the timeline")).to_be_visible()
        await card.get_by_role("link", name="Why does it not open?").click()
        await expect(visitor.page.get_by_text("No receiver here has heard it.")).to_be_visible()
        quay.press(48_200_007)
        await expect(visitor.page.get_by_text("No receiver here has heard it.")).to_have_count(0)


async def test_a_day_of_the_timeline_and_its_charts(browser: Browser, quay: Quay) -> None:
    """A day on which nothing was says so; how much a gate is used stands as bars, as numbers and as cycles."""
    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await visitor.sign_in(quay.token("roster"))
        quay.press(48_200_006)
        await visitor.go("timeline?kind=use&who=Berth 6")
        await expect(page.locator(".log .line").first).to_contain_text("Berth 6 used Car-park barrier")
        use = page.get_by_role("region", name="How much it is used")
        await expect(use).to_contain_text("Last 30 days, all gates.")
        await page.get_by_label("Gate", exact=True).select_option("Car-park barrier")
        await expect(use).to_contain_text("Last 30 days. Car-park barrier")
        await expect(use).to_contain_text("since counting began.")
        days = use.locator("figure").filter(has_text="Presses a day")
        await days.get_by_text("The numbers as a table").click()
        await expect(days.get_by_role("row")).to_have_count(31)  # with its headings
        today = int(await days.get_by_role("row").last.get_by_role("cell").inner_text())
        assert today >= 1
        bars = days.locator("rect")
        await expect(bars).to_have_count(30)
        assert await bars.last.evaluate("(bar) => bar.height.baseVal.value") > 0
        await page.get_by_label("Gate", exact=True).select_option("Slip gate")
        await expect(use).to_contain_text("since the last service.")
        await page.get_by_label("Day", exact=True).fill("2020-02-29")
        await expect(page.get_by_text("Nothing that is kept fits these filters.")).to_be_visible()
        assert "day=2020-02-29" in page.url
        await visitor.go(f"timeline?day={datetime.now(ZoneInfo('Europe/London')).date()}")
        await expect(page.locator(".log-day")).to_have_count(1)
        await expect(page.locator(".log-day")).to_contain_text("Today")


async def test_by_keyboard_alone(browser: Browser, quay: Quay) -> None:
    """From the door to a filter: each step is seen to have the focus."""
    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await page.goto(quay.address)
        await expect(page.get_by_label("Token")).to_be_focused()
        await page.keyboard.type(quay.token("roster"))
        await page.keyboard.press("Enter")
        await expect(page.get_by_role("heading", level=1)).to_have_text("At a glance")
        await expect(page.get_by_role("heading", level=1)).to_be_focused()
        await page.reload()
        await expect(page.get_by_role("heading", level=1)).to_have_text("At a glance")
        await page.keyboard.press("Tab")
        await expect(page.get_by_role("link", name="To the content")).to_be_focused()
        await page.keyboard.press("Enter")
        await expect(page.locator("#main")).to_be_focused()
        await page.keyboard.press("Shift+Tab")
        for _ in range(20):
            if await page.evaluate("document.activeElement.textContent") == "Timeline":
                break
            await page.keyboard.press("Shift+Tab")
        shown = await page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert shown == "solid"
        await page.keyboard.press("Enter")
        await expect(page.get_by_role("heading", level=1)).to_be_focused()
        await expect(page.get_by_role("heading", level=1)).to_have_text("Timeline")
        await page.keyboard.press("Tab")
        await expect(page.get_by_label("Gate", exact=True)).to_be_focused()
        await expect(page.get_by_role("option", name="Car-park barrier")).to_be_attached()
        await page.keyboard.type("Car")
        await expect(page).to_have_url(f"{quay.address}/#/timeline?gate=barrier")


async def test_a_view_that_could_not_be_read_is_read_when_it_can(browser: Browser, quay: Quay) -> None:
    """It says what is wrong and what to do, and needs nobody to come back."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        quay.yard.daemon.kill()
        await expect(visitor.page.locator(".link-state")).to_contain_text("Not live since")
        await visitor.page.goto(f"{quay.address}/#/people?q=48200003")
        failed = visitor.page.get_by_role("alert").filter(has_text="The gateway can't be reached")
        await expect(failed).to_be_visible()
        assert await visitor.violations() == []
        quay.yard.daemon.start()
        await expect(visitor.page.get_by_role("article", name="Berth 3")).to_be_visible(timeout=40_000)
        await expect(failed).to_have_count(0)


def _rows(place: int) -> dict[str, object]:
    """A page of a made-up timeline of 10,050 events: sixty-seven pages, 400 events a day."""
    rows = []
    for number in range(place * 150, (place + 1) * 150):
        time = datetime(2026, 3, 2, 12, tzinfo=UTC) - timedelta(minutes=3.6 * number)
        rows.append(
            {
                "id": f"e-{20_000 - number}", "time": time.isoformat(), "late": None, "name": "transmitter.heard",
                "kind": "use", "receiver": "car-park", "gates": ["barrier"], "serial": "0048200001",
                "holder": "Berth 1", "weight": None, "sentence": f"Event {number} happened.",
            }
        )  # fmt: skip
    return {"rows": rows, "next": str(place + 1) if place < 66 else None}


async def test_ten_thousand_events_without_weight(browser: Browser, quay: Quay) -> None:
    """All of them can be scrolled to, in order and under their days; only those near the window have elements."""

    async def answer(route: Route) -> None:
        place = int(parse_qs(urlsplit(route.request.url).query).get("cursor", ["0"])[0])
        await route.fulfill(json=_rows(place))

    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await visitor.sign_in(quay.token("roster"))
        await page.route("**/api/v1/timeline?*", answer)
        await visitor.go("timeline")
        more = page.get_by_role("button", name="Show older")
        while await more.count() and await more.is_visible():
            await page.evaluate("scrollTo(0, document.body.scrollHeight)")
            await page.wait_for_timeout(10)
        await page.evaluate("scrollTo(0, document.body.scrollHeight)")
        await expect(page.get_by_text("Event 10049 happened.")).to_be_visible()
        await expect(page.get_by_text("Event 0 happened.")).to_have_count(0)
        assert await page.locator(".log .line").count() < 1500
        shown = await page.locator(".log .line p").all_inner_texts()
        numbers = [int(text.split()[1]) for text in shown]
        assert numbers == sorted(numbers)
        assert len(numbers) == len(set(numbers))
        days = await page.locator(".log-day").all_inner_texts()
        assert len(days) == len(set(days))
        await page.evaluate("scrollTo(0, 0)")
        await expect(page.get_by_text("Event 0 happened.")).to_be_visible()
        await expect(page.get_by_text("Event 10049 happened.")).to_have_count(0)
        assert await visitor.violations() == []

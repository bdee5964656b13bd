"""A visit sheet at the cabinet: on a phone, with a network that comes and goes, and on paper."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, Route, expect

from tests.browser.driving import PHONE, open_visitor
from tests.browser.quay import Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")


def sheet(own: Quay, receiver: str = "boat-shed") -> dict[str, list[dict[str, object]]]:
    found: dict[str, list[dict[str, object]]] = own.yard.daemon.get(f"/receivers/{receiver}/visit-sheet")
    return found


async def test_ticked_at_the_cabinet(browser: Browser, own: Quay) -> None:
    """Big boxes in the order of the work, who ticks, and back; each says that it is not proven."""
    async with open_visitor(browser, own.address, size=PHONE) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("visit-sheet?receiver=boat-shed")
        boxes = page.get_by_role("checkbox")
        words = "Line 1: Take out transmitter 0048200099 (Old key): position 1 works output 1 (shutter)."
        await expect(boxes.first).to_have_accessible_name(words)
        for place in range(await boxes.count()):
            box = await boxes.nth(place).bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 44
        await page.get_by_label("Who ticks").fill("Barge crew")
        await boxes.first.tap()
        await expect(boxes.first).to_be_checked()
        await expect(page.get_by_text("Done by hand by Barge crew")).to_contain_text("not proven")
        assert await visitor.violations() == []
        await boxes.first.focus()
        await page.keyboard.press("Space")
        await expect(boxes.first).not_to_be_checked()
        assert sheet(own)["lines"][0]["state"] == "open"


async def test_a_tick_that_does_not_get_through_says_so(browser: Browser, own: Quay) -> None:
    """It stays open, says what is wrong beside it, and is sent again when somebody says so."""
    async with open_visitor(browser, own.address, size=PHONE) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("visit-sheet?receiver=boat-shed")

        async def cut(route: Route) -> None:
            await route.abort()

        await page.route("**/tick", cut)
        task = page.locator(".task").nth(1)
        second = task.get_by_role("checkbox")
        await second.tap()
        await expect(task.get_by_role("alert")).to_contain_text("can't be reached")
        await expect(second).not_to_be_checked()
        await page.unroute("**/tick")
        await task.get_by_role("button", name="Try again").tap()
        await expect(second).to_be_checked()
        await expect(task.get_by_role("alert")).to_have_count(0)
        await second.tap()
        await expect(second).not_to_be_checked()


async def test_on_paper(browser: Browser, own: Quay) -> None:
    """Boxes to tick by hand, a place for a name, when it was printed; no frame and no field."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("visit-sheet?receiver=boat-shed")
        await page.emulate_media(media="print")
        await expect(page.get_by_role("checkbox").first).to_be_visible()
        await expect(page.get_by_text("Done by, and when:").first).to_be_visible()
        await expect(page.get_by_text("Site Fennel Quay, Boat Shed. As of")).to_be_visible()
        for hidden in (page.get_by_role("button", name="Print"), page.get_by_label("Who ticks"), page.locator(".ways")):
            await expect(hidden).to_be_hidden()


async def test_what_nobody_has_said_yet(browser: Browser, own: Quay) -> None:
    """Until somebody says what a receiver holds there is nothing to tick; a list may be given."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("visit-sheet")
        await page.get_by_label("Receiver", exact=True).select_option("tool-store")
        await expect(page.locator(".lead")).to_contain_text("Nobody has said yet")
        await expect(page.locator("main")).not_to_contain_text("gatepost visit-sheet")  # here it is said by a button
        await page.get_by_role("button", name="It holds what a list says").click()
        await page.get_by_role("button", name="Note it").click()
        await expect(page.get_by_text("Please fill this in.")).to_be_visible()
        rows = "serial,holder,rights\n0048200001,Berth 1,1:tool-store/door\n"
        await page.get_by_label("File").set_input_files(
            {"name": "list.csv", "mimeType": "text/csv", "buffer": rows.encode()}
        )
        await page.get_by_role("button", name="Note it").click()
        await expect(page.locator(".lead")).not_to_contain_text("Nobody has said yet")
        slots = own.yard.daemon.get("/receivers/tool-store/slots")["slots"]
        assert [slot["serial"] for slot in slots] == ["0048200001"]


async def test_where_every_receiver_has_a_wire(browser: Browser, quay: Quay) -> None:
    """It says so."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("roster"))
        await visitor.go("visit-sheet")
        await expect(visitor.page.get_by_text("Every receiver here has a wire")).to_be_visible()

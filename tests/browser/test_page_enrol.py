"""Enrolment on the page, driven by real presses at the virtual receiver's radio."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.async_api import Browser, Page, expect

from tests.browser.driving import PHONE, Visitor, open_visitor
from tests.browser.putting_back import as_before
from tests.browser.quay import MARKUP, Quay
from tests.integration.yard import until

_HEADER = "serial,holder,kind,group,rights,sites,valid_from,valid_until,note\n"
pytestmark = pytest.mark.asyncio(loop_scope="session")


@pytest.fixture
def put_back(works: Quay) -> Iterator[Quay]:
    """The yard with a central file; no override is left behind."""
    with as_before(works):
        yield works
        for row in works.yard.daemon.get("/overrides")["overrides"]:
            works.yard.daemon.client.delete(f"/overrides/{row['serial']}")


async def listen(visitor: Visitor, way: str = "two-presses") -> Page:
    """From the view to a receiver that listens."""
    page = visitor.page
    await visitor.go("enrol")
    await page.get_by_label("At which receiver").select_option("slip-gate")
    await page.get_by_label("How its serial becomes certain").select_option(way)
    await expect(page.get_by_text("known transmitters go on working")).to_be_visible()
    await page.get_by_role("button", name="Begin to listen").click()
    await expect(page.get_by_role("heading", name="Slip Gate listens")).to_be_focused()
    await expect(page.get_by_text("go on working")).to_be_visible()
    return page


async def press(page: Page, quay: Quay, serial: str, says: str) -> None:
    """A new press, which needs 0.3 s of silence before it; until the page says what it was."""
    await page.wait_for_timeout(350)
    quay.press(int(serial), address=1)
    await expect(page.locator(".heard")).to_contain_text(says)


async def test_two_presses_a_name_and_at_work(browser: Browser, own: Quay) -> None:
    """On a phone at the gate: listen, heard, confirmed; in the roster and in the receiver's memory."""
    serial = "0048230201"
    async with open_visitor(browser, own.address, size=PHONE) as visitor:
        await visitor.sign_in(own.token("roster"))
        page = await listen(visitor)
        steps = page.locator(".steps > li")
        await expect(steps.nth(0)).to_have_attribute("aria-current", "step")
        await expect(page.locator(".countdown")).to_contain_text("s more at most")
        await press(page, own, serial, f"Heard transmitter {serial}. Press it once more.")
        await expect(steps.nth(1)).to_have_attribute("data-state", "done")
        assert await visitor.violations() == []
        await press(page, own, serial, f"Confirmed: transmitter {serial}")
        await page.get_by_label("Holder").fill(MARKUP)
        await page.get_by_role("button", name="Look at the change").click()
        await expect(page.locator(".words")).to_contain_text(f"{MARKUP}, transmitter {serial}: added")
        await expect(page.locator(".words")).to_contain_text("It works at once")
        await page.get_by_role("button", name="Make it so").click()
        await expect(page.get_by_role("heading", name="1 row added to the roster")).to_be_focused()
        await expect(page.get_by_text("Written and proven").first).to_be_visible()
        assert serial in own.yard.lines["quayside"].rights(1)
        assert await page.locator("img").count() == 0
        assert await visitor.violations() == []


async def test_two_different_ones_are_a_conflict(browser: Browser, own: Quay) -> None:
    """Nothing is taken and it says who else was heard; then anew. Whoever leaves the view ends the listening."""
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        page = await listen(visitor)
        await press(page, own, "0048230202", "Heard")
        await press(page, own, "0048200001", "Two transmitters were pressed")
        await expect(page.locator(".heard")).to_contain_text("0048200001, which Berth 1 has")
        await expect(page.get_by_role("heading", name="Nothing was taken")).to_be_focused()
        await page.get_by_role("button", name="Begin anew").click()
        await listen(visitor)
        await visitor.go("people")
        daemon = own.yard.daemon
        until(lambda: daemon.get("/receivers/slip-gate/status")["enrolment"] != "listening", "an end of listening")


async def test_a_known_one_shows_its_holder(browser: Browser, own: Quay) -> None:
    """No second row is made for it; nothing is asked."""
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        page = await listen(visitor)
        await press(page, own, "0048200004", "which Berth 4 has")
        await press(page, own, "0048200004", "Confirmed")
        await expect(page.get_by_text("has it by the roster already; no second row is made")).to_be_visible()
        await expect(page.get_by_text("Nothing is to be said: the roster has it.")).to_be_visible()
        assert await page.get_by_label("Holder").count() == 0


async def test_time_runs_out_and_the_view_is_found_again(browser: Browser, own: Quay) -> None:
    """The receiver ends it by itself; a reload in the middle shows how far it is, the end what to do."""
    daemon = own.yard.daemon
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        made = daemon.post("/receivers/slip-gate/enrolments", {"way": "two-presses", "seconds": 4}).json()
        await visitor.go(f"enrol?receiver=slip-gate&id={made['id']}")
        await expect(visitor.page.get_by_role("heading", name="Slip Gate listens")).to_be_visible()
        await expect(visitor.page.locator(".heard")).to_contain_text("has stopped listening; nothing was confirmed")
        await expect(visitor.page.get_by_role("button", name="Begin anew")).to_be_visible()


async def test_somebody_else_listens_there_already(browser: Browser, own: Quay) -> None:
    """It says so, and offers to look at that one, which can be ended."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        made = own.yard.daemon.post("/receivers/slip-gate/enrolments", {"way": "two-presses"})
        assert made.status_code == 201, made.text
        await visitor.go("enrol")
        await page.get_by_label("At which receiver").select_option("slip-gate")
        await page.get_by_role("button", name="Begin to listen").click()
        await expect(page.get_by_role("alert").filter(has_text="listens for another enrolment")).to_be_visible()
        await page.get_by_role("button", name="Go on with that one").click()
        await page.get_by_role("button", name="Stop listening, take nothing").click()
        await expect(page.get_by_role("heading", name="Nothing was taken")).to_be_visible()
        await page.get_by_role("button", name="Begin anew").click()
        await expect(page.get_by_role("button", name="Begin to listen")).to_be_visible()


async def test_several_in_a_row_and_rows_to_copy(browser: Browser, put_back: Quay) -> None:
    """With a central file: rows to copy, at work at once by overrides, and withdrawn again."""
    first, second = "0048230203", "0048230204"
    async with open_visitor(browser, put_back.address) as visitor:
        await visitor.sign_in(put_back.token("roster"))
        page = await listen(visitor, "several")
        await press(page, put_back, first, f"Heard transmitter {first}")
        await press(page, put_back, first, "1 confirmed.")
        await press(page, put_back, second, f"Heard transmitter {second}")
        await press(page, put_back, second, "2 confirmed.")
        await page.get_by_role("button", name="That is all of them").click()
        await page.get_by_label(f"Holder of {first}").fill("Berth 41")
        await page.get_by_label(f"Holder of {second}").fill("Berth 42")
        await page.get_by_role("button", name="Look at the change").click()
        await expect(page.locator(".words")).to_contain_text("the roster stays as it is")
        await page.get_by_role("button", name="Make it so").click()
        rows = f"{first},Berth 41,,berth-holders,,,,,\n{second},Berth 42,,berth-holders,,,,,\n"
        await expect(page.get_by_label("Rows for the roster")).to_have_value(_HEADER + rows)
        await page.get_by_role("button", name="Copy").click()
        await expect(page.get_by_text("Written and proven").first).to_be_visible()
        waiting = page.get_by_role("region", name="At work before the roster has them")
        await expect(waiting).to_contain_text(f"{second},Berth 42")
        row = waiting.get_by_role("listitem").filter(has_text="Berth 41")
        await row.get_by_role("button", name="Withdraw").click()
        await row.get_by_role("button", name="Withdraw it").click()
        await expect(row).to_have_count(0)

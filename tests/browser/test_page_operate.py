"""Operating an output on the page: two steps, once, and what it says when nobody knows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.async_api import Browser, Page, Route, expect

from gateway.domain.cautions import CAUTIONS
from tests.browser.driving import Visitor, open_visitor
from tests.browser.looks import check_told
from tests.browser.quay import Quay
from tests.integration.yard import until

#: docs/operating.md, g: a second operation of an output within 10 s is refused.
_PAUSE = timedelta(seconds=10)
pytestmark = pytest.mark.asyncio(loop_scope="session")


def operated(own: Quay, receiver: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = own.yard.daemon.get(f"/receivers/{receiver}/outputs/1/operations")["operations"]
    return [row for row in rows if row["state"] == "done"]


def rested(own: Quay, receiver: str) -> int:
    """Wait until its output may be operated again, 10 s after the last time; how often it was so far."""

    def found() -> bool:
        return all(datetime.now(UTC) - datetime.fromisoformat(row["asked"]) > _PAUSE for row in operated(own, receiver))

    until(found, f"an output of {receiver} that has rested")
    return len(operated(own, receiver))


async def second_step(visitor: Visitor, gate: str, reason: str = "delivery for the chandlery") -> Page:
    """The confirming step of a gate, with a reason and seen."""
    page = visitor.page
    await visitor.go("operate")
    await page.get_by_role("button", name=f"Operate {gate} …").click()
    await expect(page.get_by_label("Why")).to_be_focused()
    await page.get_by_label("Why").fill(reason)
    await page.get_by_label("I see the gate").check()
    return page


async def test_once_with_a_reason_and_every_caution_beside_it(browser: Browser, own: Quay) -> None:
    """By keyboard; without a reason, or without having looked, nothing is sent."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("operate"))
        await visitor.go("operate")
        control = page.get_by_role("region", name="Slip gate")
        for caution in CAUTIONS:
            await expect(control.get_by_text(caution)).to_be_visible()
        await expect(control.get_by_text("a licensed installer decide")).to_be_visible()
        await control.get_by_role("button").focus()
        await page.keyboard.press("Enter")
        await page.keyboard.press("Enter")
        await expect(page.get_by_text("Please fill this in.")).to_be_visible()
        await page.keyboard.type("delivery, seen from the office")
        await page.keyboard.press("Enter")
        await expect(control.get_by_role("alert")).to_contain_text("Nothing was sent.")
        assert operated(own, "slip-gate") == []
        await page.get_by_label("I see the gate").focus()
        await page.keyboard.press("Space")
        own.yard.lines["quayside"].tell("@1 input 2 violated")
        until(
            lambda: own.yard.daemon.get("/receivers/slip-gate/status")["inputs"][1]["state"] == "violated", "violated"
        )
        await control.get_by_role("button", name="Operate Slip gate once").click()
        await expect(control.get_by_role("alert")).to_contain_text("light barrier")
        assert operated(own, "slip-gate") == []
        own.yard.lines["quayside"].tell("@1 input 2 normal")
        until(lambda: own.yard.daemon.get("/receivers/slip-gate/status")["inputs"][1]["state"] == "normal", "normal")
        page = await second_step(visitor, "Slip gate")
        await page.get_by_role("button", name="Operate Slip gate once").click()
        await expect(control.locator(".notice").filter(has_text="Sent and acknowledged")).to_be_visible()
        (once,) = operated(own, "slip-gate")
        assert once["reason"] == "delivery for the chandlery"
        assert await visitor.violations() == []


async def test_from_the_gates_card_by_keyboard_alone(browser: Browser, own: Quay) -> None:
    """The card offers it to whoever may, nobody else; that gate alone, past every caution, to what became of it."""
    before = rested(own, "car-park")
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        gate = visitor.page.get_by_role("article", name="Car-park barrier")
        await expect(gate.get_by_role("link", name="Who used it")).to_be_visible()
        assert await gate.get_by_role("link", name="Operate it").count() == 0
    async with open_visitor(browser, own.address) as visitor:
        page, press = visitor.page, visitor.page.keyboard.press
        await visitor.sign_in(own.token("operate"))
        link = page.get_by_role("article", name="Car-park barrier").get_by_role("link", name="Operate it")
        await expect(link).to_be_visible()
        while not await link.evaluate("(each) => each === document.activeElement"):
            await press("Tab")
        await press("Enter")
        await expect(page.get_by_role("heading", level=1)).to_be_focused()
        await expect(page.get_by_role("heading", level=2)).to_have_text(["Car-park barrier"])
        await expect(page.get_by_text(CAUTIONS[0])).to_be_visible()
        for key in ("Tab", "Tab", "Enter"):  # past the way to every output
            await press(key)
        await expect(page.get_by_label("Why")).to_be_focused()
        await page.keyboard.type("delivery, seen from the office")
        for key in ("Tab", "Space", "Tab", "Enter"):
            await press(key)
        control = page.get_by_role("region", name="Car-park barrier")
        await expect(control.locator(".notice").filter(has_text="Sent and acknowledged")).to_be_visible()
        told = control.get_by_role("listitem").filter(has_text="delivery, seen from the office")
        await expect(told).to_contain_text("Sent and acknowledged")
        assert len(operated(own, "car-park")) == before + 1


async def test_an_answer_that_is_lost_means_look(browser: Browser, own: Quay) -> None:
    """The gate moved and the page can't know: it says so, and sends nothing again."""
    async with open_visitor(browser, own.address) as visitor:
        before = rested(own, "car-park")
        await visitor.sign_in(own.token("operate"))
        page = await second_step(visitor, "Car-park barrier")
        sent: list[str] = []

        async def lose(route: Route) -> None:
            if route.request.method != "POST":
                await route.continue_()
                return
            sent.append(route.request.headers["idempotency-key"])
            await route.fetch()
            await route.abort()

        await page.route("**/operations", lose)
        await page.get_by_role("button", name="Operate Car-park barrier once").click()
        told = page.locator(".unknown-result")
        await check_told(browser, told.locator("strong"), "? Not known whether it moved. Look.", frame=told)
        await expect(page.locator("#said-at-once")).to_contain_text("Look.")
        done = page.get_by_role("region", name="Car-park barrier").get_by_role("listitem")
        await expect(done.filter(has_text="Sent and acknowledged")).to_have_count(before + 1)
        await expect(told).to_be_visible()
        assert len(sent) == 1
        assert len(operated(own, "car-park")) == before + 1
        assert await visitor.violations() == []


async def test_only_with_the_scope_and_only_what_is_allowed(browser: Browser, own: Quay, quay: Quay) -> None:
    """Without the scope nothing can be pressed; where the settings allow none it says why."""
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        await visitor.go("operate")
        await expect(visitor.page.get_by_text("Ask for one with the scope operate.")).to_be_visible()
        assert await visitor.page.locator("main button").count() == 0
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("operate"))
        await visitor.go("operate")
        await expect(visitor.page.get_by_text("The settings allow no output to be operated from afar")).to_be_visible()
        assert await visitor.page.locator("main button").count() == 0

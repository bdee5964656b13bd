"""Operating an output on the page: two steps, once, and what it says when nobody knows."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.async_api import Browser, Page, Route, expect

from gateway.domain.cautions import CAUTIONS
from tests.browser.driving import SCHEMES, SIZES, Visitor, open_visitor
from tests.browser.looks import check_looks
from tests.browser.quay import Quay
from tests.integration.yard import until

pytestmark = pytest.mark.asyncio(loop_scope="session")


def operated(own: Quay, receiver: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = own.yard.daemon.get(f"/receivers/{receiver}/outputs/1/operations")["operations"]
    return [row for row in rows if row["state"] == "done"]


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


async def test_an_answer_that_is_lost_means_look(browser: Browser, own: Quay) -> None:
    """The gate moved and the page can't know: it says so, and sends nothing again."""
    async with open_visitor(browser, own.address) as visitor:
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
        await expect(told).to_contain_text("Not known whether it moved. Look.")
        await expect(page.locator("#said-at-once")).to_contain_text("Look.")
        await expect(page.get_by_role("region", name="Car-park barrier").get_by_role("listitem").filter(
            has_text="Sent and acknowledged")).to_have_count(1)  # fmt: skip
        await expect(told).to_be_visible()
        assert len(sent) == 1
        assert len(operated(own, "car-park")) == 1
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


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_axe_finds_nothing(browser: Browser, own: Quay, size: str, scheme: str) -> None:
    """The cautions and the control, at the widest and narrowest, in both lights."""
    await check_looks(browser, own, size, scheme, ("operate",))

"""Signing in and out at the page, in a real browser: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, expect

from gateway.api.cookies import COOKIE
from tests.browser.driving import open_visitor
from tests.browser.quay import Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")


async def test_sign_in_and_out(browser: Browser, quay: Quay) -> None:
    """The cookie is out of the script's reach; after the way out it is gone, and so is everything shown."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("view"))
        (cookie,) = await visitor.page.context.cookies()
        assert cookie["name"] == COOKIE
        assert cookie["httpOnly"]
        assert cookie["sameSite"] == "Strict"
        assert await visitor.page.evaluate("document.cookie") == ""
        assert await visitor.page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])") == "[{},{}]"
        await expect(visitor.page.get_by_text("harbour office desk")).to_be_visible()
        await visitor.page.get_by_role("button", name="Sign out").click()
        await expect(visitor.page.get_by_role("heading", level=1)).to_have_text("Sign in")
        assert await visitor.page.context.cookies() == []
        await visitor.page.reload()
        await expect(visitor.page.get_by_label("Token")).to_be_focused()
        assert "Slip gate" not in await visitor.page.content()


async def test_a_wrong_token_says_what_to_do(browser: Browser, quay: Quay) -> None:
    """And a right one afterwards lets in."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.page.goto(quay.address)
        await visitor.page.get_by_role("button", name="Sign in").click()
        await expect(visitor.page.get_by_text("Please fill this in.")).to_be_visible()
        await visitor.page.get_by_label("Token").fill("gp_wrong")
        await visitor.page.keyboard.press("Enter")
        await expect(visitor.page.get_by_role("alert").filter(has_text="gatepost token add")).to_be_visible()
        assert await visitor.violations() == []
        await visitor.sign_in(quay.token("view"))


async def test_a_link_signs_in_and_leaves_no_trace(browser: Browser, quay: Quay) -> None:
    """The token is out of the address before anything is asked, and in no request's address."""
    token = quay.token("roster")
    async with open_visitor(browser, quay.address) as visitor:
        asked: list[str] = []
        visitor.page.on("request", lambda request: asked.append(request.url))
        await visitor.page.goto(f"{quay.address}/#sign-in={token}")
        await expect(visitor.page.locator(".link-state")).to_have_text("Live")
        assert token not in visitor.page.url
        assert token not in await visitor.page.content()
        assert not [url for url in asked[1:] if token in url]


async def test_a_token_that_is_removed_shuts_the_page(browser: Browser, quay: Quay) -> None:
    """Whoever is in is sent to the door, with the reason."""
    async with open_visitor(browser, quay.address) as visitor:
        answer = quay.yard.daemon.post("/tokens", {"name": "for a day", "scopes": ["view"]}).json()
        await visitor.sign_in(answer["secret"])
        assert quay.yard.daemon.client.delete(f"/tokens/{answer['id']}").status_code == 204
        quay.open_gate(2)
        quay.shut_gate(2)
        await expect(visitor.page.get_by_role("alert").filter(has_text="The session has ended")).to_be_visible()
        await expect(visitor.page.get_by_label("Token")).to_be_visible()


async def test_only_what_the_token_may(browser: Browser, quay: Quay) -> None:
    """Who may only look is told so where people stand, and is offered nothing to change."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("view"))
        await visitor.go("people")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()
        await visitor.go("timeline")
        assert await visitor.page.get_by_role("link", name="Save as a table").count() == 0

"""Who had access to a gate, on any day, and a transmitter's story: reached from the gate and from the person."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, expect

from tests.browser.driving import open_visitor
from tests.browser.quay import MARKUP, Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")


async def test_from_the_gate_to_a_day(browser: Browser, quay: Quay) -> None:
    """Today everybody who works it, with how that is known; a day before the record is not shown as one without."""
    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await visitor.sign_in(quay.token("roster"))
        gate = page.get_by_role("article", name="Car-park barrier")
        await gate.get_by_role("link", name="Who has access").click()
        await expect(page.get_by_label("Gate", exact=True)).to_have_value("barrier")
        row = page.get_by_role("row").filter(has_text="0048200009")
        await expect(row).to_contain_text("Read from the receiver")
        await expect(row).to_contain_text("Position 1 works Car-park barrier.")
        await expect(page.get_by_role("row").filter(has_text=MARKUP)).to_have_count(1)
        await page.get_by_label("Day", exact=True).fill("2020-02-29")
        await expect(
            page.get_by_text("Of Car Park nothing is recorded for that day; its record begins")
        ).to_be_visible()
        await expect(page.get_by_text("That can't be said: nothing is recorded for that day.")).to_be_visible()


async def test_from_the_person_to_the_story(browser: Browser, quay: Quay) -> None:
    """What was intended, written and proven, in the order that it was."""
    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await visitor.sign_in(quay.token("roster"))
        await visitor.go("people?id=0048200009")
        await page.get_by_text("Its story").focus()
        await page.keyboard.press("Enter")
        told = page.locator("details[open] .log")
        await expect(told.get_by_role("listitem").first).to_be_visible()
        await expect(told).to_contain_text("Slip", ignore_case=True)
        assert await visitor.violations() == []


async def test_who_may_only_look_is_told(browser: Browser, quay: Quay) -> None:
    """People's access is people's data."""
    async with open_visitor(browser, quay.address) as visitor:
        await visitor.sign_in(quay.token("view"))
        assert await visitor.page.get_by_role("link", name="Who has access").count() == 0
        await visitor.go("access?gate=barrier")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()

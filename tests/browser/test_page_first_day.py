"""The first day at a site already in use: what the receivers hold becomes the roster, by keyboard alone."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, Page, expect

from tests.browser.driving import open_visitor
from tests.browser.quay import Quay, free_port
from tests.integration.yard import open_yard, until

pytestmark = pytest.mark.asyncio(loop_scope="session")
_FOUND = ("0048230501", "0048230502")


async def _press_on(page: Page, name: str) -> None:
    """Tab until it has the focus, and Enter."""
    for _ in range(60):
        if await page.evaluate("document.activeElement.textContent") == name:
            await page.keyboard.press("Enter")
            return
        await page.keyboard.press("Tab")
    raise AssertionError(f"Tab never came to {name}")


async def test_a_first_roster_is_kept_and_nothing_is_written(browser: Browser) -> None:
    """Read, kept, in force and equal; the receiver's memory is as it was, and the names are asked for next."""
    with open_yard() as yard:
        port = free_port()
        line = yard.line("quayside", "--address", "1", "--serial", "FQ-9")
        yard.write_settings(listen=f"127.0.0.1:{port}", roster='source = "local"')
        for serial in _FOUND:
            line.tell("@1 board learn 1")
            assert line.tell(f"@1 press {serial} 1") == "saved"
            line.tell(f"@1 release {serial} 1")
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        before, quay = line.memory(), Quay(yard, f"http://127.0.0.1:{port}")
        async with open_visitor(browser, quay.address) as visitor:
            page = visitor.page
            await visitor.sign_in(quay.token("roster"))
            await visitor.go("people")
            await expect(page.get_by_role("article")).to_have_count(2)
            await _press_on(page, "Begin from the receivers")
            await expect(page.get_by_role("heading", level=1)).to_have_text("Begin from the receivers")
            await expect(page.get_by_label("Slip Gate")).to_be_checked()
            await _press_on(page, "Read them")
            result = page.get_by_role("region", name="What was read")
            await expect(result.get_by_role("heading", level=2)).to_have_text("2 transmitters of 2 holders")
            await expect(result).to_contain_text("2 transmitters have no name in any receiver")
            assert await visitor.violations() == []
            await _press_on(page, "Keep it as the roster")
            await expect(page.get_by_text("It is in force. The receivers hold it already")).to_be_visible()
            await _press_on(page, "Give names")
            await expect(page.locator(".lead")).to_contain_text("2 transmitters without a name")
            await visitor.go("")
            receiver = page.get_by_role("region", name="Receivers").get_by_role("listitem")
            await expect(receiver).to_contain_text("Equal to the roster")
        assert daemon.get("/roster")["transmitters"] == 2
        assert line.memory() == before
        until(lambda: not daemon.get("/drift")["drift"], "nothing that the roster does not know")

"""Papers on the page: opened to print, saved as a table, with and without names."""

from __future__ import annotations

import csv
import io

import pytest
from playwright.async_api import Browser, expect

from tests.browser.driving import open_visitor
from tests.browser.putting_back import saved_text
from tests.browser.quay import MARKUP, Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")


async def test_an_access_list_opens_to_print_and_saves_as_a_table(browser: Browser, works: Quay) -> None:
    """With names as text whatever they look like; without them the serials stay."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("papers")
        for named in (True, False):
            await page.get_by_label("With the names of holders").set_checked(named)
            async with page.context.expect_page() as opening:
                await page.get_by_role("link", name="Open to print: Slip gate").click()
            paper = await opening.value
            await expect(paper.get_by_text("0048900001")).to_be_visible()
            assert await paper.get_by_text(MARKUP).count() == int(named)
            assert await paper.locator("img").count() == 0
            await paper.emulate_media(media="print")
            assert await paper.evaluate("document.documentElement.scrollWidth <= innerWidth")
            await paper.close()
            async with page.expect_download() as saving:
                await page.get_by_role("link", name="Save as a table: Slip gate").click()
            rows = list(csv.reader(io.StringIO(await saved_text(await saving.value), newline="")))
            assert any("0048900001" in row for row in rows)
            assert any(MARKUP in row for row in rows) == named


async def test_the_handover_document_is_by_one_press(browser: Browser, works: Quay) -> None:
    """By keyboard; it holds the cautions, the receivers and who has what."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("papers")
        await visitor.page.get_by_role("link", name="Open to print: the handover document").focus()
        async with visitor.page.context.expect_page() as opening:
            await visitor.page.keyboard.press("Enter")
        text = await (await opening.value).locator("body").inner_text()
        for words in ("not a safety device", "FQ-1", "FQ-2", "Berth 12", "berth-holders"):
            assert words in text, words


async def test_papers_need_the_scope(browser: Browser, works: Quay) -> None:
    """Whoever may only look is told so, and offered none."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("view"))
        await visitor.go("papers")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()
        assert await visitor.page.get_by_role("link", name="Open to print").count() == 0

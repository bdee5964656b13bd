"""What holds for every view: axe-core finds nothing, and nothing is wider than the window."""

from __future__ import annotations

from collections.abc import Sequence

from playwright.async_api import Browser

from tests.browser.driving import SIZES, open_visitor
from tests.browser.quay import Quay

__all__ = ["check_looks"]


async def check_looks(browser: Browser, quay: Quay, size: str, scheme: str, views: Sequence[str]) -> None:
    """Go to each view in turn, in this size and light, as somebody who may do everything."""
    async with open_visitor(browser, quay.address, size=SIZES[size], scheme=scheme) as visitor:
        await visitor.sign_in(quay.token("admin"))
        for view in views:
            await visitor.go(view)
            assert await visitor.violations() == [], view
            content, window = await visitor.width()
            assert content <= window, view

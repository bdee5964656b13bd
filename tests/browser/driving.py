"""Debian's Chromium, driven by Playwright; and axe-core, bundled with its Python package."""

from __future__ import annotations

import os
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Literal

import pytest
from axe_playwright_python.async_playwright import Axe
from playwright.async_api import Browser, BrowserContext, ConsoleMessage, Page, async_playwright, expect

__all__ = ["DESK", "PHONE", "SCHEMES", "SIZES", "Visitor", "open_browser", "open_visitor", "require_chromium"]

DESK, PHONE = (1280, 900), (320, 800)
SIZES = {"desk": DESK, "phone": PHONE}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
_ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
_AXE = Axe()
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def require_chromium() -> str:
    """Where it is; skips, or fails where every peer must be there, with the package's name."""
    found = shutil.which("chromium")
    if found is None:
        missing = "Chromium is not installed: apt-get install chromium"
        if os.environ.get("GATEPOST_REQUIRE_PEERS") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    return found


@asynccontextmanager
async def open_browser() -> AsyncIterator[Browser]:
    """A browser without a window; its profile is new and goes at the end."""
    path = require_chromium()
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=path, args=list(_ARGUMENTS))
        try:
            yield browser
        finally:
            await browser.close()


class Visitor:
    """Somebody at the page. `complaints` are errors and warnings of its console, the policy's reports among them."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.complaints: list[str] = []
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", self._dialog)

    async def sign_in(self, token: str) -> None:
        """As a person does: paste the token, press the button."""
        await self.page.goto(f"{self.address}/")
        await self.page.get_by_label("Token").fill(token)
        await self.page.get_by_role("button", name="Sign in").click()
        await expect(self.page.get_by_role("heading", level=1)).to_have_text("At a glance")
        await expect(self.page.locator(".link-state")).to_have_text("Live")

    async def go(self, path: str) -> None:
        """To a view by its address, until nothing loads any more."""
        await self.page.goto(f"{self.address}/#/{path}")
        await expect(self.page.get_by_role("heading", level=1)).to_be_visible()
        await expect(self.page.locator(".loading")).to_have_count(0)

    async def violations(self) -> list[str]:
        """What axe-core finds against WCAG 2.2 A and AA, one line each."""
        if not await self.page.evaluate("Boolean(window.axe)"):  # once for each document
            await self.page.evaluate(_AXE.axe_script)
        rows: list[dict[str, Any]] = await self.page.evaluate(
            "(values) => axe.run({ runOnly: { type: 'tag', values }, resultTypes: ['violations'] })"
            ".then((found) => found.violations)",
            _TAGS,
        )
        return [f"{row['id']}: {row['help']} {[node['target'] for node in row['nodes']]}" for row in rows]

    async def width(self) -> tuple[int, int]:
        """How wide the content is, and how wide the window."""
        found = await self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        return int(found[0]), int(found[1])

    async def picture(self, path: Path) -> None:
        """What is in sight, as a PNG."""
        await self.page.screenshot(path=path)

    def _hear(self, message: ConsoleMessage) -> None:
        # Chromium writes each answer over 399 to the console; those are not the page's own complaints.
        if message.type in ("error", "warning") and not message.text.startswith("Failed to load resource"):
            self.complaints.append(message.text)

    async def _dialog(self, dialog: Any) -> None:
        self.complaints.append(f"a dialog: {dialog.message}")
        await dialog.dismiss()


@asynccontextmanager
async def open_visitor(
    browser: Browser, address: str, *, size: tuple[int, int] = DESK, scheme: str = "light"
) -> AsyncIterator[Visitor]:
    """A new person with a new profile; touch on what is narrow. Nothing may be complained about at the end."""
    context: BrowserContext = await browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if scheme == "dark" else "light",
        has_touch=size[0] < 600,
        locale="en-GB",
        reduced_motion="reduce",
    )
    context.set_default_timeout(20_000)
    expect.set_options(timeout=20_000)
    try:
        visitor = Visitor(await context.new_page(), address)
        yield visitor
        assert visitor.complaints == []
    finally:
        for page in context.pages:  # nobody waits any more for an answer that is being changed on its way
            await page.unroute_all(behavior="ignoreErrors")
        await context.close()

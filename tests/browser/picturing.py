"""One picture of the page: which view, on what, in which light, what is done there first, and what must be in sight."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

from playwright.async_api import Browser, expect

from tests.browser.driving import DESK, Visitor, open_visitor
from tests.browser.quay import Quay

__all__ = ["FOLDER", "ON_A_PHONE", "Picture", "settle", "take"]

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"
ON_A_PHONE = (390, 800)


@dataclass(frozen=True, slots=True)
class Picture:
    """One file. `then` is done once the view is there."""

    name: str
    path: str
    shows: str
    size: tuple[int, int] = DESK
    scheme: str = "light"
    then: Callable[[Visitor], Awaitable[None]] | None = None


async def take(browser: Browser, quay: Quay, token: str, picture: Picture) -> None:
    """One picture, once the page shows what it is for."""
    async with open_visitor(browser, quay.address, size=picture.size, scheme=picture.scheme) as visitor:
        await visitor.sign_in(token)
        await visitor.go(picture.path)
        if picture.then is not None:
            await picture.then(visitor)
        await expect(visitor.page.get_by_text(picture.shows).first).to_be_visible()
        await settle(visitor)
        await visitor.picture(FOLDER / f"{picture.name}.png")
    print(FOLDER / f"{picture.name}.png")


async def settle(visitor: Visitor) -> None:
    """Two frames without focus: what is pictured is painted."""
    await visitor.page.mouse.move(0, 0)  # nothing is pictured as if somebody pointed at it
    await visitor.page.evaluate(
        "new Promise((done) => { document.activeElement.blur();"
        " requestAnimationFrame(() => requestAnimationFrame(done)); })"
    )

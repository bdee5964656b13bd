"""What was changed at the board, deciding about it, and work in progress, on the page."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.async_api import Browser, expect

from tests.browser.driving import SCHEMES, SIZES, open_visitor
from tests.browser.looks import check_looks, check_told
from tests.browser.putting_back import as_before
from tests.browser.quay import MARKUP, Quay
from tests.integration.yard import until

pytestmark = pytest.mark.asyncio(loop_scope="session")
_STRANGER, _TAKEN = "0048230301", "0048200015"


@pytest.fixture(autouse=True)
def _put_back(works: Quay) -> Iterator[None]:
    with as_before(works):
        yield


def at_the_board(works: Quay, gesture: str, serial: str) -> None:
    """Somebody works the buttons of the slip gate's receiver."""
    line = works.yard.lines["quayside"]
    assert line.tell(f"@1 board {gesture} 1") == "waiting"
    assert line.tell(f"@1 press {serial} 1") == "saved"
    line.tell(f"@1 release {serial} 1")


async def test_added_and_taken_are_told_apart_and_decided(browser: Browser, works: Quay) -> None:
    """Live, in words; what was taken comes back when somebody says so, what was added is put right."""
    line = works.yard.lines["quayside"]
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("board")
        await expect(page.get_by_text("hold what the roster and this gateway put there")).to_be_visible()
        at_the_board(works, "learn", _STRANGER)
        added = page.get_by_role("listitem").filter(has_text=_STRANGER)
        await expect(added).to_contain_text("Added")
        at_the_board(works, "unlearn", _TAKEN)
        missing = page.get_by_role("listitem").filter(has=page.get_by_role("heading", name="Berth 15"))
        await expect(missing).to_contain_text("was taken out at the board")
        await expect(missing).to_contain_text("stays away until somebody restores it")
        await check_told(browser, missing.locator(".tag"), "\N{MINUS SIGN} Missing")
        await expect(page.locator(".lead")).to_contain_text("1 change needs somebody.")
        assert await visitor.violations() == []
        await missing.get_by_role("button", name="Give it back").focus()
        await page.keyboard.press("Enter")
        await missing.get_by_role("button", name="Give it back").click()
        await expect(page.locator(".said").filter(has_text="Decided")).to_contain_text("is given back")
        until(lambda: _TAKEN in line.rights(1), "what was taken is back", 40)
        await expect(missing).to_have_count(0)


async def test_an_addition_that_stays(browser: Browser, works: Quay) -> None:
    """Adopted: it stays until the roster has it, and the row for the roster is shown."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        at_the_board(works, "learn", _STRANGER)
        await visitor.go("board?receiver=slip-gate")
        added = page.get_by_role("listitem").filter(has_text=_STRANGER)
        await added.get_by_role("button", name="Let it stay").click()
        await added.get_by_role("button", name="Let it stay").click()
        await expect(added).to_contain_text("Stays until the roster has it")
        await expect(added.locator("code")).to_have_text("1:slip-gate/gate")
        await added.get_by_role("button", name="Put it right").click()
        await expect(added.get_by_text("must not lock anyone in")).to_be_visible()
        await added.get_by_role("button", name="Put it right").click()
        until(lambda: _STRANGER not in works.yard.lines["quayside"].rights(1), "put right", 40)


async def test_work_in_progress_from_start_to_what_changed(browser: Browser, works: Quay) -> None:
    """With a reason and an end; markup in the reason stays text; the list at the end names what was changed."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("work")
        await page.get_by_role("button", name="Start").click()
        await expect(page.get_by_text("Please fill this in.")).to_be_visible()
        await page.get_by_label("Where").select_option("receiver slip-gate")
        await page.get_by_label("For how many minutes").fill("700")
        await page.get_by_label("Who works there, and why").fill(f"aerial {MARKUP}")
        await page.get_by_role("button", name="Start").click()
        await expect(page.get_by_role("alert").filter(has_text="480")).to_be_visible()
        await page.get_by_label("For how many minutes").fill("45")
        await page.get_by_role("button", name="Start").click()
        await expect(page.locator(".lead")).to_have_text("People work at Slip Gate.")
        await expect(page.get_by_text(f"aerial {MARKUP}")).to_be_visible()
        assert await page.locator("img").count() == 0
        at_the_board(works, "learn", _STRANGER)
        await page.get_by_role("button", name="End it").click()
        await page.get_by_role("button", name="End it").click()
        await expect(page.locator(".lead")).to_have_text("Nobody has said that people work here.")
        earlier = page.get_by_role("region", name="Earlier")
        await expect(earlier).to_contain_text(f"transmitter {_STRANGER} was added at the board")
        await visitor.go("noted?state=all")
        assert await visitor.violations() == []


async def test_who_may_only_look_starts_nothing(browser: Browser, works: Quay) -> None:
    """Work in progress is seen by all, started by few; changes at the board are people's, so they are not shown."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("view"))
        await visitor.go("work")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()
        assert await visitor.page.get_by_role("button", name="Start").count() == 0
        await visitor.go("board")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_axe_finds_nothing(browser: Browser, works: Quay, size: str, scheme: str) -> None:
    """With something to decide, at the widest and narrowest, in both lights."""
    at_the_board(works, "learn", _STRANGER)
    until(lambda: works.yard.daemon.get("/drift")["drift"], "a change at the board")
    await check_looks(browser, works, size, scheme, ("board", "work", "noted"))

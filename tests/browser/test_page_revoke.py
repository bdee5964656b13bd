"""Revoking a lost transmitter on the page: three steps, and the proof as it comes."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.async_api import Browser, expect

from tests.browser.driving import SCHEMES, SIZES, open_visitor
from tests.browser.looks import check_looks
from tests.browser.putting_back import as_before
from tests.browser.quay import MARKUP, Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")


@pytest.fixture(autouse=True)
def _put_back(works: Quay) -> Iterator[None]:
    with as_before(works):
        yield


async def test_by_keyboard_from_the_persons_card_to_the_proof(browser: Browser, works: Quay) -> None:
    """Find, say why, see it proven at each receiver with the time; then lift it, and the roster decides again."""
    serial = "0048200021"
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go(f"people?id={serial}")
        await page.get_by_role("link", name="Lost? Revoke it").focus()
        await page.keyboard.press("Enter")
        await expect(page.get_by_role("heading", name="Why, and for certain?")).to_be_focused()
        await expect(page.get_by_text("Position 1 works Slip gate.")).to_be_visible()
        await expect(page.get_by_text("must not lock anyone in")).to_be_visible()
        await page.keyboard.press("Tab")
        await expect(page.get_by_label("Why")).to_be_focused()
        await page.keyboard.press("Enter")
        await expect(page.get_by_text("Please fill this in.")).to_be_visible()
        await page.keyboard.type("lost on the pontoon")
        await page.keyboard.press("Enter")
        await expect(page.get_by_role("heading", name="Gone, and proven")).to_be_focused()
        proof = page.get_by_role("group", name=f"Proof for {serial}")
        await expect(proof).to_contain_text("Proven at all 2 receivers: it is gone.")
        read = re.compile(r"Its memory was read at \d\d:\d\d:\d\d and lacks it")
        await expect(proof.get_by_role("listitem").filter(has_text=read)).to_have_count(2)
        for address in (1, 2):
            assert serial not in works.yard.lines["quayside"].rights(address)
        assert await visitor.violations() == []
        receipt = proof.get_by_text(re.compile(r"Receipt \d{8}-"))
        await expect(receipt).to_have_count(2)
        await receipt.first.click()
        await expect(proof.get_by_text("1 revoked transmitter is proven gone.")).to_be_visible()
        await expect(proof.get_by_role("link", name="Save the receipt")).to_be_visible()
        await expect(page.get_by_role("row").filter(has_text=serial)).to_contain_text("proven at 2 receivers")
        await proof.get_by_role("button", name="Lift the revocation").focus()
        await page.keyboard.press("Enter")
        await page.keyboard.type("found again")
        await page.keyboard.press("Enter")
        await expect(page.get_by_label("Holder or serial")).to_be_focused()
        await expect(page.get_by_role("row").filter(has_text=serial)).to_have_count(0)


async def test_a_receiver_that_can_not_be_reached_is_pending_until_it_can(browser: Browser, works: Quay) -> None:
    """It is in force at once; what is not proven is said, why, and what it means; it becomes proven by itself."""
    serial, line = "0048200022", works.yard.lines["quayside"]
    line.tell("@2 power off")
    try:
        works.yard.daemon.wait_link("car-park", "silent")
        async with open_visitor(browser, works.address) as visitor:
            page = visitor.page
            await visitor.sign_in(works.token("roster"))
            await visitor.go("revoke")
            await page.get_by_label("Holder or serial").press_sequentially("Berth 22")
            await page.get_by_role("button", name=f"Choose transmitter {serial} of Berth 22").click()
            await page.get_by_label("Why").fill("left the yard")
            await page.get_by_role("button", name="Revoke it now").click()
            proof = page.get_by_role("group", name=f"Proof for {serial}")
            await expect(proof.locator("li[data-state=proven]")).to_contain_text("Slip Gate")
            pending = proof.locator("li[data-state=pending]")
            await expect(pending).to_contain_text("Car Park")
            await expect(pending).to_contain_text("Until then the transmitter may still work there.")
            await expect(proof).to_contain_text("not gone everywhere yet: Car Park may still hold it.")
            assert await visitor.violations() == []
            line.tell("@2 power on")
            await expect(proof).to_contain_text("Proven at all 2 receivers: it is gone.", timeout=60_000)
            assert serial not in line.rights(2)
    finally:
        line.tell("@2 power on")


async def test_all_transmitters_of_a_holder_go_at_once(browser: Browser, works: Quay) -> None:
    """Each with a proof of its own."""
    with works.yard.roster.open("a") as roster:
        roster.write("0048300005,Berth 30,two-button,berth-holders\n")
    works.yard.daemon.post("/roster/fetches")
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("revoke")
        await page.get_by_label("Holder or serial").fill("Berth 30")
        await page.get_by_role("button", name="All 2 of Berth 30").click()
        await page.get_by_label("Why").fill("left the yard")
        await page.get_by_role("button", name="Revoke all 2 now").click()
        for serial in ("0048200030", "0048300005"):
            await expect(page.get_by_role("group", name=f"Proof for {serial}")).to_contain_text(
                "Proven at all 2 receivers"
            )
        await expect(page.locator(".steps > li").last).to_have_attribute("data-state", "done")


async def test_a_holder_with_markup_for_a_name_and_a_serial_nobody_knows(browser: Browser, works: Quay) -> None:
    """Names stay text; a transmitter that is nowhere can be revoked before it comes in."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("revoke")
        await page.get_by_label("Holder or serial").fill("img")
        await page.get_by_role("button", name="Choose transmitter 0048900001").click()
        await expect(page.locator(".steps")).to_contain_text(MARKUP)
        assert await page.locator("img").count() == 0
        await page.get_by_role("button", name="Another one").click()
        await page.get_by_label("Holder or serial").fill("48999999")
        await page.get_by_role("button", name="Revoke 0048999999 all the same").click()
        await page.get_by_label("Why").fill("a box of ten was stolen")
        await page.get_by_role("button", name="Revoke it now").click()
        proof = page.get_by_role("group", name="Proof for 0048999999")
        await expect(proof).to_contain_text("Proven at all 2 receivers")
        await page.reload()
        await expect(proof).to_contain_text("Proven at all 2 receivers")
        await proof.get_by_role("button", name="Lift the revocation").click()
        await proof.get_by_role("button", name="Lift it").click()
        await expect(proof).to_contain_text("Please fill this in.")
        await page.keyboard.press("Escape")
        await expect(proof.get_by_role("button", name="Lift the revocation")).to_be_focused()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_nothing_is_found_against_it(browser: Browser, works: Quay, size: str, scheme: str) -> None:
    """The first step, and the second."""
    await check_looks(browser, works, size, scheme, ("revoke", "revoke?serial=0048200003"))

"""Roster and changes on the page: seen before anything is written, approved or refused, proven, checked as a file."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, FilePayload, expect

from tests.browser.driving import SCHEMES, SIZES, Visitor, open_visitor
from tests.browser.looks import check_looks, check_told
from tests.browser.putting_back import as_before, saved_json
from tests.browser.quay import MARKUP, Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")

_CREW = "0048300001,Barge crew,two-button,hoist-crew"


def _leave_out(works: Quay, count: int) -> None:
    """The file lacks the first berths and the holder whose name is markup, and has a new crew."""
    header, *rows = works.yard.roster.read_text().splitlines()
    works.yard.roster.write_text("\n".join([header, *rows[count:-1], _CREW]) + "\n")


async def _hold_a_plan(visitor: Visitor, transmitters: int) -> None:
    """Ask the source, look, and bring it to the slip gate, as a person does."""
    page = visitor.page
    await page.get_by_role("button", name="Ask the source now").click()
    in_force = page.get_by_role("region", name="Roster in force")
    await expect(in_force).to_contain_text(f"{transmitters} transmitters, accepted")
    receiver = page.get_by_role("article", name="Slip Gate", exact=True)
    await expect(receiver).to_contain_text("Changes pending")
    await receiver.get_by_role("button", name="Preview").click()
    preview = page.get_by_role("group", name="Preview for Slip Gate")
    await expect(preview).to_contain_text("lose something")
    await expect(preview).to_contain_text("Berth 1, transmitter 0048200001, is removed")
    await expect(preview).to_contain_text(MARKUP[:16])  # as long as a receiver keeps it
    assert await page.locator("img").count() == 0
    await expect(preview).to_contain_text("on the wire")
    await expect(preview).to_contain_text("Would wait for approval")
    await receiver.get_by_role("button", name="Bring it there now").click()
    await expect(receiver).to_contain_text("must not lock anyone in")
    await receiver.get_by_role("button", name="Write it").click()


async def test_a_held_plan_is_refused_and_another_one_approved(browser: Browser, works: Quay) -> None:
    """Who gains and who loses is read first; nothing goes before somebody says so; then it is proven."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("roster")
        waiting = visitor.page.get_by_role("region", name="Waits for approval")
        held = waiting.locator("article[data-state=held]")
        memory = works.yard.lines["quayside"].rights
        with as_before(works):
            _leave_out(works, 9)
            await _hold_a_plan(visitor, 22)
            await expect(held).to_contain_text("which is more than 20 %")
            await check_told(browser, held.locator(".tag").first, "◆ Waits for approval")
            assert "0048200001" in memory()
            await held.get_by_role("button", name="Refuse").click()
            await held.get_by_role("button", name="Refuse it").click()
            await expect(held).to_contain_text("Please fill this in.")
            await held.get_by_label("Why not").fill("they all stay this season")
            await held.get_by_role("button", name="Refuse it").click()
            refused = waiting.locator("article[data-state=refused]")
            await expect(refused).to_contain_text("they all stay this season")
            assert "0048200001" in memory()
        with as_before(works):
            _leave_out(works, 8)
            await _hold_a_plan(visitor, 23)
            await held.get_by_role("button", name="Approve").click()
            await visitor.page.keyboard.press("Escape")
            await expect(held.get_by_role("button", name="Approve")).to_be_focused()
            await visitor.page.keyboard.press("Enter")
            works.yard.lines["quayside"].tell("@1 fault slow-write 1")
            await held.get_by_role("button", name="Approve and write it").click()
            await expect(waiting.get_by_role("progressbar")).to_be_visible()
            proven = waiting.locator("article[data-state=applied]").filter(has_text="9 removed")
            await expect(proven).to_contain_text("written and proven")
            assert "0048200001" not in memory()
            await proven.locator("summary").filter(has_text="Receipt").click()
            await expect(proven).to_contain_text("It was brought to the roster.")
            await expect(proven).to_contain_text("serial FQ-1, was then proven block by block: 23 transmitters")
            async with visitor.page.expect_download() as saving:
                await proven.get_by_role("link", name="Save the receipt").click()
            receipt = await saved_json(await saving.value)
            assert receipt["receipt"]["plan"]["id"] == await proven.get_attribute("data-plan")
            past = visitor.page.get_by_role("region", name="Changes so far").get_by_role("row")
            await expect(past.filter(has_text="9 removed")).to_contain_text("Written and proven")


async def test_a_file_is_checked_and_changes_nothing(browser: Browser, works: Quay) -> None:
    """Each fault stands beside the row of the file that it is in, by the number that a spreadsheet shows."""
    good = '0048200001,"Berth\n1",two-button,berth-holders'
    csv = f"serial,holder,kind,group\n{good}\n12x,{MARKUP},two-button,berth-holders\n"
    asked = FilePayload(name="new.csv", mimeType="text/csv", buffer=csv.encode())
    before = works.yard.daemon.get("/roster")["accepted"], works.yard.lines["quayside"].revision()
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("roster")
        check = visitor.page.get_by_role("region", name="Check a roster file")
        await check.get_by_role("button", name="Check it").click()
        await expect(check).to_contain_text("Please fill this in.")
        await check.get_by_label("Roster").set_input_files(asked)
        await check.get_by_role("button", name="Check it").click()
        await expect(check).to_contain_text("It would be refused")
        fault = check.get_by_role("row", name="roster, 3 serial")
        await expect(fault.locator("code")).to_have_text(f"12x,{MARKUP},two-button,berth-holders")
        assert await visitor.violations() == []
        whole = FilePayload(name="new.csv", mimeType="text/csv", buffer=works.yard.roster.read_bytes())
        groups = FilePayload(name="groups.toml", mimeType="text/plain", buffer=works.yard.groups.read_bytes())
        await check.get_by_label("Roster").set_input_files(whole)
        await check.get_by_label("Groups").set_input_files(groups)
        await check.get_by_role("button", name="Check it").click()
        await expect(check).to_contain_text("It can be used: 31 transmitters of 31 holders.")
    assert (works.yard.daemon.get("/roster")["accepted"], works.yard.lines["quayside"].revision()) == before


async def test_a_roster_that_is_no_good_is_told_with_its_rows(browser: Browser, works: Quay) -> None:
    """The last good one stays in force; the remedy stands beside the fault; mended, it is gone."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("roster")
        part = visitor.page.get_by_role("region", name="Roster in force")
        before = works.yard.roster.read_text()
        works.yard.roster.write_text(before + "4.82E+07,Berth 99,two-button,berth-holders\n")
        try:
            await part.get_by_role("button", name="Ask the source now").click()
            await expect(part).to_contain_text("The last good roster stays in force.")
            await expect(part.get_by_role("row").filter(has_text="4.82E+07")).to_contain_text("33")
        finally:
            works.yard.roster.write_text(before)
        await part.get_by_role("button", name="Ask the source now").click()
        await expect(part).not_to_contain_text("The last good roster stays in force.")


async def test_it_comes_back_after_the_gateway_was_away(browser: Browser, works: Quay) -> None:
    """What was asked for once is asked for again: no old fault and no old list stays behind."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("roster")
        works.yard.daemon.kill()
        await expect(visitor.page.locator(".stale-bar")).to_be_visible()
        receiver = visitor.page.get_by_role("article", name="Car Park", exact=True)
        await expect(receiver).to_contain_text("Not known at this moment.")
        await expect(receiver).to_contain_text("it was: equal to the roster.")
        await visitor.page.get_by_role("button", name="Ask the source now").click()
        await expect(visitor.page.locator("main [data-kind=failed]")).to_contain_text("can't be reached")
        works.yard.daemon.start()
        works.yard.daemon.wait_mirrored("slip-gate", "car-park")
        await expect(visitor.page.locator(".stale-bar")).to_be_hidden()
        await visitor.page.get_by_role("button", name="Ask the source now").click()
        await expect(visitor.page.locator("main [data-kind=failed]")).to_have_count(0)
        await expect(visitor.page.get_by_role("article", name="Car Park", exact=True)).to_contain_text(
            "Equal to the roster"
        )


async def test_whoever_may_only_look_sees_no_names_and_no_buttons(browser: Browser, works: Quay) -> None:
    """How it stands is for all who may look; who it is, and what to do, is not."""
    plan = works.yard.daemon.get("/plans", receiver="slip-gate", limit=500)["plans"][-1]
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("view"))
        await visitor.go(f"roster?plan={plan['id']}")
        await expect(visitor.page.get_by_role("article", name="Changes for Slip Gate")).to_contain_text(
            "31 transmitters gain"
        )
        assert "Berth" not in await visitor.page.locator("main").inner_text()
        await visitor.go("roster")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()
        for name in ("Preview", "Ask the source now", "Check it"):
            assert await visitor.page.get_by_role("button", name=name).count() == 0


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_nothing_is_found_against_it(browser: Browser, works: Quay, size: str, scheme: str) -> None:
    """All plans, and one in full."""
    plan = works.yard.daemon.get("/plans", limit=500)["plans"][-1]["id"]
    await check_looks(browser, works, size, scheme, ("roster", f"roster?plan={plan}"))

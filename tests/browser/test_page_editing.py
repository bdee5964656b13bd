"""People, groups and names on the page, where the gateway keeps the roster itself; and where it does not."""

from __future__ import annotations

import pytest
from playwright.async_api import Browser, Locator, Page, expect

from tests.browser.driving import Visitor, open_visitor
from tests.browser.own_quay import bring
from tests.browser.quay import MARKUP, Quay
from tests.integration.yard import until

pytestmark = pytest.mark.asyncio(loop_scope="session")


async def look(page: Page) -> Locator:
    """From what is filled in to the words of the change."""
    await page.get_by_role("button", name="Look at the change").click()
    await expect(page.get_by_role("heading", name="What will change")).to_be_focused()
    return page.locator(".words")


async def change(visitor: Visitor, serial: str, what: str) -> Page:
    """The card of a transmitter, with one of its changes open."""
    await visitor.go(f"people?id={serial}")
    changes = visitor.page.locator(f"details[data-serial='{serial}']")
    if await changes.get_attribute("open") is None:
        await changes.get_by_text("Change this").click()
    await visitor.page.get_by_role("button", name=what).click()
    return visitor.page


def entry(own: Quay, serial: str) -> dict[str, object]:
    cards = own.yard.daemon.get(f"/people/{serial}")["transmitters"]
    found: dict[str, object] = next(card for card in cards if card["serial"] == serial)
    return found


def added(own: Quay, serial: str, holder: str, group: str = "berth-holders") -> str:
    """Somebody for one test."""
    body = {"serial": serial, "holder": holder, "group": group}
    assert own.yard.daemon.post("/people", body).status_code == 201
    return serial


async def test_somebody_new_from_the_form_to_the_receiver(browser: Browser, own: Quay) -> None:
    """Faults stand at their fields and change nothing; then before → after, pending, and brought by a button."""
    serial = "0048230101"
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        await visitor.go("people")
        await visitor.page.get_by_role("link", name="Add somebody").click()
        page = visitor.page
        await expect(page.get_by_label("Serial")).to_be_focused()
        await page.get_by_label("Serial").fill("48230101")
        await page.get_by_label("Holder").fill(MARKUP)
        await page.get_by_label("Begins").fill("2026-12-31")
        await page.get_by_label("Ends").fill("2026-01-01")
        await page.get_by_role("button", name="Look at the change").click()
        wrong = page.locator(".wrong:visible")
        await expect(wrong).to_contain_text('"2026-01-01", before valid_from "2026-12-31"')
        await expect(wrong).not_to_contain_text("row")  # there is none yet
        await expect(page.locator(".notice[role=alert]")).to_contain_text("Correct what is marked ▲ above.")
        assert await page.locator("img").count() == 0
        assert own.yard.daemon.client.get(f"/people/{serial}").status_code == 404
        await page.get_by_label("Begins").fill("")
        await page.get_by_label("Ends").fill("")
        await expect(await look(page)).to_contain_text(f"{MARKUP}, transmitter {serial}: added, group berth-holders")
        await page.get_by_role("button", name="Add it").click()
        await expect(page.locator(".said").filter(has_text="Added")).to_contain_text(serial)
        waiting = page.get_by_role("region", name="Pending changes")
        await expect(waiting).to_contain_text("Slip Gate")
        await expect(waiting).to_contain_text("No timetable is set")
        await waiting.get_by_role("button", name="Bring them now").click()
        await waiting.get_by_role("button", name="Write them").click()
        await expect(waiting.get_by_text("Written and proven").first).to_be_visible()
        until(lambda: serial in own.yard.lines["quayside"].rights(1), "the new transmitter at the slip gate")


async def test_what_others_changed_meanwhile_is_told(browser: Browser, own: Quay) -> None:
    """Nothing of either is lost: their change stands, what was filled in is still there, and the next look is right."""
    serial = added(own, "0048230102", "Berth 22")
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        page = await change(visitor, serial, "Change kind or note")
        await page.get_by_label("Note").fill("spare in the office")
        daemon = own.yard.daemon
        tag = daemon.client.get(f"/people/{serial}").headers["ETag"]
        other = daemon.client.patch(f"/people/{serial}", json={"group": "hoist-crew"}, headers={"If-Match": tag})
        assert other.status_code == 200
        await page.get_by_role("button", name="Look at the change").click()
        told = page.get_by_role("alert").filter(has_text="Somebody else changed this meanwhile")
        await expect(told).to_contain_text("group berth-holders → hoist-crew")
        await expect(page.get_by_label("Note")).to_have_value("spare in the office")
        await expect(await look(page)).to_contain_text("note none → spare in the office")
        await page.get_by_role("button", name="Change it", exact=True).click()
        await expect(page.locator(".said").filter(has_text="Done")).to_be_visible()
        found = entry(own, serial)
        assert (found["group"], found["note"]) == ("hoist-crew", "spare in the office")


async def test_by_keyboard_a_name_and_an_end(browser: Browser, own: Quay) -> None:
    """Tab and Enter alone; Escape leaves a change, and the focus goes back to its button."""
    serial = added(own, "0048230103", "Berth 23")
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go(f"people?id={serial}")
        await page.get_by_text("Change this").focus()
        await page.keyboard.press("Enter")
        await page.keyboard.press("Tab")
        await expect(page.get_by_role("button", name="Give another name")).to_be_focused()
        await page.keyboard.press("Enter")
        await expect(page.get_by_label("Holder")).to_be_focused()
        await page.keyboard.press("Escape")
        await expect(page.get_by_role("button", name="Give another name")).to_be_focused()
        await page.keyboard.press("Enter")
        await expect(page.get_by_label("Holder")).to_be_focused()
        await page.keyboard.press("Control+A")
        await page.keyboard.type("Berth 23, Heron")
        await page.keyboard.press("Enter")
        await expect(page.locator(".words")).to_contain_text("holder Berth 23 → Berth 23, Heron")
        await page.keyboard.press("Tab")
        await page.keyboard.press("Enter")
        await expect(page.get_by_role("heading", name="Berth 23, Heron")).to_be_visible()
        page = await change(visitor, serial, "Set when it begins or ends")
        await expect(page.get_by_text("Dates are kept by the gateway alone")).to_be_visible()
        await page.get_by_label("Ends").fill("2030-10-31")
        await expect(await look(page)).to_contain_text("valid until none → 2030-10-31")
        await page.get_by_role("button", name="Change it", exact=True).click()
        await expect(page.get_by_text("Until 31 Oct 2030.")).to_be_visible()


async def test_rights_of_its_own_a_copy_and_another_holder(browser: Browser, own: Quay) -> None:
    """Chosen by lines; copied once from somebody; handed over; removed."""
    serial, other = added(own, "0048230104", "Berth 24"), added(own, "0048230105", "Berth 25", "hoist-crew")
    async with open_visitor(browser, own.address) as visitor:
        await visitor.sign_in(own.token("roster"))
        page = await change(visitor, serial, "Move to another group")
        await page.get_by_label("What it may work").select_option("own")
        await page.get_by_label("Position").select_option("2")
        await page.get_by_label("Output").select_option("slip-gate/boat-hoist")
        await expect(await look(page)).to_contain_text("→ 2:slip-gate/boat-hoist")
        await page.get_by_role("button", name="Change it", exact=True).click()
        done = page.locator(".said").filter(has_text="Done")
        await expect(done).to_contain_text("→ 2:slip-gate/boat-hoist")
        page = await change(visitor, serial, "Move to another group")
        await page.get_by_label("What it may work").select_option("copy")
        await page.get_by_label("Whose rights").fill("nobody at all")
        await page.get_by_role("button", name="Look at the change").click()
        await expect(page.get_by_text("Nobody in the roster has exactly this name.").first).to_be_visible()
        await page.get_by_label("Whose rights").fill("berth 25")
        await look(page)
        await page.get_by_role("button", name="Change it", exact=True).click()
        await expect(done).to_contain_text("2:slip-gate/boat-hoist →")
        assert entry(own, serial)["rights"] == entry(own, other)["rights"]
        page = await change(visitor, serial, "Hand over")
        await page.get_by_label("New holder").fill("Painter")
        await look(page)
        await page.get_by_role("button", name="Hand it over").click()
        await expect(page.get_by_role("heading", name="Painter")).to_be_visible()
        page = await change(visitor, serial, "Remove from the roster")
        await expect(page.locator(".words")).to_contain_text("removed")
        await expect(page.get_by_text("must not lock anyone in")).to_be_visible()
        await page.get_by_role("button", name="Remove it").click()
        await expect(page.get_by_text("Neither the roster nor a receiver has this transmitter.")).to_be_visible()


async def test_groups_are_made_changed_and_renamed(browser: Browser, own: Quay) -> None:
    """For everybody who is in them; what is in use does not go."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("groups")
        await page.get_by_role("button", name="Make a group").click()
        await page.get_by_label("Name").fill("painters")
        await page.get_by_label("Output").select_option("car-park/barrier")
        await expect(await look(page)).to_contain_text("Group painters is new: 1:car-park/barrier")
        await page.get_by_role("button", name="Make it").click()
        card = page.get_by_role("article", name="painters")
        await expect(card).to_contain_text("Position 1 works Car-park barrier.")
        added(own, "0048230106", "Painter 6", "painters")
        await card.get_by_role("button", name="Give it another name").click()
        await page.get_by_label("Name").fill("decorators")
        await look(page)
        await page.get_by_role("button", name="Change it", exact=True).click()
        card = page.get_by_role("article", name="decorators")
        await expect(card).to_contain_text("1 transmitter")
        await card.get_by_role("button", name="Remove it").click()
        await expect(card.get_by_role("alert")).to_be_visible()
        assert entry(own, "0048230106")["group"] == "decorators"
        await visitor.go("edits")
        await expect(page.get_by_text("Group decorators is new").first).to_be_visible()


async def test_people_in_another_order_and_of_one_gate(browser: Browser, own: Quay) -> None:
    """By transmitter, who was heard last, who ends first; whoever works another output there is not counted."""
    daemon = own.yard.daemon
    first, second = added(own, "0048230120", "Yard hand"), added(own, "0048230121", "A boy of the yard")
    hoist = {"serial": "0048230122", "holder": "Rigger", "rights": ["1:slip-gate/boat-hoist"]}
    answer = daemon.post("/people", hoist)
    assert answer.status_code == 201, answer.text
    tag = daemon.client.get(f"/people/{first}").headers["ETag"]
    ends = daemon.client.patch(f"/people/{first}", json={"valid_until": "2029-01-31"}, headers={"If-Match": tag})
    assert ends.status_code == 200, ends.text
    own.press(int(second), address=1)
    until(lambda: daemon.get(f"/people/{second}")["transmitters"][0]["last_heard"], "a press that is kept")
    async with open_visitor(browser, own.address) as visitor:
        page, cards = visitor.page, visitor.page.locator("article.person")
        await visitor.sign_in(own.token("roster"))
        await visitor.go("people")
        order = page.get_by_label("Order")
        await order.select_option("Ending first")
        await expect(cards.first).to_contain_text("Until 31 Jan 2029.")
        await order.select_option("Last used first")
        await expect(cards.first).to_contain_text("A boy of the yard")
        await order.select_option("By transmitter")
        await expect(cards.first).not_to_contain_text("A boy of the yard")
        serials = await cards.evaluate_all(
            "(all) => all.map((each) => [...each.querySelectorAll('.figures')].map((one) => one.textContent).sort()[0])"
        )
        assert serials == sorted(serials)
        assert "sort=serial" in page.url
        await page.get_by_label("Who has access to").select_option("Slip gate")
        await expect(page.get_by_role("article", name="Rigger")).to_have_count(0)
        await expect(page.get_by_role("article", name="Yard hand")).to_have_count(1)
        await expect(page.get_by_role("status").filter(has_text="found")).to_have_text(
            f"{await cards.count()} people found."
        )


async def test_names_are_given_as_transmitters_are_heard(browser: Browser, own: Quay) -> None:
    """Whoever has just pressed comes first and is named there and then."""
    first, second = added(own, "0048230107", "Unnamed 0048230107"), added(own, "0048230108", "Unnamed 0048230108")
    bring(own.yard.daemon, "slip-gate")
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("names")
        await expect(page.locator(".lead")).to_contain_text("2 transmitters without a name")
        own.press(int(second), address=1)
        row = page.get_by_role("listitem").filter(has_text=second)
        await expect(row).to_contain_text("ast heard at Slip gate")
        await expect(page.locator("ul.sheet > li").first).to_contain_text(second)
        await row.get_by_role("button", name=f"Name {second}").click()
        await page.get_by_label("Holder").fill("Berth 28")
        await look(page)
        await page.get_by_role("button", name="Name it").click()
        await expect(page.locator(".lead")).to_contain_text("1 transmitter without a name")
        assert (entry(own, second)["holder"], entry(own, first)["unnamed"]) == ("Berth 28", True)


async def test_the_first_day_reads_and_never_replaces(browser: Browser, own: Quay) -> None:
    """Every receiver read anew, files to save; a roster that is kept already stays."""
    async with open_visitor(browser, own.address) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("roster"))
        await visitor.go("first-roster")
        assert await page.get_by_label("Boat Shed").count() == 0  # nobody can read it
        before = own.yard.lines["quayside"].memory(1)
        await page.get_by_role("button", name="Read them").click()
        result = page.get_by_role("region", name="What was read")
        await expect(result.get_by_role("heading", level=2)).to_contain_text("transmitters of")
        async with page.expect_download() as saving:
            await result.get_by_role("link", name="Save roster.csv").click()
        assert (await (await saving.value).path()).read_text().startswith("serial,holder")
        await result.get_by_role("button", name="Keep it as the roster").click()
        await expect(result.get_by_role("alert")).to_contain_text("roster already")
        assert own.yard.lines["quayside"].memory(1) == before


async def test_a_central_file_is_not_edited_here(browser: Browser, quay: Quay) -> None:
    """One sentence says where; there is nothing to press."""
    async with open_visitor(browser, quay.address) as visitor:
        page = visitor.page
        await visitor.sign_in(quay.token("roster"))
        for view in ("people", "people?id=0048200003", "groups", "person-add", "edits"):
            await visitor.go(view)
            await expect(page.locator(".elsewhere")).to_contain_text("people are changed there")
            await expect(page.locator(".elsewhere")).to_contain_text("roster.csv")
            assert await page.locator(".edits, .edit").count() == 0
            assert await page.get_by_role("link", name="Add somebody").count() == 0

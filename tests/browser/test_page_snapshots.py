"""Snapshots on the page: taken, compared in words, restored and cloned behind a preview, and what waits behind it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.async_api import Browser, FilePayload, Page, Route, expect

from tests.browser.driving import SCHEMES, SIZES, Visitor, open_visitor
from tests.browser.looks import check_looks
from tests.browser.putting_back import as_before, saved_json
from tests.browser.quay import Quay
from tests.integration.yard import until

pytestmark = pytest.mark.asyncio(loop_scope="session")

_LOST = "0048200027"


@pytest.fixture(autouse=True)
def _put_back(works: Quay) -> Iterator[None]:
    with as_before(works):
        yield


def _take(works: Quay, receiver: str = "slip-gate") -> Any:
    """A snapshot; what another test has left to be brought to the receiver may be under way still."""

    def take() -> Any:
        answer = works.yard.daemon.post(f"/receivers/{receiver}/snapshots")
        return answer.json() if answer.status_code == 201 else None

    return until(take, f"a snapshot of {receiver}")


def _lose_one_at_the_board(works: Quay) -> None:
    """Somebody takes a transmitter out with the buttons on the board, and the gateway has seen it."""
    before = works.yard.daemon.receiver("slip-gate")["slots_used"]
    works.yard.lines["quayside"].tell("@1 board unlearn 1")
    works.press(int(_LOST), address=1)
    until(lambda: works.yard.daemon.receiver("slip-gate")["slots_used"] == before - 1, "one less")


async def _look(page: Page, receiver: str) -> None:
    await page.get_by_role("button", name="Show what it would do").click()
    await expect(page.get_by_role("heading", name=f"What it would do at {receiver}")).to_be_visible()


async def _restore(visitor: Visitor, name: str) -> None:
    """Type a wrong name first: nothing goes."""
    page = visitor.page
    await page.get_by_label("To confirm, type").fill("boat-shed")
    await page.get_by_role("button", name="Write it to the receiver").click()
    await expect(page.locator("main").get_by_role("alert")).to_contain_text("Nothing was written.")
    await page.get_by_label("To confirm, type").fill(name)
    await page.keyboard.press("Enter")
    await expect(page.locator("article.plan[data-state=applied]")).to_contain_text("written and proven")


async def test_taken_compared_restored_and_the_roster_let_go_on(browser: Browser, works: Quay) -> None:
    """What was taken out at the board is told in words and comes back; then somebody says that the roster is right."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("snapshots")
        await expect(page.get_by_text("The roster waits nowhere.")).to_be_visible()
        await page.get_by_role("button", name="Take a snapshot").click()
        await expect(page.get_by_role("region", name="Take and bring")).to_contain_text("31 transmitters.")
        newest = page.get_by_role("region", name="Kept").locator("tbody tr").first
        await expect(newest).to_contain_text("Asked for")
        _lose_one_at_the_board(works)
        await newest.get_by_role("link", name="Compare snapshot").click()
        await expect(page.get_by_text("0 transmitters more, 1 missing and 0 changed.")).to_be_visible()
        missing = page.get_by_role("group", name="Missing")
        await expect(missing).to_contain_text(f"Berth 27 (transmitter {_LOST}) is missing in slip-gate")
        assert await visitor.violations() == []
        await page.get_by_role("link", name="All snapshots").click()
        await newest.get_by_role("link", name="Restore snapshot").click()
        await _look(page, "Slip Gate")
        await expect(page.get_by_role("group", name="+ 1 transmitter gains something")).to_contain_text("Berth 27")
        assert await visitor.violations() == []
        await _restore(visitor, "slip-gate")
        assert _LOST in works.yard.lines["quayside"].rights()
        waits = page.get_by_role("article", name="The roster waits at Slip Gate")
        await expect(waits).to_contain_text("only a person can say which is right")
        await waits.get_by_role("button", name="What it holds is right").click()
        await waits.get_by_role("button", name="Keep what it holds").click()
        await expect(waits).to_contain_text("What it holds stays until another roster is accepted.")
        await waits.get_by_role("button", name="The roster is right").click()
        await waits.get_by_role("button", name="Let the roster go on").click()
        await expect(waits).to_have_count(0)
        assert works.yard.daemon.receiver("slip-gate")["waiting"] is None


async def test_how_far_a_memory_is_read_while_somebody_waits(browser: Browser, works: Quay) -> None:
    """An answer that waits for the wire says how far it is, and no longer than that."""
    snapshot = _take(works)
    answered = asyncio.Event()

    async def late(route: Route) -> None:
        await answered.wait()
        await route.continue_()

    async def being_read(route: Route) -> None:
        found = await (await route.fetch()).json()
        found["receivers"][0]["reading"] = {"done": 320, "total": 1024}
        await route.fulfill(json=found)

    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go(f"snapshots?restore={snapshot['id']}")
        await page.route("**/restore-previews", late)
        await page.route("**/api/v1/receivers", being_read)
        await page.get_by_role("button", name="Show what it would do").click()
        bar = page.get_by_role("progressbar", name="Reading what Slip Gate holds")
        await expect(bar).to_have_attribute("value", "320")
        await expect(page.get_by_text("320 of 1024: reading what Slip Gate holds")).to_be_visible()
        assert await visitor.violations() == []
        answered.set()
        await expect(page.get_by_role("heading", name="What it would do at Slip Gate")).to_be_visible()
        await expect(bar).to_have_count(0)


async def test_a_clone_says_what_to_set_at_the_board_and_what_is_in_the_way(browser: Browser, works: Quay) -> None:
    """Modes come first and want a tick; a transmitter that has other rights there is told; a revoked one stays out."""
    snapshot = _take(works)
    daemon, line = works.yard.daemon, works.yard.lines["quayside"]
    line.tell("@2 board learn 2")
    works.press(48_200_002, 2)
    daemon.post("/revocations", {"serial": _LOST, "reason": "lost"})
    line.tell("@2 mode 2 latching")
    try:
        until(lambda: daemon.get("/receivers/car-park/status")["outputs"][1]["mode"] == "latching", "another mode")
        until(lambda: daemon.get("/drift", receiver="car-park")["drift"], "a change at the board")
        async with open_visitor(browser, works.address) as visitor:
            page = visitor.page
            await visitor.sign_in(works.token("admin"))
            await visitor.go(f"snapshots?restore={snapshot['id']}&receiver=car-park")
            await page.get_by_label("How").select_option(label="Add what it lacks")
            await _look(page, "Car Park")
            first = page.get_by_role("group", name="First, at the board")
            await expect(first).to_contain_text("Set output 2 to timed at the board; it is latching now.")
            left_out = page.get_by_role("group", name="Left out")
            await expect(left_out).to_contain_text("Conflict: Berth 2 (transmitter 0048200002) keeps what it has here")
            await expect(left_out).to_contain_text(f"{_LOST}) is revoked and stays out")
            assert await visitor.violations() == []
            await page.get_by_label("How").select_option(label="Hold this and nothing else")
            await expect(page.get_by_role("heading", name="What it would do at Car Park")).to_have_count(0)
            await _look(page, "Car Park")
            await page.get_by_label("To confirm, type").fill("car-park")
            await page.get_by_role("button", name="Write it to the receiver").click()
            await expect(page.locator("main").get_by_role("alert")).to_contain_text("set at the board first")
            line.tell("@2 mode 2 timed")
            await page.get_by_label("What is to be set at the board is set").check()
            await _restore(visitor, "car-park")
        assert line.rights(2)["0048200002"] == {"1": [1]}
        assert _LOST not in line.rights(2)
    finally:
        line.tell("@2 mode 2 timed")


async def test_settings_come_along_when_they_are_ticked(browser: Browser, works: Quay) -> None:
    """What would be set is said, with the caution; another preview is wanted when the tick changes."""
    snapshot, path = _take(works), "/receivers/slip-gate/settings"
    client = works.yard.daemon.client
    tag = {"If-Match": client.get(path).headers["ETag"]}
    assert client.patch(path, json={"on_times_s": {"2": 9}}, headers=tag).status_code == 200
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go(f"snapshots?restore={snapshot['id']}")
        await _look(page, "Slip Gate")
        await expect(page.get_by_text("There is nothing to restore")).to_be_visible()
        await page.get_by_label("Set on-times and local programming too").check()
        await expect(page.get_by_text("There is nothing to restore")).to_have_count(0)
        await _look(page, "Slip Gate")
        await expect(page.get_by_role("group", name="Settings that are set")).to_contain_text("5 s instead of 9 s")
        await expect(page.get_by_text("can change how the gate moves")).to_be_visible()
        await _restore(visitor, "slip-gate")
    assert works.yard.daemon.get(path)["on_times_s"]["2"] == 5


async def test_a_file_goes_out_and_comes_in(browser: Browser, works: Quay) -> None:
    """Saved as it is kept; brought in it stands in the list as one from elsewhere; a torn file is refused."""
    snapshot = _take(works, "car-park")
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("roster"))
        await visitor.go("snapshots?receiver=car-park")
        async with page.expect_download() as saving:
            await page.get_by_role("link", name=f"Save the file of snapshot {snapshot['id']}").click()
        document = await saved_json(await saving.value)
        assert document["id"] == snapshot["id"]
        await page.get_by_text("Bring one from another site").click()
        part = page.get_by_role("region", name="Take and bring")
        for text, said in (
            ("{", "can't be read as JSON"),
            (json.dumps({**document, "revision": 1}), "its checksum does not fit"),
            (json.dumps(document), "Kept as"),
        ):
            file = FilePayload(name="slip.json", mimeType="application/json", buffer=text.encode())
            await part.get_by_label("Snapshot's file").set_input_files(file)
            await part.get_by_role("button", name="Bring it in").click()
            await expect(part).to_contain_text(said)
        await page.get_by_role("region", name="Kept").get_by_label("Of which receiver").select_option(label="All")
        await expect(page.get_by_role("row").filter(has_text="Car Park, from elsewhere")).to_have_count(1)


async def test_without_the_scope_they_are_listed_and_no_more(browser: Browser, works: Quay) -> None:
    """Whoever may look sees that there are some; nothing to take, to compare or to restore."""
    snapshot = _take(works)
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("view"))
        await visitor.go("snapshots")
        await expect(visitor.page.locator("tbody tr").first).to_contain_text("Asked for")
        assert await visitor.page.locator("main").get_by_role("button", name="Take").count() == 0
        assert await visitor.page.get_by_role("link", name="Restore").count() == 0
        await visitor.go(f"snapshots?restore={snapshot['id']}")
        await expect(visitor.page.get_by_text("Ask for one with the scope roster.")).to_be_visible()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_nothing_is_found_against_it(browser: Browser, works: Quay, size: str, scheme: str) -> None:
    """The list, a comparison, and the first question of a restore."""
    snapshot = _take(works)["id"]
    views = ("snapshots", f"snapshots?compare={snapshot}&with=car-park", f"snapshots?restore={snapshot}")
    await check_looks(browser, works, size, scheme, views)

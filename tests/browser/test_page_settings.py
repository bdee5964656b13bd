"""Settings of a receiver on the page: held and wanted side by side, and nobody is overwritten unseen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.async_api import Browser, Locator, Page, expect

from tests.browser.driving import open_visitor
from tests.browser.quay import Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")

_PATH = "/receivers/slip-gate/settings"


def _change(works: Quay, body: dict[str, Any]) -> None:
    """Somebody else's hand."""
    client = works.yard.daemon.client
    answer = client.patch(_PATH, json=body, headers={"If-Match": client.get(_PATH).headers["ETag"]})
    assert answer.status_code == 200, answer.text


def _call(works: Quay, receiver: str, names: dict[str, str]) -> None:
    """Somebody else gives names."""
    path, client = f"/receivers/{receiver}/output-names", works.yard.daemon.client
    answer = client.patch(path, json={"names": names}, headers={"If-Match": client.get(path).headers["ETag"]})
    assert answer.status_code == 200, answer.text


@pytest.fixture(autouse=True)
def _put_back(works: Quay) -> Iterator[None]:
    yield
    for receiver in ("slip-gate", "car-park"):
        _call(works, receiver, {"1": ""})
    _change(works, {"on_times_s": {"1": 5, "2": 5}, "local_programming": True, "password": ""})


def _row(page: Page, title: str) -> Locator:
    return page.get_by_role("group", name=title, exact=True)


def _held(works: Quay) -> Any:
    return works.yard.daemon.get(_PATH)


async def test_an_on_time_is_written_and_read_back(browser: Browser, works: Quay) -> None:
    """Under its gate, with the limits of this receiver and the caution; a value beyond them is told and not written."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go("settings?receiver=slip-gate")
        gate = _row(page, "Slip gate")
        row = gate.get_by_role("group", name="Gate (output 1)")
        await expect(row).to_contain_text("On the receiver5 s")
        await expect(page.get_by_text("can change how the gate moves")).to_be_visible()
        await row.get_by_label("Wanted, in seconds").fill("99999")
        await page.get_by_role("button", name="Write the on-times").click()
        await expect(page.locator("main").get_by_role("alert")).to_contain_text("This receiver takes 1 to 3600 s.")
        await row.get_by_label("Wanted, in seconds").fill("8")
        await page.keyboard.press("Enter")
        await expect(page.get_by_text("Gate (output 1) stays closed for 8 s, before 5 s.")).to_be_visible()
        await expect(row).to_contain_text("On the receiver8 s")
        assert await visitor.violations() == []
    assert _held(works)["on_times_s"]["1"] == 8
    assert works.yard.lines["quayside"].shown("outputs")[0]["on_time_s"] == 8


async def test_refused_when_somebody_else_was_faster(browser: Browser, works: Quay) -> None:
    """What is typed stays, what stands there now comes beside it, and only then it can be written."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go("settings?receiver=slip-gate")
        row = _row(page, "Gate (output 1)")
        await row.get_by_label("Wanted, in seconds").fill("12")
        _change(works, {"on_times_s": {"1": 20}})
        await expect(page.get_by_text("have just been changed by somebody else")).to_be_visible()
        await expect(row).to_contain_text("On the receiver5 s")
        await page.get_by_role("button", name="Write the on-times").click()
        refused = page.locator("main").get_by_role("alert")
        await expect(refused).to_contain_text("Somebody changed these settings since you looked. Nothing was written.")
        await expect(refused).to_contain_text("Gate (output 1) stays closed for 20 s, before 5 s.")
        assert _held(works)["on_times_s"]["1"] == 20
        await expect(row).to_contain_text("On the receiver20 s")
        await expect(row.get_by_label("Wanted, in seconds")).to_have_value("12")
        await page.get_by_role("button", name="Write the on-times").click()
        await expect(page.get_by_text("Gate (output 1) stays closed for 12 s, before 20 s.")).to_be_visible()
        _change(works, {"on_times_s": {"1": 6}})
        await expect(row).to_contain_text("On the receiver6 s")  # nothing typed: shown at once
        await expect(row.get_by_label("Wanted, in seconds")).to_have_value("6")


async def test_protection_is_a_part_of_its_own(browser: Browser, works: Quay) -> None:
    """Typed twice, never shown, switched off with a tick; the caution says that it crosses the wire in clear."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go("settings?receiver=slip-gate")
        part = page.get_by_role("region", name="Protection")
        await expect(part).to_contain_text("crosses the wire in clear")
        write = part.get_by_role("button", name="Write the protection")
        await write.click()
        await expect(part.get_by_role("alert")).to_contain_text("Nothing is different from what the receiver holds.")
        await part.get_by_label("Wanted").select_option(label="Locked")
        await part.get_by_label("New link password").fill("slipway7")
        await part.get_by_label("The same once more").fill("slipway8")
        await write.click()
        await expect(part.get_by_role("alert")).to_contain_text("The two link passwords differ.")
        await expect(part.get_by_label("The same once more")).to_be_focused()
        await part.get_by_label("The same once more").fill("slipway7")
        await write.click()
        await expect(page.get_by_text("The link password is set now.")).to_be_visible()
        await expect(page.get_by_text("Local programming is locked now.")).to_be_visible()
        assert _held(works) == {**_held(works), "password_set": True, "local_programming": False}
        assert await part.get_by_label("New link password").input_value() == ""
        assert "slipway7" not in await page.content()
        await part.get_by_label("Switch it off").check()
        await write.click()
        await expect(page.get_by_text("The link password is off now.")).to_be_visible()
    assert not _held(works)["password_set"]


async def test_an_output_is_called_otherwise_everywhere_at_once(browser: Browser, works: Quay) -> None:
    """The settings file's name beside the one in use; what can't be a name is told; the receiver is not asked."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go("settings?receiver=slip-gate")
        part = page.get_by_role("region", name="Names of outputs")
        row = part.get_by_role("group", name="Output 1", exact=True)
        await expect(row).to_contain_text("In the settings filegate")
        await expect(row).to_contain_text("In usegate")
        send = part.get_by_role("button", name="Use these names")
        await send.click()
        await expect(part.get_by_role("alert")).to_contain_text("Every output is called so already.")
        await row.get_by_label("Wanted name").fill("<b>slip</b>")
        await send.click()
        await expect(part.get_by_role("alert")).to_contain_text(
            "can't be called “<b>slip</b>”: a name has no “<” in it"
        )
        await row.get_by_label("Wanted name").fill("boat-hoist")
        await send.click()
        await expect(part.get_by_role("alert")).to_contain_text("output 2 is called so")
        revision = works.yard.lines["quayside"].revision()
        await row.get_by_label("Wanted name").fill("slip")
        await page.keyboard.press("Enter")
        await expect(part.get_by_text("Output 1 is called slip, before gate.")).to_be_visible()
        await expect(row).to_contain_text("In useslip")
        await expect(_row(page, "Slip (output 1)")).to_contain_text("On the receiver")
        assert works.yard.lines["quayside"].revision() == revision
        await row.get_by_label("Wanted name").fill("")
        await send.click()
        await expect(part.get_by_text("Output 1 is called gate, before slip.")).to_be_visible()
        await expect(row).to_contain_text("Earlier: slip.")
        await expect(row.get_by_label("Wanted name")).to_have_value("gate")
        assert await visitor.violations() == []


async def test_names_are_refused_when_somebody_else_was_faster(browser: Browser, works: Quay) -> None:
    """What is typed stays, what is in use now comes beside it; where nothing is typed it is shown at once."""
    async with open_visitor(browser, works.address) as visitor:
        page = visitor.page
        await visitor.sign_in(works.token("admin"))
        await visitor.go("settings?receiver=car-park")
        part = page.get_by_role("region", name="Names of outputs")
        row = part.get_by_role("group", name="Output 1", exact=True)
        await expect(row).to_contain_text("In usebarrier")
        await row.get_by_label("Wanted name").fill("boom")
        _call(works, "car-park", {"1": "pole"})
        await expect(part.get_by_text("have just been called otherwise by somebody else")).to_be_visible()
        await part.get_by_role("button", name="Use these names").click()
        refused = part.get_by_role("alert")
        await expect(refused).to_contain_text(
            "Somebody called outputs otherwise since you looked. Nothing of yours was"
        )
        await expect(refused).to_contain_text("Output 1 is called pole, before barrier.")
        await expect(row).to_contain_text("In usepole")
        await expect(row.get_by_label("Wanted name")).to_have_value("boom")
        await part.get_by_role("button", name="Use these names").click()
        await expect(part.get_by_text("Output 1 is called boom, before pole.")).to_be_visible()
        _call(works, "car-park", {"1": ""})
        await expect(row).to_contain_text("In usebarrier")
        await expect(row.get_by_label("Wanted name")).to_have_value("barrier")


async def test_without_the_scope_it_is_shown_and_not_changed(browser: Browser, works: Quay) -> None:
    """Whoever may look sees what the receiver holds, and no field."""
    async with open_visitor(browser, works.address) as visitor:
        await visitor.sign_in(works.token("roster"))
        await visitor.go("settings?receiver=car-park")
        await expect(visitor.page.get_by_text("Ask for one with the scope admin.")).to_be_visible()
        await expect(_row(visitor.page, "Barrier (output 1)")).to_contain_text("On the receiver5 s")
        assert await visitor.page.locator("main input").count() == 0


async def test_a_receiver_that_does_not_answer_is_said_and_asked_again(browser: Browser, works: Quay) -> None:
    """No old value stands in for one that can't be read."""
    line = works.yard.lines["quayside"]
    line.tell("@2 power off")
    try:
        works.yard.daemon.wait_link("car-park", "silent")
        async with open_visitor(browser, works.address) as visitor:
            await visitor.sign_in(works.token("admin"))
            await visitor.go("settings?receiver=car-park")
            again = visitor.page.get_by_role("button", name="Try again")
            await expect(again).to_be_visible()
            assert "5 s" not in await visitor.page.locator("main").inner_text()
            line.tell("@2 power on")
            works.yard.daemon.wait_link("car-park", "online")
            await expect(_row(visitor.page, "Barrier (output 1)")).to_contain_text("On the receiver5 s")
    finally:
        line.tell("@2 power on")

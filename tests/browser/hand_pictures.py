"""What is pictured of people's own work: editing, enrolling, a visit sheet, the board, operating an output."""

from __future__ import annotations

from playwright.async_api import expect

from tests.browser.driving import Visitor
from tests.browser.own_quay import STRANGER
from tests.browser.picturing import ON_A_PHONE, Picture
from tests.browser.quay import Quay
from tests.integration.yard import until

__all__ = ["set_the_bench"]


def set_the_bench(quay: Quay) -> tuple[Picture, ...]:
    """Something was changed at the board while people worked, and the first line of a sheet is ticked."""
    daemon, line = quay.yard.daemon, quay.yard.lines["quayside"]
    visit = daemon.post("/visits", {"receiver": "slip-gate", "minutes": 45, "reason": "aerial is replaced"}).json()
    for gesture, serial in (("learn", "0048230301"), ("unlearn", "0048200003")):
        line.tell(f"@1 board {gesture} 1")
        line.tell(f"@1 press {serial} 1")
        line.tell(f"@1 release {serial} 1")
    until(lambda: len(daemon.get("/drift")["drift"]) == 2, "two changes at the board")
    assert daemon.post(f"/visits/{visit['id']}/end").status_code == 200
    daemon.client.put("/receivers/boat-shed/visit-sheet/lines/1/tick", json={"done_by": "Barge crew"})

    async def hear(visitor: Visitor) -> None:
        for each in daemon.get("/receivers/slip-gate/enrolments")["enrolments"]:
            daemon.client.delete(f"/receivers/slip-gate/enrolments/{each['id']}")
        await visitor.page.get_by_role("button", name="Begin to listen").click()
        await expect(visitor.page.locator(".heard")).to_contain_text("Listening")
        quay.press(int(STRANGER), address=1)

    return (
        Picture("edit", "people?id=0048200002", "What will change", then=_end_somebody),
        Picture("edit-phone-dark", "people?id=0048200002", "What will change", ON_A_PHONE, "dark", _end_somebody),
        Picture("groups", "groups", "Position 1 works Car-park barrier."),
        Picture("enrol", "enrol", "Press it once more", then=hear),
        Picture("enrol-phone-dark", "enrol", "Press it once more", ON_A_PHONE, "dark", hear),
        Picture("visit-sheet", "visit-sheet?receiver=boat-shed", "Done by hand by Barge crew"),
        Picture("visit-sheet-phone", "visit-sheet?receiver=boat-shed", "Done by hand by Barge crew", ON_A_PHONE),
        Picture("board", "board", "was taken out at the board"),
        Picture("board-phone-dark", "board", "was taken out at the board", ON_A_PHONE, "dark"),
        Picture("work", "work", "2 changes meanwhile"),
        Picture("operate", "operate", "It may move at once.", then=_second_step),
        Picture("operate-phone-dark", "operate", "It may move at once.", ON_A_PHONE, "dark", _second_step),
    )


async def _end_somebody(visitor: Visitor) -> None:
    page = visitor.page
    await page.get_by_text("Change this").click()
    await page.get_by_role("button", name="Set when it begins or ends").click()
    await page.get_by_label("Ends").fill("2030-10-31")
    await page.get_by_role("button", name="Look at the change").click()
    await page.locator(".words").scroll_into_view_if_needed()


async def _second_step(visitor: Visitor) -> None:
    page = visitor.page
    await page.get_by_role("button", name="Operate Slip gate …").click()
    await page.get_by_role("button", name="Operate Slip gate once").scroll_into_view_if_needed()

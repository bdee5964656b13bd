"""Every view in every state: what WCAG 2.2 asks (axe-core, 400 % zoom, keyboard alone), and where there is colour.

All views together, whatever they are; what a view looks like in the middle of a task is looked at in that task's test.
Colour: ANSI/ISA-101 wants a normal picture without any, and what is abnormal told by more than colour.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.async_api import Browser, Page, Route, expect

from tests.browser.driving import DESK, SCHEMES, SIZES, Visitor, open_visitor
from tests.browser.looks import check_told
from tests.browser.own_quay import open_own_quay
from tests.browser.pixels import open_reader
from tests.browser.pretending import LONG_NAME, STATES, pretend
from tests.browser.quay import Quay

pytestmark = pytest.mark.asyncio(loop_scope="session")

#: Views that are reached from others, and the inner sides of some.
_WITHIN = (
    "person-add", "groups", "names", "first-roster", "edits", "people?id=0048200002", "revoke?serial=0048200003",
    "why?who=Berth%202", "access?gate=barrier", "operate?gate=barrier", "visit-sheet?receiver=boat-shed",
    "visit-sheet?receiver=tool-store",
    "noted?state=all",
)  # fmt: skip
#: 400 % on a window of 1280 by 1024 (WCAG 2.2, 1.4.10).
_ZOOMED = (320, 256)


async def _views(visitor: Visitor) -> list[str]:
    """Those at the left, whatever they are, and those within."""
    return [*await _at_the_left(visitor.page), *_WITHIN]


async def _at_the_left(page: Page) -> list[str]:
    await expect(page.locator(".ways a").first).to_be_attached()
    found: list[str] = await page.locator(".ways a").evaluate_all("(all) => all.map((link) => link.hash.slice(2))")
    assert len(found) > 15
    return found


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("state", STATES)
async def test_every_view_in_every_state(browser: Browser, own: Quay, state: str, size: str) -> None:
    """0 findings of axe-core in light and dark, and nothing wider than the window."""
    async with open_visitor(browser, own.address, size=SIZES[size]) as visitor:
        await visitor.sign_in(own.token("admin", "operate"))
        await pretend(visitor.page, state)
        await visitor.page.reload()  # nothing is known from before
        for view in await _views(visitor):
            await visitor.go(view)
            if state == "fault" and view != "why":  # which asks nothing until it is asked
                await expect(visitor.page.locator("main")).to_contain_text("look at the gateway's log")
            content, window = await visitor.width()
            assert content <= window, view
            for scheme in SCHEMES:
                await visitor.page.emulate_media(color_scheme=scheme)
                assert await visitor.violations() == [], (view, scheme)
        if state == "long names":
            await visitor.go("people")
            await expect(visitor.page.get_by_role("article").first).to_contain_text(LONG_NAME)


async def _picture(page: Page) -> bytes:
    """What is in sight, without focus and without a pointer on it."""
    await page.mouse.move(0, 0)
    await page.evaluate("document.activeElement.blur()")
    return await page.screenshot()


@pytest.fixture
def untouched() -> Iterator[Quay]:
    """A yard in which no other test has left anything that waits for somebody."""
    with open_own_quay() as found:
        yield found


async def test_what_is_normal_has_no_colour(browser: Browser, untouched: Quay) -> None:
    """Not one pixel with chroma on any view, in light and dark, while nothing needs anybody; links are no exception."""
    size = (DESK[0], 1600)
    async with open_visitor(browser, untouched.address, size=size) as visitor, open_reader(browser) as reader:
        page = visitor.page
        await visitor.sign_in(untouched.token("admin", "operate"))
        for view in await _at_the_left(page):
            await visitor.go(view)
            for scheme in SCHEMES:
                await page.emulate_media(color_scheme=scheme)
                tones = await reader.tones(await _picture(page))
                assert tones.coloured == 0, (view, scheme, tones.first)
                assert tones.pixels == DESK[0] * 1600
                assert tones.contrast > 10  # something is on it


_GATE, _ALARM, _TROUBLE, _NOTICE = "slip-gate", "e-c1", "e-c2", "e-c3"


def _condition(name: str, kind: str, weight: str, gate: str | None = None) -> dict[str, object]:
    return {
        "id": name, "condition": kind, "weight": weight, "gate": gate, "receiver": "slip-gate", "serial": None,
        "since": "2026-03-02T07:58:11.000Z", "sentence": f"Something is wrong: {name}.", "ending": "by-itself",
        "acknowledged": None, "cleared": None, "visit": False,
    }  # fmt: skip


async def _tell(page: Page, rows: list[dict[str, object]]) -> None:
    """These conditions are open, and no others."""

    async def gates(route: Route) -> None:
        answer = await (await route.fetch()).json()
        for gate in answer["gates"]:
            found = [row["id"] for row in rows if row["gate"] == gate["id"]]
            gate.update(healthy=not found and gate["position"] != "unknown", conditions=found)
        await route.fulfill(json=answer)

    await page.route("**/api/v1/conditions?*", lambda route: route.fulfill(json={"conditions": rows, "next": None}))
    await page.route("**/api/v1/gates", gates)


@pytest.mark.parametrize("scheme", SCHEMES)
async def test_what_is_abnormal_has_word_shape_and_colour(browser: Browser, own: Quay, scheme: str) -> None:
    """By weight, and read as well by who sees no colour; what presses least has none."""
    async with open_visitor(browser, own.address, scheme=scheme) as visitor:
        page = visitor.page
        found = (_condition(_ALARM, "left-open", "alarm", _GATE), _condition(_TROUBLE, "chatter", "trouble"))
        await _tell(page, [*found, _condition(_NOTICE, "battery-low", "notice")])
        await visitor.sign_in(own.token("roster"))
        gate = page.get_by_role("article", name="Slip gate")
        await expect(gate).to_contain_text(_ALARM)
        others = page.get_by_role("region", name="Needs somebody").get_by_role("listitem")
        await check_told(browser, gate.locator(".tag"), "▲ Now")
        await check_told(browser, gate.locator("[data-part=health]"), "▲ Needs attention", frame=gate)
        await check_told(browser, others.filter(has_text=_TROUBLE).locator(".tag"), "◆ Today")
        await check_told(browser, others.filter(has_text=_NOTICE).locator(".tag"), "○ This month", coloured=False)
        assert await visitor.violations() == []
        await page.route("**/api/v1/receivers", lambda route: route.abort())
        await visitor.go("why")
        await page.get_by_role("button", name="Ask").click()
        await check_told(browser, page.locator(".wrong"), "▲ Please fill this in.")
        await pretend(page, "fault")
        await visitor.go("snapshots")
        await check_told(
            browser,
            page.locator("main [data-kind=failed] > strong").first,
            "▲ The answer",
            frame=page.locator("main [data-kind=failed]").first,
        )


#: What can be worked now (not hidden, not switched off, not in a part that is folded) and was never reached.
_MISSED = """
() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter((each) => !each.disabled && each.checkVisibility({ visibilityProperty: true }) && !each.dataset.reached)
  .map((each) => `${each.tagName} ${each.textContent}`)
"""
_FOCUS = """
() => {
  const each = document.activeElement;
  if (each === document.body) return null;
  const box = each.getBoundingClientRect();
  const middle = Math.max(0, box.x) + Math.min(box.width, innerWidth) / 2;
  const at = document.elementFromPoint(middle, box.y + Math.min(box.height, 20) / 2);
  each.dataset.reached = "yes";
  return {
    what: `${each.tagName} ${each.type ?? ""} ${each.textContent.trim().slice(0, 40)}`,
    seen: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
    covered: !(at && (each.contains(at) || at.contains(each))),
    ring: getComputedStyle(each).outlineStyle,
  };
}
"""


async def _round(page: Page) -> list[dict[str, object]]:
    """What Tab reaches, from where the focus is until it leaves the page."""
    stops: list[dict[str, object]] = []
    while True:
        await page.keyboard.press("Tab")
        found = await page.evaluate(_FOCUS)
        if found is None:
            return stops
        stops.append(found)
        assert len(stops) < 400, "a trap"


async def test_every_view_by_keyboard_and_at_four_hundred_per_cent(browser: Browser, own: Quay) -> None:
    """Tab reaches whatever can be worked, in sight, under nothing else and with a ring; then it leaves the page again.

    WCAG 2.2: 1.4.10 reflow, 2.1.1 keyboard, 2.1.2 no trap, 2.4.7 focus visible, 2.4.11 focus not obscured.
    """
    async with open_visitor(browser, own.address, size=_ZOOMED) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("admin", "operate"))
        for view in await _views(visitor):
            await visitor.go(view)
            assert await visitor.width() == (_ZOOMED[0], _ZOOMED[0]), view
            await _round(page)  # from the heading on, which has the focus; the next one begins at the top
            for found in await _round(page):
                assert (found["seen"], found["covered"], found["ring"]) == (True, False, "solid"), (view, found)
            assert await page.evaluate(_MISSED) == [], view


#: web.dev, Cumulative Layout Shift: good is 0.1 at most. Ours is half of it.
_SHIFT = 0.05
_SHIFTS = """
window.shifted = [];
new PerformanceObserver((found) => {
  for (const each of found.getEntries()) {
    shifted.push([each.value, each.sources.map(({ node }) => node?.className || node?.nodeName).join(" ")]);
  }
}).observe({ type: "layout-shift", buffered: true });
"""


@pytest.mark.parametrize("size", SIZES)
async def test_nothing_jumps_while_a_view_opens(browser: Browser, own: Quay, size: str) -> None:
    """Each view anew, as by a bookmark: what is seen stays where it is seen first."""
    async with open_visitor(browser, own.address, size=SIZES[size]) as visitor:
        page = visitor.page
        await visitor.sign_in(own.token("admin", "operate"))
        views = await _views(visitor)
        await page.add_init_script(_SHIFTS)
        for view in views:
            await page.goto("about:blank")
            await visitor.go(view)
            await expect(page.locator("main[data-opening]")).to_have_count(0)
            shifts = await page.evaluate("new Promise((done) => requestAnimationFrame(() => done(shifted)))")
            assert sum(value for value, _ in shifts) <= _SHIFT, (view, shifts)

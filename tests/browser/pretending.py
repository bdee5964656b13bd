"""The page in a state that a yard is seldom in: nothing there yet, nothing can be read, names as long as they can be.

The gateway's own answers are changed on their way to the page, so that every view is brought into the state, those that
are added later too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from playwright.async_api import Page, Route

__all__ = ["LONG_NAME", "STATES", "pretend"]

#: As long as a holder or a gate may be called, with a word that has no place to break.
LONG_NAME = "Fennelquayboatownersassociation, winter storage hall three, gate north, spare transmitter of the office"
_NAMES = frozenset({"holder", "title", "name", "reason", "note", "group", "sentence", "words", "hold", "outcome"})
_ENDLESS = ("**/api/v1/events/stream*", "**/api/v1/session*")


def _emptied(value: Any) -> Any:
    """Every list without its rows, every number of rows nought; what is no list stays."""
    if isinstance(value, dict):
        return {key: [] if isinstance(each, list) else _emptied(each) for key, each in value.items()}
    return 0 if isinstance(value, int) and not isinstance(value, bool) else value


def _lengthened(value: Any, key: str = "") -> Any:
    """What people have named or said, in full length; ids stay, or nothing would be found any more."""
    if isinstance(value, dict):
        return {name: _lengthened(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [_lengthened(each, key) for each in value]
    return f"{value} {LONG_NAME}" if isinstance(value, str) and value and key in _NAMES else value


_PROBLEM = {
    "type": "urn:gatepost:problem:internal", "title": "Something went wrong in the gateway", "status": 500,
    "detail": "The answer could not be made.", "remedy": "Try again; if it stays, look at the gateway's log.",
}  # fmt: skip
#: How an answer is changed; None: it is a problem instead.
STATES: Mapping[str, Callable[[Any], Any] | None] = {
    "normal": lambda value: value, "empty": _emptied, "fault": None, "long names": _lengthened,
}  # fmt: skip


async def pretend(page: Page, state: str) -> None:
    """From now on each answer that the page reads is in this state; the stream of events and the session stay."""
    change = STATES[state]

    async def answer(route: Route) -> None:
        if route.request.method != "GET":
            await route.continue_()
        elif change is None:
            await route.fulfill(status=500, content_type="application/problem+json", body=json.dumps(_PROBLEM))
        else:
            real = await route.fetch()
            is_json = "json" in real.headers.get("content-type", "") and real.ok
            if is_json:
                await route.fulfill(response=real, json=change(await real.json()))
            else:
                await route.fulfill(response=real)

    await page.route("**/api/v1/**", answer)
    for path in _ENDLESS:
        await page.route(path, lambda route: route.continue_())  # the newest route is asked first

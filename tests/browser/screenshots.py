"""Pictures of the page for the documentation: `python -m tests.browser.screenshots` writes docs/pictures anew.

A yard of virtual receivers is brought to something worth seeing: people come and go, one transmitter is lost, a gate
opens by itself. Each view is pictured on a desk and on a phone, in light and dark where that shows something.
"""

from __future__ import annotations

import asyncio
from typing import Any

from tests.browser.driving import open_browser
from tests.browser.hand_pictures import set_the_bench
from tests.browser.own_quay import open_own_quay
from tests.browser.picturing import FOLDER, ON_A_PHONE, Picture, take
from tests.browser.quay import Quay, open_quay
from tests.integration.yard import until

PICTURES = (
    Picture("glance", "", "opened with no transmitter"),
    Picture("glance-phone-dark", "", "opened with no transmitter", ON_A_PHONE, "dark"),
    Picture("timeline", "timeline", "used Car-park barrier"),
    Picture("timeline-phone", "timeline?kind=use", "used Car-park barrier", ON_A_PHONE),
    Picture("people", "people?q=berth", "Position 1 works Slip gate."),
    Picture("people-phone-dark", "people?q=48200012", "No receiver holds it any more.", ON_A_PHONE, "dark"),
    Picture("access", "access?gate=slip-gate", "Read from the receiver"),
    Picture("why", "why?who=Berth%2012", "What to do:"),
    Picture("why-phone", "why?who=Berth%2012", "What to do:", ON_A_PHONE),
)


def set_the_scene(quay: Quay) -> None:
    """Comings and goings, a lost transmitter that is used again, and a gate that nobody asked to open."""
    for number in (2, 5, 12, 9, 5, 21, 17):
        quay.press(48_200_000 + number)
    quay.open_gate(2)
    quay.shut_gate(2)
    serial = "0048200012"
    quay.yard.daemon.post("/revocations", {"serial": serial, "reason": "lost on the pontoon"})
    until(lambda: quay.yard.daemon.get(f"/revocations/{serial}")["proven"], "a proven revocation")
    quay.press(int(serial))
    quay.open_gate(1)
    until(
        lambda: [each for each in quay.yard.daemon.get("/conditions")["conditions"] if each["gate"] == "slip-gate"],
        "a condition",
        40,
    )


def set_the_desk(quay: Quay) -> tuple[Picture, ...]:
    """A roster that would take much away, so that its plan waits; and something to compare. What is pictured then."""
    daemon, roster = quay.yard.daemon, quay.yard.roster
    taken = daemon.post("/receivers/slip-gate/snapshots").json()["id"]
    header, *rows = roster.read_text().splitlines()
    crew = "0048300001,Barge crew,two-button,hoist-crew"
    roster.write_text("\n".join([header, *rows[:2], *rows[10:], crew]) + "\n")
    daemon.post("/roster/fetches")
    daemon.post("/plans", {"receiver": "slip-gate"})
    found = until(lambda: [each for each in _open_plans(quay) if each["state"] == "held"], "a held plan")
    plan = f"roster?plan={found[0]['id']}"
    compare = f"snapshots?compare={taken}&with=slip-gate"
    return (
        Picture("roster", "roster", "Waits for approval"),
        Picture("plan", plan, "Approve"),
        Picture("plan-phone-dark", plan, "Approve", ON_A_PHONE, "dark"),
        Picture("revoke", "revoke?serial=0048200012", "Proven at all 2 receivers"),
        Picture("revoke-phone", "revoke?serial=0048200012", "Proven at all 2 receivers", ON_A_PHONE),
        Picture("settings", "settings?receiver=slip-gate", "On the receiver"),
        Picture("settings-phone-dark", "settings?receiver=slip-gate", "On the receiver", ON_A_PHONE, "dark"),
        Picture("snapshots", "snapshots", "Asked for"),
        Picture("compare", compare, "Barge crew"),
        Picture("papers", "papers", "Car-park barrier"),
    )


def _open_plans(quay: Quay) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = quay.yard.daemon.get("/plans", open="true")["plans"]
    return found


async def _main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with open_quay(odd_name="Harbour office") as quay:
        set_the_scene(quay)
        token = quay.token("admin")
        async with open_browser() as browser:
            for picture in PICTURES:
                await take(browser, quay, token, picture)
            for picture in set_the_desk(quay):
                await take(browser, quay, token, picture)
    with open_own_quay("Harbour office") as own:
        pictures, token = set_the_bench(own), own.token("admin")
        async with open_browser() as browser:
            for picture in pictures:
                await take(browser, own, token, picture)


if __name__ == "__main__":
    asyncio.run(_main())

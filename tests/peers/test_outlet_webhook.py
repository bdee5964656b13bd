"""Webhooks as independent libraries receive them: standardwebhooks checks the signature, cloudevents reads the event.

The receiver is the one that docs/outlets/webhook.md shows.
"""

from __future__ import annotations

import asyncio
import json
import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from aiohttp import web
from standardwebhooks.webhooks import Webhook as Verifier
from standardwebhooks.webhooks import WebhookVerificationError

from gateway.clock import SystemClock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import EventDraft, EventName, Span
from gateway.outlets.house import OutletHouse
from gateway.outlets.signing import read_signing_secret
from gateway.outlets.webhook import Webhook, WebhookPlan
from gateway.ports import Commit, Parcel
from tests.fakes.clock import FakeClock
from tests.fakes.doc_examples import fenced
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox
from tests.fakes.webhook_endpoint import Got, serve_endpoint, status

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
OTHER = "whsec_" + "QUFB" * 8
Receive = Callable[[dict[str, str], bytes, str], Any]


@pytest.fixture
def receive() -> Receive:
    """The function of the documentation's example."""
    (example,) = fenced("outlets/webhook.md", "python")
    names: dict[str, Any] = {}
    exec(example, names)
    found: Receive = names["receive"]
    return found


def plan(url: str, *secrets: str, personal: bool = False) -> WebhookPlan:
    return WebhookPlan(
        name="harbour-desk",
        url=url,
        keys=tuple(read_signing_secret(secret) for secret in secrets or (SECRET,)),
        gateway_id="fennel-quay",
        receivers=("slip-gate",),
        personal=personal,
        policy=AddressPolicy(allow_loopback=True),
        allow_plain_http=True,
    )


def headers(got: Got) -> dict[str, str]:
    return {name.lower(): value for name, value in got.headers.items()}


async def test_an_event_arrives_verified_and_whole(receive: Receive) -> None:
    """Signature, id, type, source, subject, time and data, as two libraries that know nothing of us read them."""
    store = MemoryStore(SystemClock())
    draft = EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": 1, "violated": True, "holder": "Berth 12"})
    (event,) = await store.journal.commit(Commit(events=(draft,)))
    async with serve_endpoint(status(204)) as endpoint:
        await Webhook(plan(endpoint.url), SystemClock()).deliver((Parcel(event),))
    (got,) = endpoint.got
    read = receive(headers(got), got.body, SECRET)
    assert read.get_id() == str(event.id) == headers(got)["webhook-id"]
    assert read.get_type() == "local.gatepost.input.changed"
    assert read.get_source() == "/gateways/fennel-quay"
    assert read.get_subject() == "slip-gate"
    assert abs(read.get_time() - datetime.now(UTC)) < timedelta(seconds=30)
    assert read.get_data() == {"input": 1, "violated": True}
    assert receive(headers(got), got.body, SECRET) is None


async def test_a_changed_body_or_another_secret_is_found_out(receive: Receive) -> None:
    """The library refuses what was not signed with the secret that it knows."""
    store = MemoryStore(SystemClock())
    (event,) = await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    async with serve_endpoint(status(204)) as endpoint:
        await Webhook(plan(endpoint.url), SystemClock()).deliver((Parcel(event),))
    (got,) = endpoint.got
    with pytest.raises(WebhookVerificationError):
        receive(headers(got), got.body.replace(b"link.lost", b"link.gone"), SECRET)
    with pytest.raises(WebhookVerificationError):
        receive(headers(got), got.body, OTHER)


async def test_both_secrets_verify_while_one_is_changed(receive: Receive) -> None:
    """Whichever of the two the receiver knows."""
    store = MemoryStore(SystemClock())
    (event,) = await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    async with serve_endpoint(status(204)) as endpoint:
        await Webhook(plan(endpoint.url, OTHER, SECRET), SystemClock()).deliver((Parcel(event),))
    (got,) = endpoint.got
    Verifier(OTHER).verify(got.body, headers(got))
    Verifier(SECRET).verify(got.body, headers(got))


async def test_what_was_found_late_is_marked_and_what_is_personal_left_out_or_in(receive: Receive) -> None:
    """History carries the span in which it happened; holders' names go only where the settings say so."""
    store = MemoryStore(SystemClock())
    noon = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    draft = EventDraft(
        EventName.TRANSMITTER_HEARD, "slip-gate", {"holder": "Berth 12"}, Span(noon, noon + timedelta(minutes=9))
    )
    (event,) = await store.journal.commit(Commit(events=(draft,)))
    async with serve_endpoint(status(204)) as endpoint:
        await Webhook(plan(endpoint.url), SystemClock()).deliver((Parcel(event),))
        await Webhook(plan(endpoint.url, personal=True), SystemClock()).deliver((Parcel(event),))
    without, within = (json.loads(got.body)["data"] for got in endpoint.got)
    assert without == {"late": {"earliest": "2026-03-02T12:00:00.000Z", "latest": "2026-03-02T12:09:00.000Z"}}
    assert within == {"holder": "Berth 12", **without}


async def test_events_through_an_endpoint_that_fails_three_in_ten(receive: Receive) -> None:
    """The whole way with real requests (reliability goal R5): none lost, in order, one id an event over all tries."""
    dice, clock, store = random.Random(20), FakeClock(), MemoryStore()
    clock.step_wall(datetime.now(UTC) - clock.now())

    async def flaky(_: web.Request) -> web.StreamResponse:
        return web.Response(status=503 if dice.random() < 0.3 else 204)

    async with serve_endpoint(flaky) as endpoint:
        webhook = Webhook(plan(endpoint.url), clock)
        house = OutletHouse([webhook], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
        await house.load()
        for number in range(150):
            draft = EventDraft(EventName.INPUT_CHANGED, ("slip-gate", "car-park")[number % 2], {"input": number})
            await store.journal.commit(Commit(events=(draft,)))
        await _drain(house, clock)
    accepted = [json.loads(got.body) for got in endpoint.got]
    inputs = [each for each in accepted if each["type"].endswith("input.changed")]
    assert list(dict.fromkeys(each["data"]["input"] for each in inputs)) == list(range(150))
    assert {got.headers["webhook-id"] for got in endpoint.got} == {each["id"] for each in accepted}
    assert len(inputs) > 180


async def _drain(house: OutletHouse, clock: FakeClock) -> None:
    """Run until nothing is before the outlet; time moves to the next try, and stands still while one is on its way."""
    waited = None
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.run())
        while (state := house.state("harbour-desk")).lag:
            await asyncio.sleep(0.001)
            if state.row.next_try is not None and state.row != waited:
                waited = state.row
                await clock.advance((state.row.next_try - clock.now()).total_seconds() + 0.01)
        task.cancel()

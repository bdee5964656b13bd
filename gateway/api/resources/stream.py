"""The event stream: server-sent events that a client resumes with the last id it saw.

Without an id a client gets what happens from now on. With one it gets everything behind it, and is told by
`journal.restarted` when that can't be had any more.
"""

from __future__ import annotations

import structlog
from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.caller import Caller, caller_of
from gateway.api.context import Context, context_of
from gateway.api.faults import Place
from gateway.api.following import Follower, Restart
from gateway.api.models.events import StreamQuery
from gateway.api.operations import Operation
from gateway.api.resources.events import ID_WORDS, read_event_id, wanted_of
from gateway.api.scopes import Scope
from gateway.api.sse import HEARTBEAT, OPENING, block
from gateway.api.subscriber import Stalled, Subscriber
from gateway.domain.cloudevents import cloud_event
from gateway.domain.events import Event, EventId, EventName
from gateway.errors import StoreError

__all__ = ["OPERATIONS", "stream_events"]

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)


async def stream_events(request: web.Request) -> web.StreamResponse:
    """Runs until the client hangs up, stalls, loses its token, or the gateway stops."""
    context = context_of(request)
    query = read_query(request, StreamQuery)
    follower = Follower(context.services.journal, _start(request, query), wanted_of(query.name, query.receiver))
    response = web.StreamResponse(headers={"Content-Type": "text/event-stream", "X-Accel-Buffering": "no"})
    async with context.streams.one():
        await response.prepare(request)
        subscriber = Subscriber(request, response, context.services.clock, context.limits.stalled_s)
        try:
            await _pump(context, caller_of(request), follower, subscriber)
        except Stalled:
            context.metrics.dropped_streams.inc()
            subscriber.drop()
        except StoreError as error:
            _log.warning("stream.ended", code=error.code)
            subscriber.drop()
        except ConnectionResetError:
            subscriber.drop()
    if response.prepared:
        await subscriber.finish()
    return response


def _start(request: web.Request, query: StreamQuery) -> EventId | None:
    header = request.headers.get("Last-Event-ID", "")
    if header:
        return read_event_id(header, Place(ID_WORDS, header="Last-Event-ID"))
    if query.last_event_id:
        return read_event_id(query.last_event_id, Place(ID_WORDS, parameter="last_event_id"))
    return None


async def _pump(context: Context, caller: Caller, follower: Follower, subscriber: Subscriber) -> None:
    clock, personal = context.services.clock, caller.may(Scope.ROSTER)
    await subscriber.send(OPENING)
    while True:
        try:
            async with clock.timeout(context.limits.heartbeat_s):
                news = await follower.next()
        except TimeoutError:
            chunk = HEARTBEAT
        else:
            if news is None:
                return
            chunk = _restart(context, news) if isinstance(news, Restart) else _blocks(context, news, personal=personal)
        if not _still_valid(context, caller):
            return
        await subscriber.send(chunk)


def _blocks(context: Context, events: tuple[Event, ...], *, personal: bool) -> bytes:
    gateway_id = context.services.gateway_id
    return b"".join(
        block(str(event.id), event.name, cloud_event(event, gateway_id=gateway_id, personal=personal))
        for event in events
    )


def _restart(context: Context, restart: Restart) -> bytes:
    """`journal.restarted` for this subscriber alone: its id resumes at what is kept, and it is not in the journal."""
    services = context.services
    event = Event(
        id=restart.resume,
        name=EventName.JOURNAL_RESTARTED,
        receiver="",
        time=services.clock.now(),
        clock_trusted=services.trust.trusted,
        boot_id="",
        monotonic_s=services.clock.monotonic(),
        data={"reason": restart.reason},
    )
    written = cloud_event(event, gateway_id=services.gateway_id, personal=True)
    return block(str(event.id), event.name, written | {"id": f"{event.id}-{restart.reason}"})


def _still_valid(context: Context, caller: Caller) -> bool:
    if caller.session:
        return context.sessions.find(caller.session) is not None
    return not caller.token_id or any(token.id == caller.token_id for token in context.services.tokens.list())


OPERATIONS = (
    Operation(
        id="streamEvents",
        method="GET",
        path="/api/v1/events/stream",
        summary="Events as they happen (server-sent events), resumed with Last-Event-ID",
        tag="events",
        scope=Scope.VIEW,
        handler=stream_events,
        query=StreamQuery,
        answer_type="text/event-stream",
        problems=("cursor-invalid", "streams-exhausted"),
        streams=True,
    ),
)

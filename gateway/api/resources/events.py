"""Events: pages of the journal, and the stream that follows it."""

from __future__ import annotations

from collections.abc import Iterable

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_text, write_cursor
from gateway.api.faults import Place, RequestFault
from gateway.api.models.events import EventAnswer, EventsAnswer, EventsQuery
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.cloudevents import cloud_event
from gateway.domain.events import Event, EventId, EventName
from gateway.ports import EventFilter, Journal

__all__ = ["ID_WORDS", "OPERATIONS", "list_events", "read_event_id", "wanted_of"]

ID_WORDS = "this is not an event's id; write one as k3v9-1188"
_IN_CURSOR = Place("this is not a cursor of this list; begin without one", parameter="cursor")


async def list_events(request: web.Request) -> web.StreamResponse:
    """A page of events."""
    services = context_of(request).services
    query = read_query(request, EventsQuery)
    oldest_first, place = _place(services.journal, query)
    wanted = wanted_of(query.name, query.receiver)
    personal = caller_of(request).may(Scope.ROSTER)
    if personal and EventName.TRANSMITTER_HEARD in wanted.names and query.cursor is None and query.after is None:
        async with audited(request, "events.asked", {"receivers": sorted(wanted.receivers)}):
            pass
    found = await services.journal.read(place, limit=query.limit + 1, wanted=wanted, newest_first=not oldest_first)
    page = found[: query.limit]
    return reply(
        EventsAnswer(
            events=[_event(event, services.gateway_id, personal=personal) for event in page],
            next=_cursor(page[-1].id, oldest_first=oldest_first) if len(found) > len(page) else None,
        )
    )


def wanted_of(names: Iterable[EventName], receivers: Iterable[str]) -> EventFilter:
    """The filter behind the query's lists."""
    return EventFilter(frozenset(names), frozenset(receivers))


def read_event_id(text: str, place: Place) -> EventId:
    """An event's id as a client sends it back. Raises RequestFault when it isn't one."""
    try:
        found = EventId.parse(text)
        if found.number >= 1 << 63:  # what the store can look up
            raise ValueError(text)
    except ValueError as error:
        raise RequestFault(
            "cursor-invalid",
            "What was sent is not the id of an event.",
            remedy="Send an id that an event had, or none.",
            places=[place],
        ) from error
    return found


def _place(journal: Journal, query: EventsQuery) -> tuple[bool, int]:
    """Whether the oldest come first, and the number to go on from."""
    if query.cursor is not None:
        text = read_text("events", query.cursor)
        oldest_first, start = text.startswith("+"), read_event_id(text[1:], _IN_CURSOR)
    elif query.after is not None:
        oldest_first, start = True, read_event_id(query.after, Place(ID_WORDS, parameter="after"))
    else:
        return False, 0
    pruned = oldest_first and 0 < start.number < journal.oldest_number - 1
    if start.epoch != journal.newest.epoch or start.number > journal.newest.number or pruned:
        raise RequestFault(
            "journal-restarted",
            "Events behind this id are no longer kept, or the journal began anew since.",
            remedy=f"Read what is kept with after={journal.newest.epoch}-0.",
        )
    return oldest_first, start.number


def _cursor(event_id: EventId, *, oldest_first: bool) -> str:
    return write_cursor("events", f"{'+' if oldest_first else '-'}{event_id}")


def _event(event: Event, gateway_id: str, *, personal: bool) -> EventAnswer:
    return EventAnswer(**cloud_event(event, gateway_id=gateway_id, personal=personal))


OPERATIONS = (
    Operation(
        id="listEvents",
        method="GET",
        path="/api/v1/events",
        summary="Events by page, newest first or behind an id",
        tag="events",
        scope=Scope.VIEW,
        handler=list_events,
        query=EventsQuery,
        answer=EventsAnswer,
        problems=("cursor-invalid", "journal-restarted"),
    ),
)

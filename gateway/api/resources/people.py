"""People: looked up by holder or serial, whatever the source of the roster."""

from __future__ import annotations

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.cursors import read_text, write_cursor
from gateway.api.edits import tag_header
from gateway.api.models.base import read_serial
from gateway.api.models.people import (
    CardAnswer,
    PeopleAnswer,
    PeopleSearch,
    PersonAnswer,
    PlaceAnswer,
    PressAnswer,
    date_text,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply, reply_tagged
from gateway.api.scopes import Scope
from gateway.domain.person import Card, PeopleQuery, Person, Place, Press
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound

__all__ = ["OPERATIONS", "get_person", "list_people", "person_answer", "serial_of"]


async def list_people(request: web.Request) -> web.StreamResponse:
    """A page of people."""
    query = read_query(request, PeopleSearch)
    after = read_text("people", query.cursor) if query.cursor else ""
    wanted = PeopleQuery(
        text=query.q,
        group=query.group,
        receiver=query.receiver,
        standing=query.standing,
        unnamed=query.unnamed,
        listed=query.listed,
        order=query.sort,
    )
    people, total, last = await context_of(request).services.people.find(wanted, after=after, limit=query.limit)
    answer = PeopleAnswer(
        total=total,
        editable=context_of(request).services.own_roster.ours,
        people=[person_answer(person) for person in people],
        next=write_cursor("people", last) if last else None,
    )
    return reply_tagged(request, answer)


async def get_person(request: web.Request) -> web.StreamResponse:
    """The card of the person who carries a transmitter; its ETag stands for what can be edited of this transmitter."""
    services, serial = context_of(request).services, serial_of(request)
    person = await services.people.card(serial)
    own = services.own_roster
    tag = await own.tag(f"row {write_serial(serial)}") if own.ours else ""
    return reply(person_answer(person), headers={"ETag": tag_header(tag)} if tag else {})


def serial_of(request: web.Request) -> int:
    """The serial in the path. Raises NotFound when no transmitter can have it."""
    serial = read_serial(request.match_info["serial"])
    if serial is None:
        raise NotFound("No transmitter has this serial.", remedy="Write the ten digits printed on it.")
    return serial


def person_answer(person: Person) -> PersonAnswer:
    """A person with every transmitter."""
    return PersonAnswer(
        id=write_serial(person.serial), holder=person.holder, transmitters=[_card(card) for card in person.cards]
    )


def _card(card: Card) -> CardAnswer:
    return CardAnswer(
        serial=write_serial(card.serial),
        holder=card.holder,
        listed=card.listed,
        unnamed=card.unnamed,
        kind=card.kind,
        group=card.group,
        rights=list(card.rights),
        sites=list(card.sites),
        valid_from=date_text(card.valid_from),
        valid_until=date_text(card.valid_until),
        note=card.note,
        standing=card.standing,
        sentence=card.sentence,
        places=[_place(place) for place in card.places],
        last_heard=_press(card.last_heard),
        kept_names=dict(card.kept_names),
    )


def _place(place: Place) -> PlaceAnswer:
    return PlaceAnswer(
        receiver=place.receiver,
        position=place.position,
        outputs=list(place.outputs),
        output_names=list(place.output_names),
        state=place.state,
        sentence=place.sentence,
        since=place.since,
    )


def _press(press: Press | None) -> PressAnswer | None:
    if press is None:
        return None
    return PressAnswer(
        time=press.time,
        receiver=press.receiver,
        position=press.position,
        known=press.known,
        sentence=press.sentence,
    )


OPERATIONS = (
    Operation(
        id="listPeople",
        method="GET",
        path="/api/v1/people",
        summary="Everybody by page, searched by holder or serial",
        tag="people",
        scope=Scope.ROSTER,
        handler=list_people,
        query=PeopleSearch,
        answer=PeopleAnswer,
        problems=("cursor-invalid",),
        conditional=True,
    ),
    Operation(
        id="getPerson",
        method="GET",
        path="/api/v1/people/{serial}",
        summary="The card of the person who carries a transmitter",
        tag="people",
        scope=Scope.ROSTER,
        handler=get_person,
        answer=PersonAnswer,
        problems=("not-found",),
    ),
)

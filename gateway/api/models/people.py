"""People: what each transmitter works where, since when, until when, and when it was last used."""

from __future__ import annotations

from datetime import date, datetime

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, Serial, Time, example
from gateway.domain.person import PeopleOrder, PlaceState, Standing

__all__ = ["CardAnswer", "PeopleAnswer", "PeopleSearch", "PersonAnswer", "PlaceAnswer", "PressAnswer", "date_text"]

_PLACE = {
    "receiver": "slip-gate",
    "position": "1",
    "outputs": [1],
    "output_names": ["gate"],
    "state": "works",
    "sentence": "Position 1 works Slip gate.",
    "since": "2026-04-01T05:00:04.000Z",
}
_CARD = {
    "serial": "0048231907",
    "holder": "Berth 12",
    "listed": True,
    "unnamed": False,
    "kind": "four-button",
    "group": "berth-holders",
    "rights": ["1:slip-gate/gate"],
    "sites": [],
    "valid_from": "2026-04-01",
    "valid_until": "2026-10-31",
    "note": "spare kept in office",
    "standing": "works",
    "sentence": "Works as the roster says, until 31 October 2026, proven.",
    "places": [_PLACE],
    "last_heard": {
        "time": "2026-05-02T14:02:11.000Z",
        "receiver": "slip-gate",
        "position": "1",
        "known": True,
        "sentence": "Last heard at Slip gate 14:02, position 1.",
    },
    "kept_names": {"slip-gate": "Berth 12"},
}
_PERSON = {"id": "0048231907", "holder": "Berth 12", "transmitters": [_CARD]}


class PeopleSearch(Query):
    """Whom to show. Every word of `q` stands in the holder or in a serial. `sort` is `holder`, `serial`, `heard`
    (the last heard first) or `ending` (whoever ends first)."""

    cursor: str | None = Field(default=None, max_length=1000)
    limit: int = Field(default=100, ge=1, le=500)
    q: str = Field(default="", max_length=200)
    group: str = Field(default="", max_length=1000)
    receiver: str = Field(default="", max_length=64)
    standing: Standing | None = None
    unnamed: bool | None = Field(default=None, description="True: only those whom nobody has named yet.")
    listed: bool | None = Field(default=None, description="False: only what receivers hold and the roster lacks.")
    sort: PeopleOrder = PeopleOrder.HOLDER


class PlaceAnswer(Answer):
    """One position at one receiver."""

    receiver: str
    position: str = Field(description="The label of the transmitter's kind, such as 1 or 1+2.")
    outputs: list[int]
    output_names: list[str] = Field(description="As the settings name them; the number where they don't.")
    state: PlaceState
    sentence: str
    since: Time | None = Field(description="When the receiver was first seen to hold it so; null when not known.")


class PressAnswer(Answer):
    """The newest press that is kept."""

    time: Time
    receiver: str
    position: str
    known: bool = Field(description="Whether the receiver knew the transmitter.")
    sentence: str


class CardAnswer(Answer):
    """One transmitter. `standing` and `sentence` are its state as a whole."""

    serial: Serial
    holder: str = Field(description="Empty when the roster lacks it and no receiver keeps a name for it.")
    listed: bool = Field(description="Whether the roster in force lists it.")
    unnamed: bool
    kind: str
    group: str
    rights: list[str] = Field(description="The rights that count, as position:receiver/output.")
    sites: list[str]
    valid_from: str | None = Field(description="A date of the site, or a time with offset.")
    valid_until: str | None = Field(description="The last day, which still counts; or a time with offset.")
    note: str
    standing: Standing
    sentence: str
    places: list[PlaceAnswer]
    last_heard: PressAnswer | None
    kept_names: dict[str, str] = Field(description="The name that each receiver keeps for it.")


class PersonAnswer(Answer):
    """A holder with every transmitter; `id` is one of their serials."""

    model_config = ConfigDict(json_schema_extra=example(**_PERSON))

    id: Serial
    holder: str
    transmitters: list[CardAnswer]


class PeopleAnswer(Answer):
    """A page of people. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(json_schema_extra=example(total=1, people=[_PERSON], editable=False, next=None))

    total: int = Field(description="How many people match, on all pages.")
    people: list[PersonAnswer]
    editable: bool = Field(description="Whether this gateway keeps the roster itself, so that people are edited here.")
    next: str | None


def date_text(value: date | datetime | None) -> str | None:
    """A date or time of the roster, as the roster writes it."""
    return None if value is None else value.isoformat()

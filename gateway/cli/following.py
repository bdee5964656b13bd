"""`follow`: what happens, as it happens or from an earlier time on, over restarts of the gateway, filtered.

Every event passes here and what is not wanted is left out here: so the place to go on from after a cut is always that
of the last event that came, shown or not, and nothing is lost or shown twice.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson, console, tell_aside
from gateway.cli.reaching import Reach, reaching
from gateway.cli.words import event_sentence
from gateway.domain.cloudevents import TYPE_PREFIX
from gateway.domain.events import EventId, EventName
from gateway.domain.gate import Contact, Gate, InputRole
from gateway.domain.story import StoryKind, gates_of, kind_of

__all__ = ["Wanted", "follow", "read_since"]

_SPAN = re.compile(r"(\d{1,6})\s*([smhd])")
_UNITS = {"s": "seconds", "m": "minutes", "h": "hours", "d": "days"}
_PAGE = 500


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which events are shown; empty means all. `kinds` are kinds of a story, names, or families such as `link.*`."""

    kinds: tuple[str, ...] = ()
    gates: tuple[str, ...] = ()
    receivers: tuple[str, ...] = ()
    holders: tuple[str, ...] = ()
    known_gates: tuple[Gate, ...] = ()

    def takes(self, event: Mapping[str, Any]) -> bool:
        """Whether this event, a CloudEvents object, is shown. That the list began anew always is."""
        text = str(event.get("type", "")).removeprefix(TYPE_PREFIX)
        if text not in set(EventName):
            return not (self.kinds or self.gates or self.receivers or self.holders)
        name, data, receiver = EventName(text), event.get("data") or {}, str(event.get("subject", ""))
        if name is EventName.JOURNAL_RESTARTED:
            return True
        return (
            (not self.kinds or any(_is_kind(name, kind) for kind in self.kinds))
            and (not self.receivers or receiver in self.receivers)
            and (not self.gates or self._is_about(name, receiver, data))
            and (not self.holders or any(_is_of(data, holder) for holder in self.holders))
        )

    def _is_about(self, name: EventName, receiver: str, data: Mapping[str, Any]) -> bool:
        return any(gate.name in self.gates for gate in gates_of(name, receiver, data, self.known_gates))


def _is_kind(name: EventName, kind: str) -> bool:
    if kind.endswith(".*"):
        return name.value.startswith(kind[:-1])
    return kind in (name.value, kind_of(name).value)


def _is_of(data: Mapping[str, Any], holder: str) -> bool:
    """By holder as the roster has it, or by serial; also inside lists of slots."""
    wanted = holder.casefold()
    if wanted in (str(data.get("holder", "")).casefold(), str(data.get("serial", "")).casefold()):
        return True
    slots = data.get("slots")
    return isinstance(slots, list) and any(isinstance(each, Mapping) and _is_of(each, holder) for each in slots)


def read_since(text: str, now: datetime) -> datetime:
    """A time: an ISO 8601 one (this machine's zone when it names none), or how long ago: `90s`, `30m`, `2h`, `1d`."""
    try:
        if span := _SPAN.fullmatch(text.strip()):
            return now - timedelta(**{_UNITS[span[2]]: int(span[1])})
        return datetime.fromisoformat(text.strip()).astimezone(UTC)
    except (ValueError, OverflowError) as fault:
        raise typer.BadParameter("write a time such as 2026-03-02T08:00, or how long ago: 90s, 30m, 2h, 1d") from fault


def _check_kinds(kinds: Sequence[str]) -> None:
    families = {f"{name.value.partition('.')[0]}.*" for name in EventName}
    known = {kind.value for kind in StoryKind} | {name.value for name in EventName} | families
    if wrong := [kind for kind in kinds if kind not in known]:
        kinds_of_story = ", ".join(StoryKind)
        raise typer.BadParameter(
            f"“{wrong[0]}” is no kind of event; write {kinds_of_story}, an event's name, or a family such as link.*"
        )


@reaching
def follow(
    daemon: Reach,
    after: Annotated[str | None, typer.Option("--after", help="Begin behind the event with this id.")] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="Begin at this time, or so long ago: 90s, 30m, 2h, 1d.")
    ] = None,
    kind: Annotated[
        list[str] | None,
        typer.Option(
            "--kind", help="Only use, movement, attention, access, equipment, gateway; a name; a family as link.*."
        ),
    ] = None,
    gate: Annotated[list[str] | None, typer.Option("--gate", help="Only this gate; may be repeated.")] = None,
    receiver: Annotated[
        list[str] | None, typer.Option("--receiver", help="Only this receiver; may be repeated.")
    ] = None,
    holder: Annotated[
        list[str] | None, typer.Option("--holder", help="Only this holder, or this serial; may be repeated.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show events as they happen; goes on after a cut where it left off. End with Ctrl-C."""
    if after is not None and since is not None:
        raise typer.BadParameter("--after and --since exclude each other; give one")
    _check_kinds(kind or ())
    _check_id(after)
    begin = read_since(since, datetime.now(UTC)) if since is not None else None

    async def work(client: ApiClient) -> None:
        gates = await _known_gates(client, gate or ())
        if after is None and since is None:
            await _check_receivers(client, receiver or ())
        wanted = Wanted(tuple(kind or ()), tuple(gate or ()), tuple(receiver or ()), tuple(holder or ()), gates)
        start = after
        if start is None:
            start = await _newest(client) if begin is None else await _id_before(client, begin)
        async for event in client.stream(start):
            if wanted.takes(event.document):
                _show(event.document, as_json)

    daemon.ask(work)


def _show(event: Mapping[str, Any], as_json: bool) -> None:
    if as_json:
        sys.stdout.write(json.dumps(event, ensure_ascii=False) + "\n")
        sys.stdout.flush()
        return
    console.print(event_sentence(event), markup=False)
    if str(event.get("type")) == TYPE_PREFIX + EventName.JOURNAL_RESTARTED:
        tell_aside("Something may be missing before this; what is kept follows.")


def _check_id(after: str | None) -> None:
    try:
        EventId.parse(after or "a-0")
    except ValueError as error:
        raise typer.BadParameter(
            f"“{after}” is no event's id; write one such as k3v9-1188, as --json shows them"
        ) from error


async def _newest(client: ApiClient) -> str:
    return str((await client.get("/gateway"))["journal"]["newest"])


async def _id_before(client: ApiClient, begin: datetime) -> str:
    """The id of the newest event before that time; the beginning of the list when all are younger."""
    cursor: str | None = ""
    while cursor is not None:
        page = await client.get("/events", limit=_PAGE, **({"cursor": cursor} if cursor else {}))
        for event in page["events"]:
            if event.get("time") and datetime.fromisoformat(event["time"]) < begin:
                return str(event["id"])
        cursor = page.get("next")
    return (await _newest(client)).rpartition("-")[0] + "-0"


async def _known_gates(client: ApiClient, names: Sequence[str]) -> tuple[Gate, ...]:
    """What the gates are made of, so that an output's or a contact's event is known as theirs."""
    if not names:
        return ()
    found = await client.get_all("/gates", "gates")
    known = [each["id"] for each in found]
    if wrong := [name for name in names if name not in known]:
        raise typer.BadParameter(f"there is no gate “{wrong[0]}”; gates are: {', '.join(known) or 'none'}")
    return tuple(_gate(each) for each in found)


async def _check_receivers(client: ApiClient, names: Sequence[str]) -> None:
    """Nothing will come from a receiver that is none. Past events may be of one that is no longer in the settings."""
    known = [each["id"] for each in (await client.get("/receivers"))["receivers"]] if names else []
    if wrong := [name for name in names if name not in known]:
        raise typer.BadParameter(f"there is no receiver “{wrong[0]}”; receivers are: {', '.join(known) or 'none'}")


def _gate(found: Mapping[str, Any]) -> Gate:
    contacts = [
        Contact(each["receiver"], each["input"], InputRole(each["role"]), each["name"], found["id"])
        for each in found["contacts"]
    ]
    return Gate(
        name=found["id"],
        title=found["title"],
        receiver=found["receiver"],
        outputs=tuple(each["number"] for each in found["outputs"]),
        contacts=tuple(contacts),
    )

"""One transmitter's whole story: rosters, plans, memories, revocations, the board, the last press; oldest first.

Each chapter says how it is known. What a plan intended and what a memory held are two things, and both are told. The
hand behind a change of a memory comes from the event that was written in the same transaction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from gateway.archive.history_words import memory_rights, rights_words, roster_rights, validity_words, when_words
from gateway.domain.events import Event, EventName
from gateway.domain.history import Chapter, MemorySpan, Moment, RosterLine, RosterSpan, Story
from gateway.domain.plan import Plan, PlanState
from gateway.domain.revocation import Revocation
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound
from gateway.ports import History, ReceiverFacts

__all__ = ["StoryReader"]

#: How many of each are told at most, the newest; our choice.
_EVENTS, _PLANS = 500, 200
_TOLD = frozenset(
    {
        EventName.REVOCATION_PENDING,
        EventName.REVOCATION_APPLIED,
        EventName.REVOCATION_LIFTED,
        EventName.DRIFT_FOUND,
        EventName.ENROLMENT_CHANGED,
        EventName.SLOT_CHANGED,
    }
)
_HANDS = {"line": "written by the gateway", "board": "done at the board", "radio": "done by a transmitter"}


class StoryReader:
    """`revoked` are the revocations in force by serial; `heard_days` is how long presses are kept."""

    def __init__(
        self,
        *,
        history: History,
        facts: Sequence[ReceiverFacts],
        revoked: Callable[[], Mapping[int, Revocation]],
        zone: ZoneInfo,
        heard_days: int,
        history_days: int,
    ) -> None:
        self._history = history
        self._facts = {one.name: one for one in facts}
        self._revoked = revoked
        self._zone = zone
        self._heard_days = heard_days
        self._history_days = history_days

    async def story(self, serial: int) -> Story:
        """Raises NotFound when nothing at all is kept of it."""
        rosters = await self._history.roster(serial=serial)
        spans = await self._history.memory(serial=serial)
        told = await self._history.told(serial, _TOLD, limit=_EVENTS)
        heard = await self._history.told(serial, {EventName.TRANSMITTER_HEARD}, limit=1)
        plans = await self._history.plans(serial, limit=_PLANS)
        since = await self._history.recorded_since()
        chapters = [
            *_of_rosters(rosters),
            *self._of_memories(spans, _Hands.of(told, serial), since, rosters),
            *_of_plans(plans, await self._history.plan_events() if plans else {}, serial),
            *(chapter for event in told for chapter in _of_event(event, serial)),
            *map(_of_press, heard),
        ]
        if not chapters and serial not in self._revoked():
            raise NotFound(
                f"Nothing is known of transmitter {write_serial(serial)}.",
                remedy="Compare the serial with the one on the transmitter; find a holder's with: gatepost why HOLDER",
            )
        in_force = next((span.line for span in rosters if span.last is None), None)
        return Story(
            serial=serial,
            holder=in_force.holder if in_force else "",
            chapters=tuple(sorted(chapters, key=_place_in_time)),
            now=tuple(self._now(serial, in_force, spans)),
            limits=tuple(self._limits(since)),
        )

    # --- what memories held ---

    def _of_memories(
        self,
        spans: Sequence[MemorySpan],
        hands: _Hands,
        since: Mapping[str, Moment],
        rosters: Sequence[RosterSpan],
    ) -> Iterator[Chapter]:
        lines = [span.line for span in rosters]
        for receiver, group in groupby(spans, key=lambda span: span.receiver):
            ordered = sorted(group, key=lambda span: (span.first.number, span.slot))
            ended: dict[Moment, list[MemorySpan]] = {}
            for span in ordered:
                if span.last is not None:
                    ended.setdefault(span.last, []).append(span)
            for span in ordered:
                before = ended.get(span.first, [])
                earlier = next((old for old in before if old.slot == span.slot), before[0] if before else None)
                if earlier is not None:
                    before.remove(earlier)
                yield self._change(span, earlier, lines, hands, began=since.get(receiver) == span.first)
            for span in (span for group in ended.values() for span in group):
                assert span.last is not None
                hand = hands.words(receiver, span.last)
                yield Chapter(span.last, _basis(span), receiver, f"is gone from slot {span.slot}{hand}")

    def _change(
        self, span: MemorySpan, earlier: MemorySpan | None, lines: Sequence[RosterLine], hands: _Hands, *, began: bool
    ) -> Chapter:
        line = lines[-1] if lines else None
        rights = rights_words(memory_rights(span, line, self._facts.get(span.receiver)))
        hand = hands.words(span.receiver, span.first)
        if earlier is None and began:
            words = f"was in slot {span.slot} when the record of this receiver began: {rights}"
        elif earlier is None:
            words = f"is in slot {span.slot}: {rights}{hand}"
        elif earlier.slot != span.slot:
            words = f"moves from slot {earlier.slot} to slot {span.slot}: {rights}{hand}"
        elif earlier.outputs == span.outputs:
            words = f"is called {span.name!r} in slot {span.slot}, and was {earlier.name!r}{hand}"
        else:
            had = rights_words(memory_rights(earlier, line, self._facts.get(span.receiver)))
            words = f"has other rights in slot {span.slot}: {rights}; before: {had}{hand}"
        return Chapter(span.first, _basis(span), span.receiver, words)

    # --- now, and what can't be known ---

    def _now(self, serial: int, line: RosterLine | None, spans: Sequence[MemorySpan]) -> Iterator[str]:
        if (revocation := self._revoked().get(serial)) is not None:
            yield f"It is revoked: {revocation.reason} (by {revocation.asked_by})."
        yield f"The roster in force has it as {line.holder}." if line else "The roster in force does not have it."
        held = [span for span in spans if span.last is None]
        for span in held:
            how = "as written down by hand, not proven" if span.by_hand else "proven"
            yield f"{span.receiver} holds it in slot {span.slot}, {how}."
        if not held:
            yield "No receiver of this site holds it."

    def _limits(self, since: Mapping[str, Moment]) -> Iterator[str]:
        for receiver, moment in sorted(since.items()):
            yield f"What {receiver} holds is recorded since {when_words(moment, self._zone)}."
        yield (
            f"Presses are kept for {self._heard_days} days, who had access for {self._history_days}; "
            "what was done at the board while nobody watched is dated when it was found."
        )


@dataclass(frozen=True, slots=True)
class _Hands:
    """Who changed a memory, from the events that were written together with the spans."""

    found: Mapping[tuple[str, datetime], str]

    @classmethod
    def of(cls, events: Sequence[Event], serial: int) -> _Hands:
        text = write_serial(serial)
        found = {}
        for event in events:
            if event.name is EventName.SLOT_CHANGED:
                mine = [slot for slot in event.data.get("slots", ()) if slot.get("serial") == text]
                hand = "done by a reset" if any(slot.get("reset") for slot in mine) else ""
                origin = mine[0].get("origin") if mine else None
                found[event.receiver, event.time] = hand or _HANDS.get(origin or "", "")
        return cls(found)

    def words(self, receiver: str, moment: Moment) -> str:
        hand = self.found.get((receiver, moment.clock), "")
        return f" ({hand})" if hand else ""


def _of_rosters(spans: Sequence[RosterSpan]) -> Iterator[Chapter]:
    earlier: RosterSpan | None = None
    for span in sorted(spans, key=lambda span: span.first.number):
        if earlier is not None and earlier.last is not None and earlier.last.number == span.first.number:
            words = "; ".join(_differences(earlier.line, span.line))
        else:
            words = f"is put on the roster as {span.line.holder} ({_line_words(span.line)})"
        yield Chapter(span.first.accepted, "roster", "", f"{words} [roster {_label(span)}]")
        earlier = span
        if span.last is not None and not any(other.first.number == span.last.number for other in spans):
            words = f"is no longer on the roster [revision {span.last.number}, {span.last.digest[:12]}]"
            yield Chapter(span.last.accepted, "roster", "", words)


def _label(span: RosterSpan) -> str:
    signed = f", signed as {span.first.revision}" if span.first.revision is not None else ""
    return f"revision {span.first.number}, {span.first.digest[:12]}{signed}"


def _line_words(line: RosterLine) -> str:
    receivers = dict.fromkeys(right.receiver for right in line.rights)
    rights = [f"at {name} {rights_words(roster_rights(line, name))}" for name in receivers]
    parts = [line.kind, f"group {line.group}" if line.group else "", *rights]
    return ", ".join(part for part in (*parts, validity_words(line)) if part)


def _differences(before: RosterLine, after: RosterLine) -> Iterator[str]:
    if before.holder != after.holder:
        yield f"the roster gives it to {after.holder}; before: {before.holder}"
    if before.group != after.group:
        yield f"its group on the roster is {after.group or 'none'}; before: {before.group or 'none'}"
    if before.rights != after.rights or before.kind != after.kind:
        yield f"its rights on the roster are {_line_words(after)}; before: {_line_words(before)}"
    if validity_words(before) != validity_words(after):
        yield f"it is {validity_words(after) or 'valid without dates'}; before: {validity_words(before) or 'no dates'}"
    if before.sites != after.sites:
        yield f"its sites on the roster are {' '.join(after.sites) or 'all'}; before: {' '.join(before.sites) or 'all'}"
    if before.positions != after.positions:
        yield "its kind has other positions"


_STATES = {
    PlanState.PREVIEW: "looked at",
    PlanState.HELD: "waits for approval",
    PlanState.PENDING: "pending",
    PlanState.APPLYING: "under way",
    PlanState.APPLIED: "done",
    PlanState.FAILED: "not finished",
    PlanState.REFUSED: "refused",
    PlanState.SUPERSEDED: "given up for newer changes",
}


def _of_plans(plans: Sequence[Plan], events: Mapping[str, Event], serial: int) -> Iterator[Chapter]:
    for plan in plans:
        event = events.get(plan.id)
        moment = _moment(event) if event else _made(plan)
        receipt = f", receipt {plan.receipt}" if plan.receipt else ""
        for change in plan.changes:
            slots = [slot for slot in (change.after, change.before) if slot is not None]
            if slots and slots[0].serial == serial:
                words = f"{_STATES[plan.state]} ({plan.id}, {plan.reason}{receipt}): {change.words}"
                yield Chapter(moment, "order", plan.receiver, words)


def _of_event(event: Event, serial: int) -> Iterator[Chapter]:
    data, text = event.data, write_serial(serial)
    match event.name:
        case EventName.REVOCATION_PENDING:
            if data.get("by_hand"):
                yield Chapter(
                    _moment(event), "by-hand", event.receiver, "is there though revoked; owed at the next visit"
                )
            else:
                words = f"is revoked by {data.get('asked_by', '')}: {data.get('reason', '')}"
                yield Chapter(_moment(event), "order", "", words)
        case EventName.REVOCATION_APPLIED:
            if data.get("by_hand"):
                yield Chapter(
                    _moment(event), "by-hand", event.receiver, "was taken out by hand, as revoked; not proven"
                )
            else:
                yield Chapter(_moment(event), "memory", event.receiver, f"is proven gone, as revoked{_receipt(data)}")
        case EventName.REVOCATION_LIFTED:
            words = f"is no longer revoked, by {data.get('asked_by', '')}: {data.get('reason', '')}"
            yield Chapter(_moment(event), "order", "", words)
        case EventName.ENROLMENT_CHANGED:
            yield Chapter(_moment(event), "board", event.receiver, f"enrolment: {data.get('state', '')}")
        case EventName.DRIFT_FOUND:
            for words in data.get("words", ()):
                if text in words:
                    yield Chapter(_moment(event), "board", event.receiver, f"found changed by another hand: {words}")


def _receipt(data: Mapping[str, object]) -> str:
    return f", receipt {data['receipt']}" if data.get("receipt") else ""


def _of_press(event: Event) -> Chapter:
    position = event.data.get("position")
    where = f" (position {position})" if position else ""
    late = f", between {event.late.earliest:%H:%M:%S} and {event.late.latest:%H:%M:%S} UTC" if event.late else ""
    return Chapter(_moment(event), "radio", event.receiver, f"was pressed for the last time that is known{where}{late}")


def _basis(span: MemorySpan) -> str:
    return "by-hand" if span.by_hand else "memory"


def _made(plan: Plan) -> Moment:
    known = plan.created if plan.clock_trusted else None
    return Moment(plan.created, plan.clock_trusted, known, known)


def _moment(event: Event) -> Moment:
    known = event.time if event.clock_trusted else None
    return Moment(event.time, event.clock_trusted, known, known)


def _moment_place(moment: Moment) -> datetime:
    return moment.earliest or moment.latest or moment.clock


def _place_in_time(chapter: Chapter) -> datetime:
    return _moment_place(chapter.moment)

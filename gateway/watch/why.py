"""Why does it not open? The commonest call to an installer, answered from what the gateway knows (`ports.Whys`).

For each transmitter of a holder, in this order: is it revoked or over, has it rights here, does the receiver answer
and hold it, is something in the way, was it heard, was it known then, did its output work, did the gate move. The
first finding that is no success is the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gateway.clock import Clock
from gateway.domain.events import Event, EventName
from gateway.domain.gate import Gate, InputRole
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.nearest import nearest_words
from gateway.domain.receiver import Battery
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import MAX_SERIAL, write_serial
from gateway.domain.why import Finding, Reason, Why
from gateway.errors import NotFound
from gateway.ports import EventFilter, Journal, LiveView, Mirrors
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.words import since_words

__all__ = ["Explainer"]

#: How far back a press is looked for: pages of the newest presses of everybody. Our choice.
_PAGE = 500
_PAGES = 20
#: An output follows its press at once; polls see both within this. Our choice.
_FOLLOWS = timedelta(seconds=3)
_HEARD = EventFilter(names=frozenset({EventName.TRANSMITTER_HEARD}))
_MOVES = frozenset({EventName.OUTPUT_CHANGED, EventName.INPUT_CHANGED})


@dataclass(frozen=True, slots=True)
class _Asked:
    """One transmitter that is asked about; `entry` is None when the roster has none."""

    serial: int
    entry: Entry | None


class Explainer:
    """`ports.Whys`. `roster` is the one in force, `revoked` the revocations in force by serial."""

    def __init__(
        self,
        premises: Premises,
        *,
        site: str,
        journal: Journal,
        mirrors: Mirrors,
        live: LiveView,
        clock: Clock,
        roster: Callable[[], Roster | None],
        revoked: Callable[[], Mapping[int, Revocation]],
    ) -> None:
        self._premises = premises
        self._site = site
        self._journal = journal
        self._mirrors = mirrors
        self._live = live
        self._clock = clock
        self._roster = roster
        self._revoked = revoked

    async def explain(self, holder: str) -> tuple[Why, ...]:
        """Raises NotFound, StoreUnavailable."""
        asked = self._find(holder.strip())
        presses = await self._last_presses({each.serial for each in asked})
        return tuple([await self._explain(each, presses.get(each.serial)) for each in asked])

    def _find(self, holder: str) -> Sequence[_Asked]:
        roster = self._roster()
        entries = roster.entries if roster else ()
        if holder.isascii() and holder.isdigit() and len(holder) <= 10 and 0 < int(holder) <= MAX_SERIAL:
            serial = int(holder)
            return [_Asked(serial, next((each for each in entries if each.serial == serial), None))]
        found = [_Asked(each.serial, each) for each in entries if each.holder.casefold() == holder.casefold()]
        if not found:
            near = nearest_words(holder, {each.holder for each in entries})
            raise NotFound(
                "The roster in force has no holder of this name.",
                remedy=f"{near}Give the name as the roster has it, or the serial on the transmitter.",
            )
        return found

    async def _explain(self, asked: _Asked, press: Event | None) -> Why:
        findings = [*self._standing(asked), *self._receivers(asked)]
        if press is None:
            findings.append(
                Finding(
                    Reason.NOT_HEARD,
                    "No receiver here has heard it.",
                    "Press it within sight of the receiver; then look at its battery, and at the receiver's aerial.",
                )
            )
        else:
            findings.append(await self._press(press))
            if press.data.get("battery") == Battery.LOW:
                findings.append(self._low_battery(press))
        answer = next((each for each in findings if each.reason is not Reason.WORKED), findings[-1])
        holder = asked.entry.holder if asked.entry else ""
        return Why(holder, asked.serial, answer, tuple(findings), press.time if press else None)

    # --- what the roster says ---

    def _standing(self, asked: _Asked) -> Iterator[Finding]:
        if revocation := self._revoked().get(asked.serial):
            yield Finding(
                Reason.REVOKED,
                f"It was revoked {self._when(revocation.time)}.",
                "Lift the revocation if the transmitter is in the right hands again.",
                time=revocation.time,
            )
        entry = asked.entry
        if entry is None:
            if asked.serial not in {slot.serial for name in self._names() for slot in self._slots(name)}:
                yield Finding(
                    Reason.NO_RIGHTS,
                    "The roster in force does not have it.",
                    "Add it to the roster, or read its serial again.",
                )
            return
        yield from self._dates(entry)
        if not self._places(entry):
            yield Finding(
                Reason.NO_RIGHTS, "The roster gives it no rights here.", "Look at its group, rights and sites."
            )

    def _dates(self, entry: Entry) -> Iterator[Finding]:
        now = self._clock.now()
        if entry.valid_until is not None and self._is_over(entry.valid_until, now):
            yield Finding(
                Reason.ENDED, f"It was valid until {_day(entry.valid_until)}.", "Give it a later date in the roster."
            )
        if entry.valid_from is not None and not self._has_begun(entry.valid_from, now):
            yield Finding(
                Reason.NOT_YET, f"It is valid from {_day(entry.valid_from)}.", "Wait, or give it an earlier date."
            )

    def _is_over(self, until: date | datetime, now: datetime) -> bool:
        if isinstance(until, datetime):
            return now > until
        return now.astimezone(self._premises.zone).date() > until

    def _has_begun(self, begins: date | datetime, now: datetime) -> bool:
        if isinstance(begins, datetime):
            return now >= begins
        return now.astimezone(self._premises.zone).date() >= begins

    def _places(self, entry: Entry) -> list[str]:
        """The receivers here that it has rights on, in the order of the settings."""
        if entry.sites and self._site not in entry.sites:
            return []
        wanted = {right.receiver for right in entry.rights}
        return [name for name in self._names() if name in wanted]

    # --- what the receivers say ---

    def _names(self) -> list[str]:
        return [each.name for each in self._live.receivers()]

    def _slots(self, receiver: str) -> list[_Slot]:
        mirror = self._mirrors.load(receiver)
        return (
            [_Slot(slot.serial, frozenset().union(*slot.outputs)) for slot in mirror.slots.values()] if mirror else []
        )

    def _receivers(self, asked: _Asked) -> Iterator[Finding]:
        for name in self._places(asked.entry) if asked.entry else self._names():
            live = self._live.receiver(name)
            held = next((slot for slot in self._slots(name) if slot.serial == asked.serial), None)
            by_hand = live.link is LinkState.BY_HAND
            if live.link is not LinkState.ONLINE and not by_hand:
                yield Finding(
                    Reason.NOT_REACHED,
                    f"The receiver {name} can't be reached, so nothing newer is known of it.",
                    live.remedy or "Look at its power and its line.",
                    receiver=name,
                    time=live.since,
                )
            if held is not None:
                for output in sorted(held.outputs):
                    yield from self._in_the_way(name, output, live)
            elif asked.entry is not None and asked.serial not in self._revoked():
                yield Finding(
                    Reason.NOT_HELD,
                    f"The receiver {name} does not hold it"
                    + (", by what was ticked there by hand." if by_hand else "."),
                    f"Go there with its visit sheet: gatepost visit-sheet show {name}"
                    if by_hand
                    else "Look at the pending changes and bring the receiver to the roster.",
                    receiver=name,
                )

    def _in_the_way(self, receiver: str, output: int, live: LiveReceiver) -> Iterator[Finding]:
        for gate in self._premises.gates_moved_by(receiver, output):
            for contact in gate.contacts_of(InputRole.SAFETY):
                status = self._live.receiver(contact.receiver).status
                if (
                    status
                    and contact.number <= len(status.input_violated)
                    and status.input_violated[contact.number - 1]
                ):
                    yield Finding(
                        Reason.SAFETY_ACTIVE,
                        f"A safety input of {gate.title} is violated: {contact.name or f'input {contact.number}'}.",
                        "Have somebody look on site for what is in the way; never bypass it.",
                        receiver=contact.receiver,
                        gate=gate.name,
                    )

    # --- what it did last ---

    async def _last_presses(self, serials: set[int]) -> dict[int, Event]:
        wanted = {write_serial(serial) for serial in serials}
        found: dict[int, Event] = {}
        before = 0
        for _ in range(_PAGES):
            page = await self._journal.read(before, limit=_PAGE, wanted=_HEARD, newest_first=True)
            for event in page:
                if event.data["serial"] in wanted:
                    found.setdefault(int(event.data["serial"]), event)
            if len(page) < _PAGE or len(found) == len(wanted):
                break
            before = page[-1].id.number
        return found

    def _low_battery(self, press: Event) -> Finding:
        return Finding(
            Reason.BATTERY_LOW,
            f"Its battery was low when {press.receiver} heard it {self._when(press.time)}.",
            "Change its battery; until then it may be heard only from close by.",
            receiver=press.receiver,
            time=press.time,
        )

    async def _press(self, press: Event) -> Finding:
        receiver, when = press.receiver, self._when(press.time)
        if not press.data.get("known"):
            return Finding(
                Reason.HEARD_UNKNOWN,
                f"{receiver} heard it {when} and did not know it.",
                "Look at the pending changes and bring the receiver to the roster; then press again.",
                receiver=receiver,
                time=press.time,
            )
        outputs = list(press.data.get("outputs") or ())
        position = press.data.get("position")
        if not outputs:
            return Finding(
                Reason.NO_RIGHTS,
                f"{receiver} heard its position {position} {when}; that position works nothing there.",
                "Use another position, or give this one an output in the roster.",
                receiver=receiver,
                time=press.time,
            )
        return await self._movement(press, outputs, when)

    async def _movement(self, press: Event, outputs: Sequence[int], when: str) -> Finding:
        receiver = press.receiver
        gates = [gate for output in outputs for gate in self._premises.gates_moved_by(receiver, output)]
        longest_s = max((gate.travel_s for gate in gates), default=0.0) + self._premises.limits.travel_margin_s
        after = await self._moves_around(press, timedelta(seconds=longest_s))
        worked = [
            event
            for event in after
            if event.name is EventName.OUTPUT_CHANGED
            and event.receiver == receiver
            and event.data["closed"]
            and event.data["output"] in outputs
            and event.time - press.time <= _FOLLOWS
        ]
        if not worked:
            return Finding(
                Reason.OUTPUT_IDLE,
                f"{receiver} heard and knew it {when}, and its output did not close then.",
                "Press again; if it stays so, look at the output's mode and at the board.",
                receiver=receiver,
                time=press.time,
            )
        over = (self._clock.now() - press.time).total_seconds() > longest_s
        for gate in gates:
            if over and _has_ends(gate) and not _moved(gate, after):
                return Finding(
                    Reason.DID_NOT_MOVE,
                    f"{receiver} heard it and its output worked {when}, but {gate.title} did not move.",
                    "Look at the gate itself: its drive, its power, its safety edges, something in the way.",
                    receiver=receiver,
                    gate=gate.name,
                    time=press.time,
                )
        return Finding(
            Reason.WORKED,
            f"It worked {when} at {receiver}.",
            "If it was pressed after that, it was not heard: look at its battery and the distance.",
            receiver=receiver,
            gate=gates[0].name if gates else "",
            time=press.time,
        )

    async def _moves_around(self, press: Event, span: timedelta) -> list[Event]:
        """Changes of inputs and outputs from a little before a press until the gate must have moved."""
        wanted = EventFilter(names=_MOVES)
        found = await self._journal.read(max(0, press.id.number - 20), limit=_PAGE, wanted=wanted)
        return [event for event in found if -_FOLLOWS <= event.time - press.time <= span]

    def _when(self, time: datetime) -> str:
        words = since_words(time, self._clock.now(), self._premises.zone)
        return f"at {words}" if len(words) == 5 else f"on {words}"


@dataclass(frozen=True, slots=True)
class _Slot:
    serial: int
    outputs: frozenset[int]


def _has_ends(gate: Gate) -> bool:
    return bool(gate.contacts_of(InputRole.CLOSED, InputRole.OPEN))


def _moved(gate: Gate, events: Sequence[Event]) -> bool:
    ends = {(each.receiver, each.number) for each in gate.contacts_of(InputRole.CLOSED, InputRole.OPEN)}
    return any(
        event.name is EventName.INPUT_CHANGED and (event.receiver, event.data["input"]) in ends for event in events
    )


def _day(value: date | datetime) -> str:
    return f"{value.day} {value:%B %Y}"

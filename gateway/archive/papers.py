"""The papers of a site (`ports.Papers`): the handover document and the list of who has access to a gate.

Gathered from what is known at the moment, without asking any receiver: what a receiver can't tell now is said to be
unknown, and nothing older stands in for it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from gateway.clock import Clock
from gateway.domain.gate import Contact, Gate, GateState
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.papers import (
    AccessPaper,
    AccessRow,
    GatePaper,
    GroupPaper,
    HandoverPaper,
    Heading,
    InputRow,
    OutputRow,
    ReceiverPaper,
    RetentionPaper,
    RetentionRow,
    RevokedRow,
    TransmitterRow,
)
from gateway.domain.person import Card, PeopleQuery, PlaceState
from gateway.domain.revocation import RevocationState
from gateway.domain.transmitter import write_serial
from gateway.ports import (
    Gates,
    LiveView,
    Mirrors,
    People,
    ReceiverFacts,
    Revocations,
    RosterDesk,
    Trust,
    rights_now,
)

__all__ = ["PaperDesk", "SiteFacts"]

_PAGE = 500
_STATES = {
    PlaceState.WORKS: "works, proven",
    PlaceState.COMING: "not written yet",
    PlaceState.GOING: "still works; to be taken out",
    PlaceState.UNKNOWN: "not known: its memory has not been read",
}


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What the settings say of the site."""

    site: str
    zone: ZoneInfo
    receivers: Sequence[ReceiverFacts]
    contacts: Sequence[Contact]
    retention: tuple[RetentionRow, ...] = ()


class PaperDesk:
    """Writes papers from ports alone; nothing is kept."""

    def __init__(
        self,
        facts: SiteFacts,
        *,
        people: People,
        live: LiveView,
        mirrors: Mirrors,
        gates: Gates,
        roster: RosterDesk,
        revocations: Revocations,
        clock: Clock,
        trust: Trust,
    ) -> None:
        self._facts = facts
        self._people = people
        self._live = live
        self._mirrors = mirrors
        self._gates = gates
        self._roster = roster
        self._revocations = revocations
        self._clock = clock
        self._trust = trust

    async def handover(self, *, named: bool = True) -> HandoverPaper:
        """The whole site. Raises StoreUnavailable."""
        cards = [card async for card in self._cards(PeopleQuery())]
        return HandoverPaper(
            heading=self._heading(),
            receivers=tuple(self._receiver(facts) for facts in self._facts.receivers),
            gates=tuple(self._gate(state) for state in self._gates.gates()),
            groups=self._groups(cards),
            transmitters=tuple(_transmitter(card, named=named) for card in cards),
            revoked=tuple(
                RevokedRow(
                    write_serial(each.serial),
                    each.time,
                    each.reason if named else "",
                    bool(each.states) and all(state is RevocationState.PROVEN for state in each.states.values()),
                )
                for each in self._revocations.all()
            ),
        )

    async def access(self, gate: str, *, named: bool = True) -> AccessPaper:
        """Who has access to one gate. Raises NotFound, StoreUnavailable."""
        found = self._gates.gate(gate).gate
        cards = [card async for card in self._cards(PeopleQuery(receiver=found.receiver))]
        rows = [row for card in cards if (row := _access(card, found, named=named)) is not None]
        return AccessPaper(self._heading(), found.name, found.title, tuple(rows))

    def retention(self) -> RetentionPaper:
        """What is kept about people, and for how long. It names nobody."""
        return RetentionPaper(self._heading(), self._facts.retention)

    async def _cards(self, query: PeopleQuery) -> AsyncIterator[Card]:
        after = ""
        while True:
            people, _, after = await self._people.find(query, after=after, limit=_PAGE)
            for person in people:
                for card in person.cards:
                    yield card
            if not after:
                return

    def _heading(self) -> Heading:
        state = self._roster.state()
        return Heading(
            site=self._facts.site,
            written=self._clock.now(),
            clock_trusted=self._trust.trusted,
            zone=self._facts.zone.key,
            roster=state.roster.digest if state.roster else "",
            roster_time=state.accepted.time if state.accepted else None,
        )

    def _receiver(self, facts: ReceiverFacts) -> ReceiverPaper:
        live, mirror = self._live.receiver(facts.name), self._mirrors.load(facts.name)
        identity, limits = live.identity, live.limits
        if mirror is not None:
            identity, limits = identity or mirror.identity, limits or mirror.limits
        settings = mirror.settings if mirror else None
        return ReceiverPaper(
            name=facts.name,
            maker=identity.maker if identity else "",
            product=identity.product if identity else "",
            version=identity.version if identity else "",
            serial=identity.serial if identity else "",
            link=_link(live),
            proven=_proven(live, mirror),
            slots_used=len(mirror.slots) if mirror else None,
            slots=limits.slots if limits else None,
            local_programming=settings.local_programming if settings else None,
            password_set=settings.password_set if settings else None,
            outputs=_outputs(facts, live, limits.outputs if limits else 0, settings.on_times_s if settings else ()),
            inputs=self._inputs(facts, limits.inputs if limits else 0),
        )

    def _inputs(self, facts: ReceiverFacts, count: int) -> tuple[InputRow, ...]:
        roles = {each.number: each.role.value for each in self._facts.contacts if each.receiver == facts.name}
        numbers = sorted({*range(1, count + 1), *facts.inputs})
        return tuple(InputRow(number, facts.inputs.get(number, ""), roles.get(number, "")) for number in numbers)

    def _gate(self, state: GateState) -> GatePaper:
        gate = state.gate
        facts = {each.name: each for each in self._facts.receivers}.get(gate.receiver)
        return GatePaper(
            name=gate.name,
            title=gate.title,
            kind=gate.kind.value,
            receiver=gate.receiver,
            outputs=tuple(_output_words(number, facts) for number in gate.outputs),
            contacts=tuple(_contact_words(contact, gate) for contact in gate.contacts),
            travel_s=gate.travel_s,
            stay_open_limit_s=gate.stay_open_limit_s,
            service_cycles=gate.service_cycles,
            cycles=state.cycles,
        )

    def _groups(self, cards: Sequence[Card]) -> tuple[GroupPaper, ...]:
        roster = self._roster.state().roster
        members = Counter(card.group for card in cards if card.group)
        groups: Mapping[str, tuple[str, ...]] = {
            name: tuple(
                f"position {right.position} works {right.receiver}/{right.output}"
                for right in rights_now(rights, self._facts.receivers)
            )
            for name, rights in (roster.groups if roster else {}).items()
        }
        return tuple(GroupPaper(name, rights, members[name]) for name, rights in sorted(groups.items()))


def _link(live: LiveReceiver) -> str:
    if live.link is LinkState.ONLINE:
        return "It answers."
    if live.link is LinkState.BY_HAND:
        return "No line reaches it; it is worked by hand."
    return live.problem or "It has not answered yet."


def _proven(live: LiveReceiver, mirror: Mirror | None) -> str:
    if mirror is None:
        return "Its memory was never read."
    if live.link is LinkState.BY_HAND:
        return "As entered and ticked by hand; not proven."
    if live.link is LinkState.ONLINE and live.status is not None and live.status.revision == mirror.revision:
        return f"Read and proven at revision {mirror.revision}."
    return f"Last read at revision {mirror.revision}; what it holds now is not known."


def _outputs(facts: ReceiverFacts, live: LiveReceiver, count: int, on_times_s: Sequence[int]) -> tuple[OutputRow, ...]:
    modes = live.status.output_modes if live.status and live.status.output_modes else ()
    rows = []
    for number in sorted({*range(1, count + 1), *facts.outputs}):
        mode = modes[number - 1].value if number <= len(modes) else ""
        on_time_s = on_times_s[number - 1] if number <= len(on_times_s) else None
        rows.append(OutputRow(number, facts.outputs.get(number, ""), mode, on_time_s))
    return tuple(rows)


def _output_words(number: int, facts: ReceiverFacts | None) -> str:
    name = facts.outputs.get(number, "") if facts else ""
    return f"output {number}: {name}" if name else f"output {number}"


def _contact_words(contact: Contact, gate: Gate) -> str:
    place = f"input {contact.number}"
    if contact.receiver != gate.receiver:
        place += f" of {contact.receiver}"
    return f"{place}: {contact.name}, {contact.role.value}" if contact.name else f"{place}: {contact.role.value}"


def _transmitter(card: Card, *, named: bool) -> TransmitterRow:
    return TransmitterRow(
        holder=card.holder if named else "",
        serial=write_serial(card.serial),
        kind=card.kind,
        group=card.group,
        valid_from=_date(card.valid_from),
        valid_until=_date(card.valid_until),
        places=tuple(place.sentence for place in card.places),
        state=card.sentence,
    )


def _access(card: Card, gate: Gate, *, named: bool) -> AccessRow | None:
    places = [
        place for place in card.places if place.receiver == gate.receiver and set(place.outputs) & set(gate.outputs)
    ]
    if not places:
        return None
    names: dict[str, None] = {}
    for place in places:
        words = dict(zip(place.outputs, place.output_names, strict=False))
        names |= {words.get(output, str(output)): None for output in place.outputs if output in gate.outputs}
    return AccessRow(
        holder=card.holder if named else "",
        serial=write_serial(card.serial),
        positions=tuple(place.position for place in places),
        outputs=tuple(names),
        valid_from=_date(card.valid_from),
        valid_until=_date(card.valid_until),
        state="; ".join(dict.fromkeys(_STATES[place.state] for place in places)),
    )


def _date(value: date | datetime | None) -> str:
    return "" if value is None else value.isoformat()

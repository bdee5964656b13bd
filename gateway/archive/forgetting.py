"""Who may be forgotten, and whose names and serials that concerns (`ports.ForgettingDesk`).

Nobody is forgotten who still has access: while a roster in force lists the person, or a receiver still holds the
transmitter, it would all be written down anew. So a person leaves first, the receivers follow, and then they are
forgotten. Revocations stay: a serial that must not work must not work again because its person is forgotten.

A transmitter may have been handed on. Asked by name, only that name goes (also where a memory has shortened it); asked
by serial, all who had it before. Whoever has it now keeps their name, also where a memory keeps it shortened; its
presses go, for nobody can tell whose they were.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping
from dataclasses import replace

from gateway.domain.forgetting import Forgotten, Redaction
from gateway.domain.roster import Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import Mirrors, PersonalData

__all__ = ["Forgetter"]


class Forgetter:
    """`ports.ForgettingDesk`.

    `roster` gives the one in force with what works beside it; `digest` names its file. `receivers` are those that
    keep transmitters. `afterwards` is done when everything that lasts is free of them: what is only in memory follows.
    """

    def __init__(
        self,
        *,
        data: PersonalData,
        roster: Callable[[], Roster | None],
        digest: Callable[[], str],
        receivers: Collection[str],
        mirrors: Mirrors,
        revoked: Callable[[], Mapping[int, object]],
        afterwards: Callable[[Collection[int]], Awaitable[None]],
    ) -> None:
        self._data = data
        self._roster = roster
        self._digest = digest
        self._receivers = receivers
        self._mirrors = mirrors
        self._revoked = revoked
        self._afterwards = afterwards

    async def forget(self, *, serial: int | None = None, holder: str = "", preview: bool = False) -> Forgotten:
        """See the port."""
        if serial is None:
            names, serials = await self._by_holder(holder.strip())
        else:
            names, serials = await self._by_serial(serial)
        self._check_memories(serials, names)
        revoked = tuple(sorted(serials & set(self._revoked())))
        if preview:
            return Forgotten(tuple(sorted(serials)), revoked)
        done = await self._data.forget(Redaction(serials, names), accepted=self._digest())
        await self._afterwards(serials)
        return replace(done, revoked=revoked)

    async def _by_holder(self, holder: str) -> tuple[frozenset[str], frozenset[int]]:
        if holder.casefold() in self._holders():
            raise _listed(holder)
        serials = await self._data.serials_of(holder)
        if not serials:
            raise NotFound(
                f"Nothing is known here of “{holder}”.",
                remedy="Write the name as it stood in the roster, or name the transmitter by its ten digits.",
            )
        folded = holder.casefold()
        names = {name for name in await self._names(serials) if folded.startswith(name.casefold())}
        return frozenset({holder, *names}), serials

    async def _by_serial(self, serial: int) -> tuple[frozenset[str], frozenset[int]]:
        names = await self._names({serial})
        if serial in self._now() and not names:
            raise _listed(f"transmitter {write_serial(serial)}")
        return names, frozenset({serial})

    async def _names(self, serials: Collection[int]) -> frozenset[str]:
        """Theirs, without those of whoever has the transmitters now, and without names that others go by."""
        now = self._now()
        followers = [now[serial].casefold() for serial in serials if serial in now]
        return frozenset(
            name
            for name in await self._data.names_of(serials)
            if name.casefold() not in self._holders()
            and not any(follower.startswith(name.casefold()) for follower in followers)
        )

    def _check_memories(self, serials: Collection[int], names: Collection[str]) -> None:
        now = self._now()
        for receiver in self._receivers:
            mirror = self._mirrors.load(receiver)
            for slot in mirror.slots.values() if mirror else ():
                if slot.serial in serials and (slot.serial not in now or slot.name in names):
                    raise Refused(
                        f"{receiver} still holds transmitter {write_serial(slot.serial)}.",
                        remedy="Bring the roster there first (gatepost roster apply), or revoke it; then forget.",
                        code="still-held",
                    )

    def _now(self) -> dict[int, str]:
        roster = self._roster()
        return {entry.serial: entry.holder for entry in roster.entries} if roster else {}

    def _holders(self) -> set[str]:
        return {holder.casefold() for holder in self._now().values()}


def _listed(who: str) -> Refused:
    return Refused(
        f"The roster in force still lists {who}.",
        remedy="Take the person out of the roster and bring it to the receivers; then forget.",
        code="holder-listed",
    )

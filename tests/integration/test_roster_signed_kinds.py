"""Everything that may stand at a signed roster's place and must change nothing, from the file to the memory.

A receiver holds what revision 5 says. Then each wrong kind of file comes, over a real file source, and after a whole
round the memory is the same byte for byte and was not written. The last kind is refused by the guard on removals.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.roster import Roster
from gateway.roster.file_source import FileSource
from gateway.roster.minisign import SIGNATURE_ENDING, read_keys
from gateway.roster.reader import RosterFileReader
from gateway.roster.signed_source import SignedSource
from gateway.sync.due import Due
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.rounds import run_round
from tests.fakes.clock import FakeClock
from tests.fakes.minisigner import Signer
from tests.fakes.sync_house import BERLIN, Rosters, SyncHouse, facts, quay_receiver

SIGNER = Signer()
FORGER = Signer(b"\xff" * 32, SIGNER.id)


def people(*serials: int) -> bytes:
    rows = "".join(f"{serial:010d},Berth {serial},1:slip-gate/gate\n" for serial in serials)
    return f"serial,holder,rights\n{rows}".encode()


GOOD = people(*range(1, 11))
NEWER = people(*range(1, 12))


class InForce(Rosters):
    """Hands the drafter what the desk has in force."""

    desk: RosterKeeper

    @property
    def in_force(self):  # type: ignore[no-untyped-def]
        return self.desk.in_force

    @in_force.setter
    def in_force(self, value: object) -> None:
        return


@dataclass
class Site:
    """One receiver, one desk, and the files that it reads."""

    path: Path
    house: SyncHouse
    desk: RosterKeeper

    def put(self, content: bytes, signature: bytes | None) -> None:
        self.path.write_bytes(content)
        beside = self.path.with_name(self.path.name + SIGNATURE_ENDING)
        if signature is None:
            beside.unlink()
        else:
            beside.write_bytes(signature)

    async def round(self) -> dict[str, PlanState]:
        ended = await run_round(Due(self.house.clock.now()), desk=self.desk, runner=self.house.runner)
        return {name: plan.state for name, plan in ended.items() if isinstance(plan, Plan)}

    def memory(self) -> tuple[dict[int, Slot], int]:
        receiver = self.house.receivers["slip-gate"]
        return dict(receiver.board.slots), receiver.slot_writes


def open_site(path: Path, house: SyncHouse) -> RosterKeeper:
    source = SignedSource(
        FileSource(path, clock=house.clock, signature_ending=SIGNATURE_ENDING),
        read_keys([SIGNER.public]),
        BERLIN,
        clock=house.clock,
        names=(path.name,),
    )
    return RosterKeeper(
        source=source,
        reader=RosterFileReader(BERLIN),
        archive=house.store.rosters,
        ledger=house.store.ledger,
        journal=house.store.journal,
        clock=house.clock,
        receivers=[facts()],
    )


@pytest.fixture
async def site(tmp_path: Path) -> Site:
    """Revision 5 is in force and in the memory."""
    clock, rosters = FakeClock(), InForce()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, rosters=rosters)
    path = tmp_path / "people.csv"
    rosters.desk = open_site(path, house)
    found = Site(path, house, rosters.desk)
    found.put(GOOD, SIGNER.sign(GOOD, "revision: 5"))
    assert await found.round() == {"slip-gate": PlanState.APPLIED}
    assert len(found.memory()[0]) == 10
    return found


#: S5 of the reliability goals: the content, its signature, and what the refusal must say
KINDS: dict[str, tuple[bytes, bytes | None, str]] = {
    "unsigned": (NEWER, None, "no signature"),
    "wrong key": (NEWER, FORGER.sign(NEWER, "revision: 6"), "does not fit"),
    "unknown key id": (NEWER, Signer(id=b"someone.").sign(NEWER, "revision: 6"), "is unknown"),
    "legacy form": (NEWER, SIGNER.sign(NEWER, "revision: 6", legacy=True), "older form"),
    "file altered": (NEWER.replace(b"Berth 9", b"Berth 8"), SIGNER.sign(NEWER, "revision: 6"), "does not fit"),
    "comment altered": (
        NEWER,
        SIGNER.sign(NEWER, "revision: 4").replace(b"revision: 4", b"revision: 6"),
        "comment of the signature of the roster was changed",
    ),
    "signature of another file": (NEWER, SIGNER.sign(GOOD, "revision: 6"), "does not fit"),
    "signature of another name": (NEWER, SIGNER.sign(NEWER, "revision: 6 file: barge.csv"), "for a file named"),
    "older revision": (NEWER, SIGNER.sign(NEWER, "revision: 4"), "revision 4, and 5 was accepted"),
    "same revision, other bytes": (NEWER, SIGNER.sign(NEWER, "revision: 5"), "which another roster had"),
    "expired": (NEWER, SIGNER.sign(NEWER, "revision: 6 expires: 2026-03-01"), "expired"),
    "truncated": (NEWER[:-5], SIGNER.sign(NEWER, "revision: 6"), "does not fit"),
    "truncated and signed so": (NEWER[:-5], SIGNER.sign(NEWER[:-5], "revision: 6"), "among the rights"),
    "empty and signed so": (b"", SIGNER.sign(b"", "revision: 6"), "an empty file"),
    "without rows and signed so": (people(), SIGNER.sign(people(), "revision: 6"), "no rows"),
    "without revision": (NEWER, SIGNER.sign(NEWER, "for the quay"), "no revision"),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
async def test_each_wrong_kind_changes_nothing(site: Site, kind: str) -> None:
    """Refused with its reason; the memory is untouched, and so it stays after a restart of the gateway."""
    before = site.memory()
    content, signature, words = KINDS[kind]
    site.put(content, signature)
    for desk in (site.desk, open_site(site.path, site.house)):
        site.desk = desk
        await desk.load()
        site.house.rosters.desk = desk  # type: ignore[attr-defined]
        assert await site.round() == {"slip-gate": PlanState.APPLIED}
        state = desk.state()
        assert words in state.problem, state.problem
        assert state.remedy
        assert isinstance(state.roster, Roster)
        assert len(state.roster.entries) == 10
        assert site.memory() == before


async def test_over_the_removal_share(site: Site) -> None:
    """Signed in order, and it would take eight of ten away: accepted as a roster and held at the receiver."""
    before = site.memory()
    few = people(1, 2)
    site.put(few, SIGNER.sign(few, "revision: 6"))
    assert await site.round() == {"slip-gate": PlanState.HELD}
    assert site.memory() == before


async def test_newer_revisions_are_brought(site: Site) -> None:
    """The counterpart: the next number passes, also for the same bytes, and is what counts from then on."""
    site.put(GOOD, SIGNER.sign(GOOD, "revision: 6"))
    await site.round()
    accepted = site.house.store.ledger.accepted
    assert accepted is not None
    assert accepted.revision == 6
    site.put(NEWER, SIGNER.sign(NEWER, "revision: 6"))
    await site.round()
    assert len(site.memory()[0]) == 10
    site.put(NEWER, SIGNER.sign(NEWER, "revision: 7"))
    await site.round()
    assert (len(site.memory()[0]), site.desk.state().problem) == (11, "")

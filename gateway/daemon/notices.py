"""What a person should know about the gateway itself, gathered from the parts at the moment of asking."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gateway.api.services import Notice
from gateway.daemon.house import House
from gateway.domain.visit import VisitState
from gateway.system.disk import read_disk_space

__all__ = ["gather_notices"]

_LOW_DISK_BYTES = 64 * 1024 * 1024


def gather_notices(house: House) -> Sequence[Notice]:
    """Those in force now; an empty list is a gateway with nothing to say about itself."""
    return [
        *_store(house),
        *_revocation_list(house),
        *_outlets(house),
        *_passwords(house),
        *_names(house),
        *_work(house),
        *_owed(house),
        *_disk(house),
    ]


def _store(house: House) -> Iterator[Notice]:
    store = house.ground.store
    yield from (Notice("store", text) for text in store.notices)
    if store.journal.problem:
        yield Notice("journal-unavailable", store.journal.problem, "Free space on the card.")


def _revocation_list(house: House) -> Iterator[Notice]:
    listed = house.syncing.revocation_list.state() if house.syncing.revocation_list else None
    if listed is not None and listed.problem:
        yield Notice("revocation-list", listed.problem, listed.remedy)


def _outlets(house: House) -> Iterator[Notice]:
    for state in house.outlets.states():
        if state.state in ("failing", "disabled"):
            yield Notice("outlet-failing", f"{state.name}: {state.problem}", state.remedy)


def _passwords(house: House) -> Iterator[Notice]:
    for receiver, book in house.ground.parts.passwords.items():
        if book.settings_are_behind:
            place = house.ground.settings.receivers[receiver].link_password_file
            yield Notice(
                "password-kept",
                f"The link password of {receiver} was changed from here, and the settings don't have the new one; "
                "the gateway works with its own copy.",
                f"Write the new one into {place} as well." if place
                else "Put it into a file named as link_password_file.",
            )  # fmt: skip


def _names(house: House) -> Iterator[Notice]:
    for receiver, called in house.ground.parts.names.set_aside():
        yield Notice(
            "output-name",
            f"Output {called.output} of {receiver} was called {called.name}, and the settings file now calls another "
            "output so; the file counts.",
            f"Give it another name: gatepost settings set {receiver} --output-name {called.output}=NAME",
        )


def _work(house: House) -> Iterator[Notice]:
    """People who work somewhere, and what could not be locked again when they had gone."""
    for visit in house.syncing.work.all():
        where = f"the {visit.scope.value} {visit.name}" if visit.name else "the whole site"
        if visit.state is VisitState.RUNNING:
            until = visit.until.astimezone(house.ground.parts.zone).strftime("%H:%M")
            text = f"Work is in progress at {where} until {until}; the roster waits there and alarm reports are tests."
            yield Notice("work-in-progress", text, f"End it with: gatepost visit end {visit.id}")
        elif visit.state is VisitState.LOCKING and visit.unlocked:
            text = (
                f"The buttons of {', '.join(visit.unlocked)} were unlocked for a visit and are not proven locked again."
            )
            yield Notice("still-unlocked", text, "Look at the line to that receiver; it is tried again and again.")


def _owed(house: House) -> Iterator[Notice]:
    """Revoked transmitters that work until somebody has been there. Serials are named by the sheet, not here."""
    visits = house.syncing.visits
    for receiver in visits.names:
        if count := visits.owed(receiver):
            still = "1 revoked transmitter" if count == 1 else f"{count} revoked transmitters"
            verb = (
                "may still work"
                if not visits.sheet(receiver).holdings_known
                else "still works"
                if count == 1
                else "still work"
            )
            text = f"{still} {verb} at {receiver}, which no line reaches: owed at the next visit."
            yield Notice("visit-owed", text, f"Go there with its visit sheet: gatepost visit-sheet show {receiver}")


def _disk(house: House) -> Iterator[Notice]:
    space = read_disk_space(house.ground.store.folder)
    if space.free < _LOW_DISK_BYTES:
        text = f"Only {space.free // 2**20} MiB are free beside the gateway's memory."
        yield Notice("disk-low", text, "Free space on the card before the journal stops.")

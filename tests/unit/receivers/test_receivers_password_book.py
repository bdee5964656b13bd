"""Where a link password comes from: settings, and what was kept since a change."""

from __future__ import annotations

import contextlib

import pytest

from gateway.errors import NoAnswer, SettingsFault, StoreUnavailable
from gateway.modbus import WriteRegisters
from gateway.ports import KeptPasswords
from gateway.receivers import build_receiver
from gateway.receivers.password_book import PasswordBook
from tests.fakes.clock import FakeClock
from tests.fakes.register_wire import FakeUnit, FakeWire
from tests.unit.receivers.making import REFERENCE


class Memory:
    """Keeps in memory."""

    kept: KeptPasswords | None = None

    def load(self) -> KeptPasswords | None:
        return self.kept

    def keep(self, passwords: KeptPasswords) -> None:
        self.kept = passwords


class Settings:
    """A settings' file that a person edits."""

    text = "pontoon7"

    def __call__(self) -> str:
        if not self.text:
            raise SettingsFault("It is missing.")
        return self.text


async def test_the_kept_one_wins_until_the_settings_change() -> None:
    """In doubt both, new first; proven one; the settings' own is the last try, and first again once it changes."""
    settings, memory = Settings(), Memory()
    book = PasswordBook(settings, memory)
    assert (book(), book.settings_are_behind) == (("pontoon7",), False)
    await book.keep("capstan8", "pontoon7")
    assert book() == ("capstan8", "pontoon7")
    await book.keep("capstan8")
    assert (book(), book.settings_are_behind) == (("capstan8", "pontoon7"), True)
    assert PasswordBook(settings, memory)() == ("capstan8", "pontoon7")
    settings.text = "shingle9"
    assert (book(), book.settings_are_behind) == (("shingle9", "capstan8"), False)
    settings.text = "capstan8"
    assert (book(), book.settings_are_behind) == (("capstan8",), False)


async def test_a_file_that_vanishes_counts_with_what_it_had() -> None:
    """A daemon that runs goes on; one that starts is told."""
    settings, memory = Settings(), Memory()
    book = PasswordBook(settings, memory)
    settings.text = ""
    assert book() == ("pontoon7",)
    with pytest.raises(SettingsFault):
        PasswordBook(settings, memory)


async def test_switched_off_stays_off() -> None:
    """No password in force is kept as one, before the settings' old one."""
    book = PasswordBook(Settings(), Memory())
    await book.keep("")
    assert (book(), book.settings_are_behind) == (("", "pontoon7"), True)


@pytest.mark.parametrize("after", [False, True], ids=["request lost", "answer lost"])
@pytest.mark.parametrize("step", range(6))
async def test_a_change_cut_by_the_end_of_the_process(step: int, after: bool) -> None:
    """Whatever was cut, the next process finds the password in force, new before old, with one try each."""
    unit, clock = FakeUnit(), FakeClock()
    unit.password = b"pontoon7"
    unit._show_lock()
    memory, wire = Memory(), FakeWire(unit, registers=125)
    first = PasswordBook(Settings(), memory)
    driver = build_receiver("slip-gate", REFERENCE, wire, 1, first, password_keeper=first.keep, clock=clock)
    await driver.identify()
    wire.fail(skip=step, after=after)
    with contextlib.suppress(NoAnswer):
        await driver.write_password("capstan8")
    wire.no_faults()
    unit.unlocked = False
    await clock.advance(60)
    wire.asked.clear()
    again = build_receiver("slip-gate", REFERENCE, wire, 1, PasswordBook(Settings(), memory), clock=clock)
    await again.read_slots([1])
    tried = [request.data for request in wire.asked if isinstance(request, WriteRegisters)]
    assert len(tried) == len(set(tried)) <= 2


async def test_a_password_that_cannot_be_kept_is_not_written() -> None:
    """With a full disk the receiver keeps its old password: nobody would know the new one after a power cut."""

    async def full(*_: str) -> None:
        raise StoreUnavailable("The disk is full.")

    unit = FakeUnit()
    wire = FakeWire(unit, registers=125)
    driver = build_receiver("slip-gate", REFERENCE, wire, 1, password_keeper=full, clock=FakeClock())
    with pytest.raises(StoreUnavailable):
        await driver.write_password("capstan8")
    assert wire.count(WriteRegisters) == 0
    assert unit.password == b""

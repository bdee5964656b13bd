"""The real port code on pseudo-terminals: pulled, moved, held by others, full."""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import sys
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from gateway import modbus
from gateway.clock import SystemClock
from gateway.domain.urgency import Urgency
from gateway.errors import LinkLost, NoAnswer, PortUnavailable, ReceiverException
from gateway.line import Line, LineConfig

READ = modbus.ReadHoldingRegisters(0, 8)
LONG = modbus.ReadHoldingRegisters(0, 125)
AN_HOUR = 3600.0  # what is told before an answer time that is longer than any test, doesn't wait for it
TIOCGEXCL = 0x80045440  # ioctl_tty(2): is the terminal exclusive?
REPLUGS = int(os.environ.get("GATEPOST_REPLUGS", "8"))


class Bench:
    """A pseudo-terminal whose far end the test plays, behind a link as by-id names are."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.far = -1
        self.near = -1
        self.renew()

    def renew(self) -> None:
        """A new pseudo-terminal, as an adapter that comes back under another name; the link is moved to it."""
        old = self.far, self.near
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self.near))
        for fd in old:
            if fd >= 0:
                os.close(fd)

    def pull(self) -> None:
        """The adapter is gone: link, both ends."""
        self.link.unlink()
        os.close(self.far)
        os.close(self.near)
        self.far = self.near = -1

    def answer_with(self, reply: Callable[[bytes], bytes]) -> None:
        """Answer each chunk that comes with what `reply` makes of it."""

        def heard() -> None:
            os.write(self.far, reply(os.read(self.far, 4096)))

        asyncio.get_running_loop().add_reader(self.far, heard)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A fresh one."""
    return Bench(tmp_path / "by-id-slip-gate")


@asynccontextmanager
async def opened(bench: Bench, *, baud: int = 115200, wait: bool = True) -> AsyncIterator[Line]:
    """A line on the bench."""
    line = Line(LineConfig("slip", str(bench.link), baud=baud), SystemClock())
    owner = asyncio.ensure_future(line.run())
    if wait:
        await line.wait_open()
    try:
        yield line
    finally:
        owner.cancel()
        await asyncio.gather(owner, return_exceptions=True)


async def ask(line: Line, request: modbus.Request = READ, **options: object) -> modbus.Answer:
    """One transaction with unit 1."""
    options = {"urgency": Urgency.POLL, "answer_time_s": 0.5, **options}
    return await line.transact(1, request, **options)  # type: ignore[arg-type]  # by name


def registers(heard: bytes) -> bytes:
    """A unit whose registers are all zero."""
    count = int.from_bytes(heard[4:6], "big")
    return modbus.frame(1, modbus.encode_answer(modbus.RegistersAnswer(3, bytes(2 * count))))


@pytest.mark.parametrize("k", [0, 1, 4, 20, 63, 64, 65, 130, 254])
async def test_pulled_in_mid_frame_fails_at_once(bench: Bench, k: int) -> None:
    """Whatever part of the answer has come: long before the answer time is over (20 ms are held in virtual time)."""
    async with opened(bench) as line:
        bench.answer_with(lambda heard: registers(heard)[:k] or b"")
        pending = asyncio.ensure_future(ask(line, LONG, tries=1, answer_time_s=AN_HOUR))
        await asyncio.sleep(0.03)
        asyncio.get_running_loop().remove_reader(bench.far)
        bench.pull()
        with pytest.raises(LinkLost):
            await pending
        with pytest.raises(PortUnavailable):
            await ask(line)


async def test_back_under_another_name(bench: Bench) -> None:
    """The link is followed anew: another device behind it is opened within the first waits."""
    async with opened(bench) as line:
        bench.answer_with(registers)
        await ask(line)
        asyncio.get_running_loop().remove_reader(bench.far)
        bench.renew()
        state = await line.wait_state_change(line.state)
        assert state.kind == "lost"
        async with asyncio.timeout(5):
            await line.wait_open()
        bench.answer_with(registers)
        await ask(line)
        assert line.counters.lost == 1
        asyncio.get_running_loop().remove_reader(bench.far)


@pytest.mark.timeout(60 + 6 * REPLUGS)
async def test_many_pulls_leave_nothing_behind(bench: Bench) -> None:
    """Out and in again: open by itself each time, with as many open files and tasks as before. GATEPOST_REPLUGS, 8."""
    async with opened(bench) as line:
        before = (len(os.listdir("/proc/self/fd")), len(asyncio.all_tasks()))
        for _ in range(REPLUGS):
            bench.renew()
            await line.wait_state_change(line.state)
            async with asyncio.timeout(5):
                await line.wait_open()
        assert (len(os.listdir("/proc/self/fd")), len(asyncio.all_tasks())) == before


async def test_a_port_that_another_program_has_locked_is_named_and_taken_when_free(bench: Bench) -> None:
    """State busy with the program's name and number; open by itself when it ends."""
    script = f"import fcntl,os,time; fd=os.open({str(bench.link)!r},os.O_RDWR|os.O_NOCTTY); "
    script += "fcntl.flock(fd,fcntl.LOCK_EX); print('held',flush=True); time.sleep(60)"
    holder = await asyncio.create_subprocess_exec(sys.executable, "-c", script, stdout=asyncio.subprocess.PIPE)
    assert holder.stdout is not None
    await holder.stdout.readline()
    async with opened(bench, wait=False) as line:
        while line.state.kind != "busy":
            await line.wait_state_change(line.state)
        assert str(holder.pid) in line.state.reason
        assert line.state.remedy
        with pytest.raises(PortUnavailable) as refused:
            await ask(line)
        assert refused.value.code == "port-busy"
        holder.kill()
        await holder.communicate()
        async with asyncio.timeout(6):
            await line.wait_open()


async def test_the_port_is_ours_alone_while_open(bench: Bench) -> None:
    """flock and TIOCEXCL are both set, and both are gone after closing."""
    other = os.open(bench.link, os.O_RDWR | os.O_NOCTTY)
    try:
        async with opened(bench):
            with pytest.raises(BlockingIOError):
                fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
            assert fcntl.ioctl(other, TIOCGEXCL, b"\0" * 4) == b"\1\0\0\0"
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
        assert fcntl.ioctl(other, TIOCGEXCL, b"\0" * 4) == b"\0" * 4
    finally:
        os.close(other)


@pytest.mark.parametrize(
    ("make", "kind", "code"),
    [
        (lambda path: None, "missing", "port-missing"),
        (lambda path: path.write_text("no port"), "failed", "port-failed"),
        (lambda path: path.symlink_to("/dev/null"), "failed", "port-failed"),
    ],
)
async def test_what_is_no_port(tmp_path: Path, make: Callable[[Path], None], kind: str, code: str) -> None:
    """Nothing there, a file, a device that is no terminal: a state, a code, a remedy, and no crash."""
    path = tmp_path / "port"
    make(path)
    line = Line(LineConfig("slip", str(path)), SystemClock())
    owner = asyncio.ensure_future(line.run())
    while line.state.kind in ("closed", "opening"):
        await line.wait_state_change(line.state)
    assert line.state.kind == kind
    with pytest.raises(PortUnavailable) as refused:
        await ask(line)
    assert refused.value.code == code
    assert refused.value.remedy
    owner.cancel()
    await asyncio.gather(owner, return_exceptions=True)


async def test_a_port_that_takes_no_more_bytes_is_lost_and_nothing_blocks(bench: Bench) -> None:
    """Its buffer is full because nobody reads: the request fails before any answer time, and the loop goes on."""
    os.set_blocking(bench.near, False)
    for _ in range(5):  # the kernel moves bytes on after the first refusal, so there is room again for a while
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(bench.near, bytes(1))
        await asyncio.sleep(0.02)
    async with opened(bench) as line:
        with pytest.raises(LinkLost):
            await ask(line, answer_time_s=AN_HOUR)
        assert line.state.kind == "lost"


async def test_short_answers_are_seen_although_long_ones_are_waited_for(bench: Bench) -> None:
    """Exceptions and broken frames to a request for 255 bytes are told long before the answer time."""
    async with opened(bench) as line:
        bench.answer_with(lambda _: modbus.frame(1, b"\x83\x02"))
        with pytest.raises(ReceiverException):
            await ask(line, LONG, answer_time_s=AN_HOUR)
        asyncio.get_running_loop().remove_reader(bench.far)


@pytest.mark.parametrize("baud", [19200, 115200])
async def test_a_bad_crc_is_told_long_before_the_answer_time(bench: Bench, baud: int) -> None:
    """On the real clock; that it takes 10 ms at most is held in virtual time."""

    def broken(heard: bytes) -> bytes:
        answer = registers(heard)
        return answer[:-1] + bytes((answer[-1] ^ 1,))

    async with opened(bench, baud=baud) as line:
        bench.answer_with(broken)
        for _ in range(5):
            with pytest.raises(Exception, match="damaged"):
                await ask(line, tries=1, answer_time_s=AN_HOUR)
        asyncio.get_running_loop().remove_reader(bench.far)


async def test_a_port_that_swallows_everything_is_opened_anew(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half-open: writes go, nothing comes. Others get their error in time and the port is reopened."""
    monkeypatch.setattr("gateway.line.line.REOPEN_AFTER_S", 0.0)
    async with opened(bench) as line:
        bench.answer_with(lambda _: b"")
        with pytest.raises(NoAnswer):
            await ask(line, answer_time_s=0.01)
        async with asyncio.timeout(2):
            while line.counters.opened < 2:  # reopening is no change of state
                await asyncio.sleep(0.01)
        bench.answer_with(registers)
        await ask(line)
        asyncio.get_running_loop().remove_reader(bench.far)

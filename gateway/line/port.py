"""The real serial port: the only place that knows pyserial and pyserial-asyncio.

Opened by the configured path alone; a link is followed anew each time, so an adapter that comes back under
another name is found by its by-id link and no other port is ever tried. Exclusive twice: flock keeps out
others that lock, TIOCEXCL those that don't (but not root).

pyserial's own `read`, `write` and `flush` are replaced: `read` polls again for each chunk, `write` spins for
ever on a device whose buffer is full, and `flush` (called when a transport ends) waits in the event loop for
bytes that nobody takes. A frame that the device doesn't take whole is thrown away and the port counts as lost:
half a frame sent later would be worse.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import termios
from typing import Any

import serial
import serial.rs485
from serial_asyncio import connection_for_serial

from gateway.errors import PortUnavailable
from gateway.line.config import LineConfig
from gateway.line.holders import port_holders
from gateway.line.wire import WireListener

__all__ = ["SerialPort", "open_port", "port_fault"]

_CHUNK = 4096
_CLOSE_WITHIN_S = 1.0
_MOST_AT_ONCE = 255  # VMIN is one byte
_KERNEL_CHUNK = 64  # the kernel hands on no more in one read while VMIN is more than one
_PACKET_ADAPTERS = ("ttyUSB", "ttyACM")
_VMIN_PLACE = 4 * 4 + 1 + termios.VMIN  # behind four flag words and the line discipline (termbits.h)
_PSEUDO_TERMINALS = "/dev/pts/"
_MISSING = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR)
_DENIED = (errno.EACCES, errno.EPERM)
_BUSY = (errno.EBUSY, errno.EAGAIN)


class _Device(serial.Serial):
    """pyserial's port with reading and writing that never wait."""

    _hung_up = False

    def read(self, size: int = _CHUNK, /) -> bytes:
        """What is there. Raises SerialException when the device is gone."""
        data = piece = self._read_once()
        while len(piece) == _KERNEL_CHUNK:
            piece = self._read_once()
            data += piece
        if not data and self._hung_up:
            raise serial.SerialException("the device is gone")
        return data

    def _read_once(self) -> bytes:
        try:
            data = os.read(self.fileno(), _CHUNK)
        except BlockingIOError:
            return b""
        except OSError as fault:
            raise serial.SerialException(f"reading failed: {fault}") from fault
        self._hung_up = not data
        return data

    def write(self, data: Any, /) -> int:
        """As many bytes as the device takes at once."""
        try:
            return os.write(self.fileno(), data)
        except BlockingIOError:
            return 0
        except OSError as fault:
            raise serial.SerialException(f"writing failed: {fault}") from fault

    def flush(self) -> None:
        """Nothing: waiting for the device would stop the event loop."""


class _WakeUps:
    """VMIN of an open terminal, set with one system call: how many bytes make it readable (termios(3)).

    For a pseudo-terminal and an on-board UART that is a note in the kernel. An adapter on USB is left alone: its
    driver may tell the adapter all settings again each time, and its bytes come in packets anyway.
    """

    def __init__(self, device: _Device) -> None:
        self._fd = device.fileno()
        self._settings = bytearray(64)  # struct termios is 60 bytes on Linux
        fcntl.ioctl(self._fd, termios.TCGETS, self._settings)

    def set(self, least: int) -> None:
        """Readable at `least` bytes, or at none when the device is gone."""
        self._settings[_VMIN_PLACE] = least
        try:
            fcntl.ioctl(self._fd, termios.TCSETS, self._settings)
        except OSError:  # the loss is told by the next read
            return


class SerialPort(asyncio.Protocol):
    """An open port; implements `Wire`."""

    def __init__(self, device: _Device, path: str, listener: WireListener) -> None:
        self.device = path
        self.paced = not path.startswith(_PSEUDO_TERMINALS)
        self._serial = device
        self._listener = listener
        self._ended = asyncio.get_running_loop().create_future()
        self._closing = False
        self._least = 1
        self._wake_ups = None if os.path.basename(path).startswith(_PACKET_ADAPTERS) else _WakeUps(device)
        self.data_received = listener.received  # type: ignore[method-assign]  # one call fewer for each chunk

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The transport is ours to use."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def connection_lost(self, exc: Exception | None) -> None:
        """The transport ended, by our wish or because the device went away."""
        if not self._ended.done():
            self._ended.set_result(None)
        if not self._closing:
            self._closing = True
            self._listener.lost(f"The adapter {self.device} went away: {exc or 'it was closed'}.")

    def send(self, data: bytes) -> None:
        """Hand a frame to the device."""
        try:
            taken = self._serial.write(data)
        except serial.SerialException as fault:
            self._give_up(str(fault))
            return
        if taken < len(data):
            self._give_up("it takes no more bytes")

    def expect(self, count: int) -> None:
        """Set how many bytes wake us; adapters that send packets do well enough without."""
        least = min(count, _MOST_AT_ONCE)
        if self._wake_ups is not None and least != self._least and not self._closing:
            self._least = least
            self._wake_ups.set(least)

    def read_now(self) -> None:
        """What is there."""
        if self._closing:
            return
        try:
            data = self._serial.read()
        except serial.SerialException as fault:
            self._give_up(str(fault))
            return
        if data:
            self._listener.received(data)

    async def close(self) -> None:
        """Drop what is unsent and give the port back."""
        self._closing = True
        if not self._transport.is_closing():
            self._discard()
            self._transport.abort()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_CLOSE_WITHIN_S):
                await self._ended

    def _give_up(self, why: str) -> None:
        if self._closing:
            return
        self._closing = True
        if not self._transport.is_closing():
            self._discard()
            self._transport.abort()
        self._listener.lost(f"The adapter {self.device} failed: {why}.")

    def _discard(self) -> None:
        with contextlib.suppress(OSError, termios.error):
            fcntl.ioctl(self._serial.fileno(), termios.TIOCNXCL)
            self._serial.reset_output_buffer()


async def open_port(config: LineConfig, listener: WireListener) -> SerialPort:
    """Open `config.port`. Raises PortUnavailable with `port-missing`, `-denied`, `-busy` or `-failed`."""
    path = _resolve(config.port)
    try:
        await _check_free(path)
        device = _open_device(config, path)
    except (OSError, ValueError, termios.error) as fault:  # SerialException is an OSError
        holders = await asyncio.to_thread(port_holders, path)
        raise port_fault(config, path, fault, tuple(map(str, holders))) from fault
    port: SerialPort
    _, port = await connection_for_serial(
        asyncio.get_running_loop(), lambda: SerialPort(device, path, listener), device
    )
    return port


def _resolve(port: str) -> str:
    return os.path.realpath(port)


def _shared_terminal(path: str) -> bool:
    """True for a terminal of hardware. Both ends of a pseudo-terminal may well be open at whoever made it."""
    return os.path.exists(f"/sys/class/tty/{os.path.basename(path)}")


async def _check_free(path: str) -> None:
    """A program that reads a real port without locking it would take our answers away."""
    if not _shared_terminal(path):
        return
    holders = await asyncio.to_thread(port_holders, path)
    if holders:
        raise OSError(errno.EBUSY, "another program has it open")


def _open_device(config: LineConfig, path: str) -> _Device:
    device = _Device(
        baudrate=config.baud,
        parity=config.parity,
        stopbits=config.stop_bits,
        timeout=0,
        write_timeout=0,
        exclusive=True,
    )
    device.port = path
    if config.rs485 == "kernel":
        device.rs485_mode = serial.rs485.RS485Settings()
    device.open()
    try:
        fcntl.ioctl(device.fileno(), termios.TIOCEXCL)
        _tell_empty_from_gone(device)
        with contextlib.suppress(OSError, ValueError, NotImplementedError):  # not every driver can
            device.set_low_latency_mode(True)
    except BaseException:
        device.close()
        raise
    return device


def _tell_empty_from_gone(device: _Device) -> None:
    """VMIN 1: with pyserial's 0 a read without data returns nothing, just as one from a device that is gone."""
    attributes = termios.tcgetattr(device.fileno())
    attributes[6][termios.VMIN] = 1
    termios.tcsetattr(device.fileno(), termios.TCSANOW, attributes)


def port_fault(config: LineConfig, path: str, fault: Exception, holders: tuple[str, ...]) -> PortUnavailable:
    """What went wrong in opening, with the holder's name where it is known, and what to do."""
    number = getattr(fault, "errno", None)
    where = config.port if path == config.port else f"{config.port} ({path})"
    if number in _MISSING:
        return PortUnavailable(
            f"There is no port {where} for line {config.name}.",
            remedy="Plug the adapter in, or write its path under /dev/serial/by-id in the settings.",
            code="port-missing",
        )
    if number in _DENIED:
        return PortUnavailable(
            f"The port {where} of line {config.name} may not be opened by this user.",
            remedy="Add the user to the group that owns the port, usually dialout, and log in again.",
            code="port-denied",
        )
    if number in _BUSY:
        who = ", ".join(holders) or "another program (it can't be seen from this user)"
        return PortUnavailable(
            f"The port {where} of line {config.name} is held by {who}.",
            remedy="Stop that program, or give this line another port; it is tried again by itself.",
            code="port-busy",
        )
    return PortUnavailable(
        f"The port {where} of line {config.name} can't be used: {fault}.",
        remedy=_failed_remedy(config),
        code="port-failed",
    )


def _failed_remedy(config: LineConfig) -> str:
    if config.rs485 == "kernel":
        return 'Check baud rate, parity and stop bits; if the driver has no RS-485 mode, write rs485 = "adapter".'
    return "Check that it is a serial port and that the adapter knows this baud rate, parity and stop bits."

"""Whatever opening a port raises becomes PortUnavailable with a code, the holder and a remedy."""

from __future__ import annotations

import errno
import termios
from pathlib import Path

import pytest
import serial

from gateway.line import LineConfig
from gateway.line.holders import Holder, port_holders
from gateway.line.port import port_fault

CONFIG = LineConfig("slip", "/dev/serial/by-id/adapter")
PATH = "/dev/ttyUSB0"


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        (FileNotFoundError(errno.ENOENT, "no such file"), "port-missing"),
        (serial.SerialException(errno.ENODEV, "no such device"), "port-missing"),
        (serial.SerialException(errno.ENXIO, "no such device"), "port-missing"),
        (PermissionError(errno.EACCES, "denied"), "port-denied"),
        (serial.SerialException(errno.EPERM, "not permitted"), "port-denied"),
        (serial.SerialException(errno.EBUSY, "busy"), "port-busy"),
        (serial.SerialException(errno.EAGAIN, "could not lock"), "port-busy"),
        (termios.error(errno.EINVAL, "invalid argument"), "port-failed"),
        (ValueError("invalid baud rate"), "port-failed"),
        (OSError(errno.EIO, "input/output error"), "port-failed"),
    ],
)
def test_every_fault_has_a_code_and_a_remedy(fault: Exception, code: str) -> None:
    """The sentence names the line, the configured path and the device behind it."""
    told = port_fault(CONFIG, PATH, fault, ())
    assert told.code == code
    assert "slip" in told.message
    assert "/dev/serial/by-id/adapter (/dev/ttyUSB0)" in told.message
    assert told.remedy


def test_the_holder_is_named() -> None:
    """So that a person knows what to stop."""
    told = port_fault(CONFIG, PATH, OSError(errno.EBUSY, "busy"), ("logger (process 77)",))
    assert "logger (process 77)" in told.message


def test_kernel_rs485_that_the_driver_lacks_says_what_to_write() -> None:
    """The remedy is the other setting."""
    config = LineConfig("slip", PATH, rs485="kernel")
    told = port_fault(config, PATH, ValueError("Failed to set RS485 mode"), ())
    assert 'rs485 = "adapter"' in told.remedy


def test_holders_by_lock_and_by_open_file(tmp_path: Path) -> None:
    """A process that locks the device is named alone; else all that have it open, never this one."""
    device = tmp_path / "port"
    device.touch()
    status = device.stat()
    proc = tmp_path / "proc"
    for pid, name in ((77, "logger"), (78, "terminal"), (5, "gatepost")):
        (proc / str(pid) / "fd").mkdir(parents=True)
        (proc / str(pid) / "fd" / "3").symlink_to(device)
        (proc / str(pid) / "comm").write_text(name + "\n")
    (proc / "locks").write_text("1: POSIX  ADVISORY  WRITE 9 00:18:5 0 EOF\n")
    assert port_holders(str(device), proc=proc, own_pid=5) == (Holder(77, "logger"), Holder(78, "terminal"))
    where = f"{status.st_dev >> 8 & 0xFFF:02x}:{status.st_dev & 0xFF:02x}:{status.st_ino}"
    (proc / "locks").write_text(f"1: FLOCK  ADVISORY  WRITE 78 {where} 0 EOF\n")
    assert port_holders(str(device), proc=proc, own_pid=5) == (Holder(78, "terminal"),)
    assert str(Holder(78, "terminal")) == "terminal (process 78)"
    assert str(Holder(78, "")) == "process 78"


def test_a_device_that_is_gone_has_no_holders(tmp_path: Path) -> None:
    """No error, no names."""
    assert port_holders(str(tmp_path / "gone"), proc=tmp_path) == ()

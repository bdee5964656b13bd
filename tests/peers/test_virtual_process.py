"""The virtual receiver as a process: its terminal and link, pacing in real time, kills, sockets, several addresses.

A plain serial port (pyserial) and pymodbus stand at the other end. Real time is measured roughly and one-sidedly: a
wire can't be faster than its bits, a busy machine may be slower.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
import serial
from pymodbus.client import ModbusSerialClient
from pymodbus.exceptions import ModbusException
from pymodbus.framer.rtu import FramerRTU

from tests.fakes.virtual_process import RUNNER, VirtualProcess, virtual_process

READ_125 = bytes.fromhex("01044000007d")  # slots from 0x4000 on (docs/register-map.md)
READ_STATUS = bytes.fromhex("010400000014")


def _frame(data: bytes) -> bytes:
    return data + FramerRTU.compute_CRC(data).to_bytes(2, "big")


def _ask(port: serial.Serial, data: bytes, count: int) -> tuple[bytes, float]:
    began = time.monotonic()
    port.write(_frame(data))
    answer = port.read(count)
    return answer, time.monotonic() - began


def _boot_count(port: Path) -> int:
    with serial.Serial(str(port), 19200, timeout=2) as open_port:
        answer, _ = _ask(open_port, READ_STATUS, 45)
    assert len(answer) == 45
    return int.from_bytes(answer[5:9], "big")


@pytest.mark.parametrize(("baud", "silence_s"), [(19200, 3.5 * 10 / 19200), (115200, 0.00175)])
def test_a_paced_answer_takes_its_wire_time(tmp_path: Path, baud: int, silence_s: float) -> None:
    """255 bytes and their request take 10 bits a character, t3.5 and 1 ms of turnaround, and not much more."""
    wire_s = (8 + 255) * 10 / baud + silence_s + 0.001
    with virtual_process(tmp_path / "port", baud=baud, paced=True) as receiver:
        with serial.Serial(str(receiver.port), baud, timeout=2) as port:
            took = [1.0]
            while min(took) >= wire_s * 1.1 + 0.005 and len(took) < 100:  # a busy machine adds to some, not to all
                answer, seconds = _ask(port, READ_125, 255)
                assert len(answer) == 255
                assert seconds >= wire_s - 0.0001
                took.append(seconds)
                time.sleep(0.004)
        assert min(took) < wire_s * 1.1 + 0.005
        counters = json.loads(receiver.tell("show counters"))
        assert (counters["requests"], counters["short_gaps"], counters["overlaps"]) == (len(took) - 1, 0, 0)


def test_a_master_that_does_not_wait_is_counted(tmp_path: Path) -> None:
    """At 1200 Bd t3.5 is 29 ms; a request right behind an answer is a short gap, one within it an overlap."""
    with virtual_process(tmp_path / "port", baud=1200, paced=True) as receiver:
        with serial.Serial(str(receiver.port), 1200, timeout=2) as port:
            requests = 0
            while (
                json.loads(receiver.tell("show counters"))["short_gaps"] == 0 and requests < 40
            ):  # a busy machine waits
                _ask(port, READ_STATUS, 45)
                _ask(port, READ_STATUS, 45)
                requests += 2
            _ask(port, READ_STATUS, 20)
            port.write(_frame(READ_STATUS))
            assert len(port.read(25 + 45)) == 70
        counters = json.loads(receiver.tell("show counters"))
        assert (counters["requests"], counters["overlaps"]) == (requests + 2, 1)
        assert counters["short_gaps"] >= 1


def test_a_wrong_speed_is_not_understood_while_paced(tmp_path: Path) -> None:
    """Bytes at another speed are lost; the right one works on the same terminal."""
    with virtual_process(tmp_path / "port", baud=19200, paced=True) as receiver:
        with serial.Serial(str(receiver.port), 9600, timeout=0.3) as port:
            assert _ask(port, READ_STATUS, 45)[0] == b""
        assert _boot_count(receiver.port) == 1


def test_the_link_goes_with_the_process(tmp_path: Path) -> None:
    """An old link is replaced; a file in its place is left alone; at the end, by quit or SIGTERM, it is gone."""
    port = tmp_path / "slip-gate"
    port.symlink_to("/dev/null")
    with virtual_process(tmp_path / "other") as first, virtual_process(port) as second:
        assert second.tell("help").startswith("commands")
        second.process.send_signal(signal.SIGTERM)
        assert second.process.wait(10) == 0
        assert first.tell("quit") == "ok"
        assert first.process.wait(10) == 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("link=Path('{0}/missing/port')", "can't be made"),
        ("link=Path('{0}/a-file')", "is there already and is no link. Choose another path"),
        ("link=Path('{0}/port'), addresses=(1, 1)", "addresses that differ"),
        ("link=Path('{0}/port'), addresses=(248,)", "Choose one from 1 to 247"),
        ("link=Path('{0}/port'), map_name='fennel'", "There is no built-in map"),
        ("link=Path('{0}/port'), scenario=Path('{0}/none.toml')", "can't be read"),
        ("link=Path('{0}/port'), memory=Path('{0}/none/memory')", "can't be used"),
        ("link=Path('{0}/port'), control=Path('{0}/a-file')", "can't be made"),
    ],
)
def test_options_that_cannot_work_are_said_and_leave_nothing(tmp_path: Path, options: str, words: str) -> None:
    """One sentence, one remedy, no link."""
    (tmp_path / "a-file").write_text("kept")
    command = [sys.executable, "-c", RUNNER, f"VirtualOptions({options.format(tmp_path)})"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
    assert done.returncode == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["a-file"]
    assert (tmp_path / "a-file").read_text() == "kept"


def test_the_adapter_is_pulled_and_put_back(tmp_path: Path) -> None:
    """The port fails at once, the link vanishes, and comes back to another terminal with the receiver as it was."""
    with virtual_process(tmp_path / "port") as receiver:
        before = os.readlink(receiver.port)
        port = serial.Serial(str(receiver.port), 19200, timeout=2)
        assert receiver.tell("fault adapter gone 0.5") == "ok"
        with pytest.raises(serial.SerialException):
            port.read(1)
        port.close()
        assert not receiver.port.is_symlink()
        receiver.wait_for_link()
        assert _boot_count(receiver.port) == 1
        assert receiver.tell("fault adapter gone") == "ok"
        assert receiver.tell("fault adapter back") == "ok"
        assert os.readlink(receiver.port).startswith(before.rpartition("/")[0])
        assert _boot_count(receiver.port) == 1


def test_a_kill_in_the_middle_of_writing_leaves_whole_slots(tmp_path: Path) -> None:
    """SIGKILL while slots are written one after another: after the restart each is wholly old or wholly new."""
    memory = tmp_path / "memory"
    with virtual_process(tmp_path / "port", memory=memory) as receiver:
        client = ModbusSerialClient(str(receiver.port), baudrate=19200, timeout=0.5, retries=0)
        assert client.connect()
        acknowledged = 0
        started = time.monotonic()
        while time.monotonic() - started < 0.5:
            words = [0, acknowledged + 1] + [word for slot in range(1, 6) for word in _record(slot, acknowledged + 1)]
            assert not client.write_registers(0x0100, words, device_id=1).isError()
            acknowledged += 1
        receiver.process.kill()
        receiver.process.wait(10)
        client.close()  # type: ignore[no-untyped-call]
    with memory.open("r+b") as file:  # and the disk lost the end of the last line
        file.truncate(memory.stat().st_size - 3)
    with virtual_process(tmp_path / "port", memory=memory) as receiver:
        slots = json.loads(receiver.tell("show slots"))
        assert [slot["serial"] for slot in slots] == [f"{acknowledged:010d}"] * 4 + [f"{acknowledged - 1:010d}"]
        shown = json.loads(receiver.tell("show"))
        assert (shown["boot_count"], shown["revision"]) == (2, acknowledged + 1)


def test_a_write_that_the_disk_refuses_is_not_answered(tmp_path: Path) -> None:
    """The process ends instead; what was acknowledged before is there at the next start."""
    memory = tmp_path / "memory"
    with virtual_process(tmp_path / "port", memory=memory) as receiver:
        client = ModbusSerialClient(str(receiver.port), baudrate=19200, timeout=0.5, retries=0)
        assert client.connect()
        assert not client.write_registers(0x0100, [0, 1, *_record(1, 11)], device_id=1).isError()
        most = memory.stat().st_size + 10
        resource.prlimit(receiver.process.pid, resource.RLIMIT_FSIZE, (most, most))
        with pytest.raises((ModbusException, serial.SerialException)):
            client.write_registers(0x0100, [0, 2, *_record(2, 22)], device_id=1)
        client.close()  # type: ignore[no-untyped-call]
        assert receiver.process.wait(10) == 1
    with virtual_process(tmp_path / "port", memory=memory) as receiver:
        slots = json.loads(receiver.tell("show slots"))
        assert [slot["serial"] for slot in slots] == ["0000000011"]


def _record(slot: int, serial_number: int) -> list[int]:
    return [slot, serial_number >> 16, serial_number & 0xFFFF, 0, 0, 0x0100, *[0] * 14]


def test_several_receivers_with_a_memory_each(tmp_path: Path) -> None:
    """Addresses on one line; commands name them; each keeps its own file."""
    memory = tmp_path / "memory"
    with virtual_process(
        tmp_path / "port", addresses=(3, 9), names=("slip-gate", "car-park"), memory=memory
    ) as receiver:
        assert receiver.tell("@car-park board learn 4") == "waiting"
        assert receiver.tell("@9 press 0048231907 1") == "saved"
        assert json.loads(receiver.tell("show slots")) == []
        client = ModbusSerialClient(str(receiver.port), baudrate=19200, timeout=1, retries=0)
        assert client.connect()
        revisions = [client.read_input_registers(5, count=2, device_id=each).registers[1] for each in (3, 9)]
        client.close()  # type: ignore[no-untyped-call]
        assert revisions == [1, 2]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["memory.3", "memory.9"]


def test_a_relay_board(tmp_path: Path) -> None:
    """Coils and discrete inputs of the plain map, and nothing else."""
    with virtual_process(tmp_path / "port", map_name="plain-io") as receiver:
        assert receiver.tell("input 2 violated") == "ok"
        assert receiver.tell("output 8 closed") == "ok"
        client = ModbusSerialClient(str(receiver.port), baudrate=19200, timeout=1, retries=0)
        assert client.connect()
        assert client.read_discrete_inputs(0, count=8, device_id=1).bits == [False, True] + [False] * 6
        assert client.read_coils(0, count=8, device_id=1).bits == [False] * 7 + [True]
        assert client.read_input_registers(0, count=1, device_id=1).exception_code == 1
        client.close()  # type: ignore[no-untyped-call]


def test_commands_come_from_a_socket_and_a_scenario(tmp_path: Path) -> None:
    """The socket is its owner's alone; several programs use it at once; a scenario plays beside it."""
    control, scenario = tmp_path / "control", tmp_path / "scenario.toml"
    scenario.write_text("[[step]]\nat_s = 0\ndo = ['dance', 'input 4 violated']\n")
    with virtual_process(tmp_path / "port", control=control, scenario=scenario, use_stdin=False) as receiver:
        deadline = time.monotonic() + 10
        while not control.exists() or json.loads(_say(control, "show"))["inputs"][3] != "violated":
            assert time.monotonic() < deadline
            time.sleep(0.01)
        assert control.stat().st_mode & 0o777 == 0o600
        with socket.socket(socket.AF_UNIX) as idle:
            idle.connect(str(control))
            assert _say(control, "help").startswith("commands:")
            assert _say(control, "quit") == "ok\n"
            assert receiver.process.wait(10) == 0
            assert idle.recv(1) == b""
        assert receiver.stdout.read().startswith("scenario, 0 s, “dance”: error:")
    assert not control.exists()


def _say(control: Path, line: str) -> str:
    with socket.socket(socket.AF_UNIX) as peer:
        peer.connect(str(control))
        peer.sendall(line.encode() + b"\n")
        return peer.makefile().readline()


def test_closed_standard_input_ends_nothing(tmp_path: Path) -> None:
    """A receiver started by a service has none."""
    with virtual_process(tmp_path / "port") as receiver:
        receiver.stdin.close()
        assert _boot_count(receiver.port) == 1


def _cpu_s(receiver: VirtualProcess) -> float:
    fields = Path(f"/proc/{receiver.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test_idle_costs_no_processor_time(tmp_path: Path) -> None:
    """Under 1 % of a core, with outputs closed and a password's time running."""
    with virtual_process(tmp_path / "port", paced=True) as receiver:
        receiver.tell("board learn 1")
        receiver.tell("press 0048231907 1")
        before = _cpu_s(receiver)
        time.sleep(1.5)
        assert _cpu_s(receiver) - before <= 0.02

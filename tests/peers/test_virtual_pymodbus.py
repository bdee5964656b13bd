"""pymodbus reads and writes the virtual receiver, with nothing but the literals of docs/register-map.md.

See tests/peers/test_virtual_mbpoll.py; here are the parts that mbpoll can't ask for: device identification, exception
codes as numbers, the ring, enrolment, operation.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pymodbus.client import ModbusSerialClient
from pymodbus.framer.rtu import FramerRTU
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.mei_message import ReadDeviceInformationResponse

from tests.fakes.register_page import Page, number
from tests.fakes.virtual_process import VirtualProcess, virtual_process

PAGE = Page.read()
STATUS = PAGE.address("status")


class Master:
    """A pymodbus client on a virtual receiver's port."""

    def __init__(self, receiver: VirtualProcess) -> None:
        self.receiver = receiver
        self.client = ModbusSerialClient(str(receiver.port), baudrate=19200, timeout=2, retries=0)
        assert self.client.connect()

    def read(self, address: int, count: int) -> list[int]:
        answer = self.client.read_input_registers(address, count=count, device_id=1)
        assert not answer.isError(), answer
        return list(answer.registers)

    def write(self, address: int, words: list[int]) -> int:
        """0, or the exception code."""
        return _code(self.client.write_registers(address, words, device_id=1))

    def status(self, field: str) -> int:
        return self.read(PAGE.place("Status", field), 1)[0]

    def long(self, field: str) -> int:
        high, low = self.read(PAGE.place("Status", field), 2)
        return high << 16 | low


def _code(answer: ModbusPDU) -> int:
    return answer.exception_code if answer.isError() else 0


@pytest.fixture
def master(tmp_path: Path) -> Iterator[Master]:
    with virtual_process(tmp_path / "car-park", serials=("FQ-0002",)) as receiver:
        master = Master(receiver)
        yield master
        master.client.close()  # type: ignore[no-untyped-call]


def test_device_identification(master: Master) -> None:
    """Objects 0 to 2 in the basic stream, the serial as the extended object that the page names."""
    objects = {row["content"]: number(row["object"]) for row in PAGE.tables["Identity"][1]}
    assert _information(master, 1) == {
        objects["maker"]: b"Fennel Electrics",
        objects["product"]: b"VR-8",
        objects["version"]: b"1.0",
    }
    assert _information(master, 3)[objects["serial"]] == b"FQ-0002"
    assert _information(master, 4, objects["serial"]) == {objects["serial"]: b"FQ-0002"}


def _information(master: Master, code: int, object_id: int = 0) -> dict[int, bytes]:
    answer = master.client.read_device_information(read_code=code, object_id=object_id, device_id=1)
    assert isinstance(answer, ReadDeviceInformationResponse)
    return dict(answer.information)


def test_exception_codes(master: Master) -> None:
    """01, 02, 03, 04 and 06, each where the page says."""
    client, window = master.client, PAGE.address("slot write window")
    assert _code(client.read_coils(0, count=1, device_id=1)) == 1
    assert _code(client.read_holding_registers(window, count=2, device_id=1)) == 2
    assert master.write(window, [0] * 21) == 3
    output, latching = 1, PAGE.code("mode", "latching")
    assert master.receiver.tell(f"mode {output} latching") == "ok"
    assert master.status("modes") & 0b11 == latching
    assert master.write(PAGE.address("operate"), [output, 10, 0, 1]) == 4
    assert master.status("last_refusal") == PAGE.code("refusal", "mode-forbids")
    assert master.receiver.tell("fault slow-write 1") == "ok"
    settings = PAGE.place("Settings", "on_times_s")
    request = bytes((1, 6)) + settings.to_bytes(2, "big") + (7).to_bytes(2, "big")
    _send_without_waiting(master, request)
    answer = client.read_holding_registers(settings, count=1, device_id=1)
    assert _code(answer) == 6
    assert master.status("last_refusal") == PAGE.code("refusal", "memory-busy")


def _send_without_waiting(master: Master, request: bytes) -> None:
    """A master that does not await its answer; the CRC is pymodbus' own."""
    socket = master.client.socket
    assert socket is not None
    socket.write(request + FramerRTU.compute_CRC(request).to_bytes(2, "big"))
    socket.flush()


def test_ring_enrolment_and_operation(master: Master) -> None:
    """Listening flags a press; one closure is done; both are in the ring, with number and boot count."""
    before = master.long("newest_event")
    assert _code(master.client.write_register(PAGE.address("listen"), 30, device_id=1)) == 0
    assert master.status("enrolment") == PAGE.code("enrolment", "listening")
    assert master.receiver.tell("press 4294967295 8") == "ok"
    assert master.write(PAGE.address("operate"), [2, 1, 0xCAFE, 0xBEEF]) == 0
    size, places = int(PAGE.block("ring")["registers"]), int(PAGE.block("ring")["records"])
    ring = PAGE.address("ring")

    def entry(event: int) -> list[int]:
        return master.read(ring + size * ((event - 1) % places), size)

    pressed, operated = entry(before + 1), entry(before + 2)
    assert pressed[:2] == [0, before + 1]
    assert pressed[PAGE.place("Ring", "boot")] == master.read(PAGE.place("Status", "boot_count") + 1, 1)[0]
    event, origin = divmod(pressed[PAGE.place("Ring", "event")], 256)
    assert (event, origin) == (PAGE.code("event", "press"), PAGE.code("origin", "radio"))
    serial = PAGE.place("Ring", "serial")
    assert pressed[serial : serial + 2] == [0xFFFF, 0xFFFF]
    assert pressed[PAGE.place("Ring", "position")] >> 8 == 8
    assert pressed[PAGE.place("Ring", "enrolling")] == 1
    assert divmod(operated[PAGE.place("Ring", "event")], 256) == (
        PAGE.code("event", "output"),
        PAGE.code("origin", "line"),
    )
    assert operated[PAGE.place("Ring", "index")] & 0xFF == 2


def test_factory_reset(master: Master) -> None:
    """The key of the page and no other; the revision rises."""
    (row,) = PAGE.table("Factory reset")
    key = int(row["meaning"].split(",")[0], 16)
    address, revision = PAGE.address("factory reset"), master.long("revision")
    assert master.write(address, [key & 0xFFFF, key >> 16]) == 3
    assert master.status("last_refusal") == PAGE.code("refusal", "key-wrong")
    assert master.write(address, [key >> 16, key & 0xFFFF]) == 0
    assert master.long("revision") == revision + 1

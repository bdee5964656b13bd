"""Finding drivers of other packages; the worked one of docs/drivers.md is run as it stands there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from gateway.domain.receiver import Limits, RingPlace, Status
from gateway.domain.transmitter import Kind
from gateway.errors import NoAnswer, SettingsFault, Unsupported
from gateway.line import Timing
from gateway.ports import Receiver
from gateway.receivers import ENTRY_POINT_GROUP, DriverOrder, PartialReceiver, build_receiver, find_driver
from tests.fakes.clock import FakeClock
from tests.fakes.register_wire import FakeUnit, FakeWire
from tests.unit.receivers.making import REFERENCE

PAGE = Path(__file__).parents[3] / "docs" / "drivers.md"


def install(folder: Path, point: str, module: str, source: str) -> None:
    """What an installed package leaves behind: a module and its entry points."""
    (folder / f"{module}.py").write_text(source)
    info = folder / f"{module}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[{ENTRY_POINT_GROUP}]\n{point}\n")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)


def order(folder: Path) -> DriverOrder:
    return DriverOrder("workshop", "/dev/null", 19_200, 1, str(folder), FakeClock(), lambda: "")


async def test_the_worked_driver_of_the_page_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Installed as the page says, found by its name, it tells its inputs; what it can't do is unsupported."""
    (source,), packaging = blocks("python"), tomllib.loads(blocks("toml")[0])
    ((name, target),) = packaging["project"]["entry-points"][ENTRY_POINT_GROUP].items()
    assert tomllib.loads(blocks("toml")[1])["receivers"]["workshop"]["driver"] == name
    install(tmp_path, f"{name} = {target}", target.partition(":")[0], source)
    monkeypatch.syspath_prepend(str(tmp_path))
    contacts = tmp_path / "contacts"
    contacts.mkdir()
    for number, state in ((1, "0"), (2, "1"), (10, "1")):
        (contacts / str(number)).write_text(state)
    receiver: Receiver = find_driver(name)(order(contacts))
    identity, limits = await receiver.identify()
    status = await receiver.read_status()
    assert (identity.product, limits.inputs, status.input_violated) == ("contact folder", 3, (False, True, True))
    with pytest.raises(Unsupported, match="its driver has no slots"):
        await receiver.read_slots([1])
    with pytest.raises(Unsupported, match="its driver has no events"):
        await receiver.read_ring(RingPlace(1, 0), status)
    with pytest.raises(NoAnswer, match="can't be read"):
        await find_driver(name)(order(tmp_path / "gone")).read_status()


def test_a_driver_that_isnt_there_is_named_with_those_that_are() -> None:
    """The remedy lists what could be written instead."""
    with pytest.raises(SettingsFault, match=r"no driver “semaphore”.*register-map"):
        find_driver("semaphore")


def test_a_driver_that_cant_be_loaded_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another package's fault while it is imported is told, not raised through."""
    install(tmp_path, "torn = torn_driver:Torn", "torn_driver", "raise RuntimeError('no such bus')\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(SettingsFault, match="can't be loaded: no such bus"):
        find_driver("torn")


def test_an_entry_point_that_is_no_callable_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It must take a DriverOrder."""
    install(tmp_path, "flat = flat_driver:NUMBER", "flat_driver", "NUMBER = 7\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(SettingsFault, match="can't be called"):
        find_driver("flat")


def test_the_built_in_driver_fits_the_port_and_sends_nothing_when_built() -> None:
    """Built from a map, a line and an address."""
    wire = FakeWire(FakeUnit())
    receiver: Receiver = build_receiver("slip-gate", REFERENCE, wire, 1, timing=Timing(10 / 115_200, 0.00175))
    assert receiver.name == "slip-gate"
    assert wire.asked == []


async def test_a_partial_driver_fits_the_port_and_can_do_nothing_by_itself() -> None:
    """Every capability's methods are unsupported until they are overridden; without slots no name is kept."""
    partial: Receiver = PartialReceiver("workshop")
    limits = Limits(outputs=1, inputs=1)
    status = Status((False,), (False,))
    assert (partial.capabilities, partial.fit_name(limits, "Berth 12"), partial.kind_code(Kind("any", ("1",)))) == (
        frozenset(),
        "",
        0,
    )
    asked = [
        partial.read_ring(RingPlace(1, 0), status),
        partial.read_settings(),
        partial.write_on_time(1, 5),
        partial.write_local_programming(True),
        partial.write_password(""),
        partial.read_block_crcs(),
        partial.read_slots([1]),
        partial.write_slots([], [1], 0),
        partial.listen(1),
        partial.factory_reset(),
    ]
    for request in asked:
        with pytest.raises(Unsupported):
            await request
    with pytest.raises(Unsupported):
        _ = partial.slots_per_write
    with pytest.raises(Unsupported):
        partial.block_crc(limits, 0, {})

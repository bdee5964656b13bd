"""An alarm outlet taken into use on a whole site: each event once, the sheet, a visit, an acknowledged condition.

The station is pysiaalarm, an independent DC-09 receiver.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

from pysiaalarm.account import SIAAccount

from tests.fakes.sia_station import Station, station
from tests.integration.yard import Done, Yard, open_yard, until

_MORE = """
[receivers.slip-gate.inputs]
1 = {{ name = "gate closed", role = "closed", gate = "slip-gate" }}
2 = {{ name = "housing", role = "tamper" }}

[gates.slip-gate]
receiver = "slip-gate"
outputs = ["gate"]

[outlets.station]
kind = "alarm"
addresses = ["tcp://127.0.0.1:{port}"]
account = "1234"
allow_loopback = true
supervision_s = 0
"""


def _settings(yard: Yard, port: int) -> None:
    yard.write_settings(baud=115200, roster="", more=_MORE.format(port=port))
    yard.config.write_text(yard.config.read_text().replace('inputs = { 1 = "gate closed" }\n', ""))


def _codes(taken: Station) -> list[str]:
    """What the station understood: new or restored, and the code."""
    return [f"{event.event_qualifier or ''}{event.event_type or event.code}" for event in taken.events]


async def _run(yard: Yard, *arguments: str | Path) -> Done:
    return await asyncio.to_thread(yard.run, *arguments)


async def _until(found: object, what: str) -> None:
    await asyncio.to_thread(until, found, what)  # type: ignore[arg-type]


async def test_a_station_is_commissioned() -> None:
    """Test and sheet; then an alarm in earnest, one as a test, and the same in earnest when people have gone."""
    with open_yard() as yard:
        async with station(SIAAccount("1234")) as taken:
            _settings(yard, taken.port)
            line = yard.line("quayside", "--baud", "115200")
            daemon = await asyncio.to_thread(yard.start)
            await asyncio.to_thread(daemon.wait_link, "slip-gate", "online")

            careless = await _run(yard, "outlet", "test", "station")
            assert careless.code == 1
            assert "put on test" in careless.said
            sheet = yard.folder / "station.md"
            done = await _run(yard, "outlet", "test", "station", "--on-test", "--sheet", sheet, "--json")
            assert done.code == 0, done.said
            text = sheet.read_text()
            assert "Site: fennel-quay" in text
            assert "| 1137 01 000, account 1234: ACK from tcp://127.0.0.1:" in text  # what the station's list shows
            assert text.count("| arrived |") == len(done.json["results"]) == len(taken.events)
            assert "condition.raised (tamper)" in text
            assert "Signature:" in text
            again = await _run(yard, "outlet", "test", "station", "--on-test", "--sheet", sheet)
            assert again.code == 1
            assert "Name a new file" in again.said

            before = len(taken.events)
            line.tell("input 2 violated")
            await _until(lambda: len(taken.events) == before + 1, "the tamper at the station")
            line.tell("input 2 normal")
            await _until(lambda: len(taken.events) == before + 2, "its end")
            begun = await _run(yard, "visit", "start", "--minutes", "30", "--reason", "new aerial")
            assert begun.code == 0, begun.said
            line.tell("input 2 violated")
            await _until(lambda: len(taken.events) == before + 4, "the visit and a test")
            (condition,) = (await _run(yard, "conditions", "--json")).json
            assert condition["visit"] is True
            noted = await _run(
                yard,
                "conditions",
                "--acknowledge",
                condition["id"],
                "--name",
                "Harbour office",
                "--note",
                "we are there",
            )
            assert noted.code == 0, noted.said
            assert "Noted by Harbour office: we are there." in noted.out
            ended = await _run(yard, "visit", "end")
            assert ended.code == 0, ended.said
            await _until(lambda: len(taken.events) >= before + 6, "the end of the visit and the alarm in earnest")
            assert _codes(taken)[before:] == ["1137", "3137", "1607", "1601", "3607", "1137"]

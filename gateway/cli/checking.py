"""What `check` looks at: through the running daemon, or, when none runs, by opening the ports itself."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from gateway.cli.client import ApiClient, CannotReach
from gateway.cli.looking import place_words
from gateway.cli.words import LINKS, REFUSING_LINKS, counted, visit_words
from gateway.clock import Clock
from gateway.daemon import Parts, plan_parts
from gateway.domain.receiver import Capability
from gateway.domain.support import SUPPORT_ENDS
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, LineError, PortUnavailable, SourceError
from gateway.line import Line
from gateway.ports import Fetched, Receiver
from gateway.roster.unset_source import UnsetSource
from gateway.settings import Settings
from gateway.store.ledgerlook import look_at_namings
from gateway.system.installed import Installation, look_at_installation
from gateway.system.trust import Assume, ClockTrust

__all__ = ["Finding", "check_outlet", "check_program", "check_running", "check_standing"]

_OPEN_TIMEOUT_S = 3.0
_TOLD_ALREADY = frozenset(("outlet-failing",))  # notices about what is looked at by itself


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. `unreachable` tells a silent part from a wrong one."""

    part: str
    ok: bool
    text: str
    remedy: str = ""
    unreachable: bool = False

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return asdict(self)


def _fault(part: str, fault: GatepostError) -> Finding:
    words = _about(part.removeprefix("line "), fault.message)
    return Finding(part, False, words, fault.remedy, isinstance(fault, LineError | SourceError))


def check_outlet(outlet: Mapping[str, Any]) -> Finding:
    """An outlet of the running gateway, as the API tells of it."""
    part = f"outlet {outlet['id']}"
    if outlet["state"] in ("failing", "disabled", "retrying"):
        return Finding(part, False, f"{outlet['id']}: {outlet['problem']}", outlet["remedy"], unreachable=True)
    if not outlet["done"]:
        words = f"nothing was sent to {outlet['id']} yet; gatepost outlet test {outlet['id']} tries it"
        return Finding(part, True, words)
    return Finding(part, True, f"{outlet['id']} works, {counted(outlet['lag'], 'event')} before it")


async def check_running(settings: Settings, clock: Clock, socket: Path) -> list[Finding] | None:
    """Ask the daemon; None when none answers. What stands in the files now is checked too: a restart will read it.

    Raises SettingsFault, MapFault, and CannotReach when the daemon may not be asked.
    """
    async with ApiClient(socket=socket) as client:
        try:
            gateway = await client.get("/gateway")
        except CannotReach as fault:
            if fault.code == "socket-denied":
                raise
            return None
        plan_parts(settings, clock)
        receivers = (await client.get("/receivers"))["receivers"]
        roster = await client.get("/roster")
        outlets = (await client.get("/outlets"))["outlets"]
    findings = [
        Finding("daemon", True, f"the daemon runs, version {gateway['version']}"),
        check_program(look_at_installation()),
        Finding("settings", True, "the settings, maps and secrets are good"),
        *(_check_link(receiver) for receiver in receivers),
        *_check_clock(gateway["clock"]["trusted"]),
        *(check_outlet(outlet) for outlet in outlets),
    ]
    if roster["problem"]:
        findings.append(Finding("roster", False, roster["problem"], roster["remedy"], roster["unreachable"]))
    elif settings.roster is None:
        findings.append(_no_roster())
    else:
        findings.append(Finding("roster", True, f"the roster is {place_words(roster['place'])}"))
    findings += [
        Finding(notice["code"], False, notice["text"], notice["remedy"])
        for notice in gateway["notices"]
        if notice["code"] not in _TOLD_ALREADY
    ]
    return findings


def _check_link(receiver: dict[str, Any]) -> Finding:
    name = receiver["id"]
    if receiver["link"] == "online":
        return Finding(name, True, f"{name} answers")
    if receiver["visit"] is not None:
        known = receiver["visit"]["holdings_known"]
        remedy = "" if known else f"Say what it holds: gatepost visit-sheet holds {name} --empty, or --from FILE."
        return Finding(name, known, f"{name}: {visit_words(receiver['visit'])}", remedy)
    words = receiver["problem"] or f"{name} {LINKS.get(receiver['link'], receiver['link'])}"
    return Finding(name, False, _about(name, words), receiver["remedy"], receiver["link"] not in REFUSING_LINKS)


def _about(name: str, words: str) -> str:
    return words if name in words else f"{name}: {words}"


def _no_roster() -> Finding:
    return Finding("roster", True, "no roster is set; nothing will be brought to a receiver")


async def check_standing(settings: Settings, clock: Clock) -> list[Finding]:
    """Look at everything without a daemon. Raises SettingsFault, MapFault."""
    parts = plan_parts(settings, clock)
    for naming in look_at_namings(settings.gateway.state):
        parts.names.take(naming)  # a roster may write outputs by names that were given since the settings
    findings = [
        check_program(look_at_installation()),
        Finding("settings", True, "the settings, maps and secrets are good"),
    ]
    trust = ClockTrust(clock, assume=Assume(settings.gateway.clock))
    findings += _check_clock(await trust.look())
    per_line = await asyncio.gather(*(_check_line(parts, name, line, clock) for name, line in parts.lines.items()))
    findings += [finding for found in per_line for finding in found]
    findings.append(await _check_roster(parts))
    return findings


def check_program(found: Installation) -> Finding:
    """Its files against the package's record, and how long it is mended."""
    words = f"the program is mended until {SUPPORT_ENDS}"
    if not found.recorded:
        return Finding("program", True, f"{words}; it runs from a working copy, so no record of its files is there")
    if not found.faulty:
        return Finding("program", True, f"{words}; its {counted(found.recorded, 'file')} are as they were installed")
    shown = ", ".join(found.faulty[:3]) + (" and others" if len(found.faulty) > 3 else "")
    wrong = (
        (len(found.changed), "changed since it was installed"),
        (len(found.missing), "missing or unreadable"),
        (len(found.added), "not of the package"),
    )
    what = ", ".join(f"{counted(count, 'file')} {words}" for count, words in wrong if count)
    remedy = (
        "Install it anew from a package that you trust; if it happens again, look at the card and at who has access."
    )
    return Finding("program", False, f"the program has {what}: {shown}", remedy)


def _check_clock(trusted: bool) -> list[Finding]:
    if trusted:
        return [Finding("clock", True, "the clock is known to be right")]
    remedy = 'Let a time service set it (timedatectl set-ntp true), or write clock = "trusted" if another one does.'
    return [Finding("clock", False, "the clock is not known to be right; nothing is granted or ended by date", remedy)]


@asynccontextmanager
async def _opened(line: Line, clock: Clock) -> AsyncIterator[None]:
    """The line, run for the time of the block. Raises PortUnavailable."""
    async with asyncio.TaskGroup() as group:
        running = group.create_task(line.run())
        try:
            state = line.state
            async with clock.timeout(_OPEN_TIMEOUT_S):
                while state.kind in ("closed", "opening"):
                    state = await line.wait_state_change(state)
            if state.kind != "open":
                raise PortUnavailable(state.reason, remedy=state.remedy)
            yield
        finally:
            running.cancel()


async def _check_line(parts: Parts, name: str, line: Line, clock: Clock) -> list[Finding]:
    findings: list[Finding] = []
    try:
        async with _opened(line, clock):
            findings.append(Finding(f"line {name}", True, f"line {name}: {line.config.port} opens"))
            for receiver in (driver for key, driver in parts.receivers.items() if parts.line_of[key] == name):
                findings += await _check_receiver(receiver)
    except* GatepostError as group:
        findings += [_fault(f"line {name}", fault) for fault in group.exceptions if isinstance(fault, GatepostError)]
    except* TimeoutError:
        findings.append(Finding(f"line {name}", False, f"line {name}: {line.config.port} does not open", "", True))
    return findings


async def _check_receiver(receiver: Receiver) -> list[Finding]:
    """Who answers, and whether the link password opens it; each as far as it comes."""
    name, found = receiver.name, []
    try:
        identity, limits = await receiver.identify()
        await receiver.read_status(urgency=Urgency.CONTROL)
        words = f"{name} answers: {identity.product} {identity.serial}, map {identity.map_name} {identity.map_version}"
        found.append(Finding(name, True, f"{words}, {limits.outputs} outputs, {limits.inputs} inputs"))
        if Capability.SLOTS in receiver.capabilities:
            crcs = await receiver.read_block_crcs()
            found.append(Finding(name, True, f"{name}: its memory can be read, revision {crcs.revision}"))
    except GatepostError as fault:
        found.append(_fault(name, fault))
    return found


async def _check_roster(parts: Parts) -> Finding:
    if isinstance(parts.source, UnsetSource):
        return _no_roster()
    try:
        fetched = await parts.source.fetch(None)
    except GatepostError as fault:
        return _fault("roster", fault)
    assert isinstance(fetched, Fetched)
    checked = parts.reader.check(fetched.roster, fetched.groups, parts.facts)
    if checked.faults:
        first = checked.faults[0]
        count = "one fault" if len(checked.faults) == 1 else f"{len(checked.faults)} faults"
        place = f"row {first.row}, {first.column}" if first.row else first.file
        text = f"the roster has {count}; the first: {place}: {first.found}; {first.remedy}"
        return Finding("roster", False, text, "`gatepost roster check FILE` shows all of them.")
    return Finding(
        "roster",
        True,
        f"the roster is good: {counted(checked.transmitters, 'transmitter')} of {counted(checked.holders, 'holder')}",
    )

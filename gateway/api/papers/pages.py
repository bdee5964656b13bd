"""The handover document and the access list as pages that print well."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from gateway.api.papers.markup import add, page, table, write
from gateway.domain.cautions import CAUTIONS, WHO_DECIDES
from gateway.domain.papers import AccessPaper, GatePaper, HandoverPaper, Heading, OutputRow, ReceiverPaper

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["access_page", "handover_page"]

_SIGNERS = ("Handed over by (installer), date", "Received by (owner or facility manager), date")
_ROLE_WORDS = {"": "not stated"}


def handover_page(paper: HandoverPaper) -> bytes:
    """Receivers, gates, groups, who has what, revocations, cautions and signatures."""
    html, main = page(f"Handover: {paper.heading.site}")
    _head(main, "Handover document", paper.heading)
    _cautions(main)
    add(main, "h2", "Gates")
    for gate in paper.gates:
        _gate(main, gate)
    if not paper.gates:
        add(main, "p", "The settings describe no gate.")
    add(main, "h2", "Receivers")
    for receiver in paper.receivers:
        _receiver(main, receiver)
    add(main, "h2", "Groups of rights")
    for group in paper.groups:
        add(main, "h3", f"{group.name}: {_count(group.transmitters, 'transmitter')}")
        for right in group.rights or ("It gives no rights.",):
            add(main, "p", right)
    if not paper.groups:
        add(main, "p", "The roster has no groups.")
    add(main, "h2", "Who has what")
    table(
        main, _count(len(paper.transmitters), "transmitter"),
        ("Holder", "Serial", "Kind", "Group", "Valid", "What it does"),
        ((row.holder or "not shown", row.serial, row.kind, row.group,
          _validity(row.valid_from, row.valid_until), " ".join(row.places) or row.state)
         for row in paper.transmitters),
        "Nobody has a transmitter.",
    )  # fmt: skip
    zone = ZoneInfo(paper.heading.zone)
    table(
        main, "Revoked transmitters", ("Serial", "Since", "Reason", "Proven gone"),
        ((row.serial, _time(row.time, zone), row.reason, "yes" if row.proven else "not yet") for row in paper.revoked),
        "No transmitter is revoked.",
    )  # fmt: skip
    _signatures(main)
    return write(html)


def access_page(paper: AccessPaper) -> bytes:
    """Who has access to one gate."""
    html, main = page(f"Access: {paper.title}")
    _head(main, f"Who has access to {paper.title}", paper.heading)
    table(
        main, _count(len(paper.rows), "transmitter"),
        ("Holder", "Serial", "Positions", "Works", "Valid", "In the receiver"),
        ((row.holder or "not shown", row.serial, ", ".join(row.positions), ", ".join(row.outputs),
          _validity(row.valid_from, row.valid_until), row.state) for row in paper.rows),
        "Nobody has access.",
    )  # fmt: skip
    return write(html)


def _head(main: Element, title: str, heading: Heading) -> None:
    add(main, "h1", title)
    zone = ZoneInfo(heading.zone)
    clock = "" if heading.clock_trusted else " The gateway's clock was not known to be right then."
    add(main, "p", f"Site {heading.site}, as it stood {_time(heading.written, zone)}.{clock}")
    if heading.roster:
        since = f", in force since {_time(heading.roster_time, zone)}" if heading.roster_time else ""
        add(main, "p", f"Roster {heading.roster[:12]}{since}.")
    else:
        add(main, "p", "No roster is in force.")


def _cautions(main: Element) -> None:
    box = add(main, "div", class_="warned")
    add(box, "h2", "Cautions")
    cautions = add(box, "ol")
    for caution in CAUTIONS:
        add(cautions, "li", caution)
    add(box, "p", WHO_DECIDES)


def _gate(main: Element, gate: GatePaper) -> None:
    add(main, "h3", f"{gate.title} ({gate.kind})")
    add(main, "p", f"Moved by {', '.join(gate.outputs) or 'no output'} of receiver {gate.receiver}.")
    add(main, "p", f"Watched by {'; '.join(gate.contacts) or 'no contact'}.")
    times = f"Travel time {gate.travel_s:g} s."
    if gate.stay_open_limit_s is not None:
        times += f" It may stay open for {gate.stay_open_limit_s:g} s."
    times += f" {_count(gate.cycles, 'cycle')} since the last service"
    times += f", due at {gate.service_cycles}." if gate.service_cycles else "."
    add(main, "p", times)


def _receiver(main: Element, receiver: ReceiverPaper) -> None:
    add(main, "h3", receiver.name)
    maker = " ".join(filter(None, (receiver.maker, receiver.product, receiver.version)))
    add(main, "p", f"{maker or 'Maker not known'}, serial {receiver.serial or 'not known'}. {receiver.link}")
    used = "" if receiver.slots_used is None else f" {receiver.slots_used} of {receiver.slots or '?'} slots are used."
    add(main, "p", receiver.proven + used)
    add(main, "p", _protection(receiver))
    table(
        main, "Outputs", ("No.", "Name", "Mode on the board", "On-time"),
        ((str(row.number), row.name or "not named", row.mode or "not known", _on_time(row))
         for row in receiver.outputs),
        "It states no outputs.",
    )  # fmt: skip
    table(
        main, "Inputs", ("No.", "Name", "Role"),
        ((str(row.number), row.name or "not named", _ROLE_WORDS.get(row.role, row.role)) for row in receiver.inputs),
        "It states no inputs.",
    )  # fmt: skip


def _protection(receiver: ReceiverPaper) -> str:
    if receiver.local_programming is None or receiver.password_set is None:
        return "How it is protected is not known."
    password = "A link password is set" if receiver.password_set else "No link password is set"
    buttons = "open" if receiver.local_programming else "locked"
    return f"{password}; local programming is {buttons}."


def _on_time(row: OutputRow) -> str:
    if row.mode and row.mode != "timed":
        return "none in this mode"
    return "not known" if row.on_time_s is None else f"{row.on_time_s} s"


def _signatures(main: Element) -> None:
    add(main, "h2", "Signatures")
    add(
        main, "p",
        "The gates were tried with a transmitter, the safety functions were tested by a qualified person, and the "
        "manual release was shown. Passwords and keys are handed over apart from this document.",
    )  # fmt: skip
    signed = add(main, "div", class_="signed")
    for signer in _SIGNERS:
        add(signed, "p", signer)


def _validity(begins: str, ends: str) -> str:
    if not begins and not ends:
        return "always"
    return " ".join(filter(None, (f"from {begins}" if begins else "", f"until {ends}" if ends else "")))


def _time(time: datetime, zone: ZoneInfo) -> str:
    local = time.astimezone(zone)
    return f"{local.day} {local:%B %Y %H:%M %Z}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"

"""The past in sentences: times of the site's zone, rights, and what a clock that was wrong leaves open.

Pure. Sentences are for people; nothing parses them.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from gateway.domain.history import AccessRight, MemorySpan, Moment, RosterLine
from gateway.domain.transmitter import write_serial
from gateway.ports import Period, ReceiverFacts

__all__ = [
    "memory_rights",
    "rights_words",
    "roster_rights",
    "subject",
    "time_words",
    "validity_words",
    "when_words",
    "within_words",
]


def subject(holder: str, name: str, serial: int) -> str:
    """ "Berth 12, transmitter 0048231907"; of somebody whom no roster names what the receiver calls it."""
    who = holder or name or "a transmitter that no roster of that time names"
    return f"{who}, transmitter {write_serial(serial)}"


def memory_rights(span: MemorySpan, line: RosterLine | None, facts: ReceiverFacts | None) -> tuple[AccessRight, ...]:
    """What a slot works: positions by the label of the transmitter's kind, outputs by name."""
    names = facts.outputs if facts else {}
    labels = line.positions if line else ()
    return tuple(
        AccessRight(
            labels[place - 1] if place <= len(labels) else str(place),
            tuple(names.get(output) or f"output {output}" for output in outputs),
        )
        for place, outputs in sorted(span.outputs.items())
    )


def roster_rights(line: RosterLine, receiver: str, facts: ReceiverFacts | None = None) -> tuple[AccessRight, ...]:
    """What a row of a roster gives at one receiver: as it was written, or by the names that outputs have now."""
    found: dict[str, list[str]] = {}
    for right in line.rights:
        if right.receiver.casefold() == receiver.casefold():
            found.setdefault(right.position, []).append(facts.output_now(right.output) if facts else right.output)
    return tuple(AccessRight(position, tuple(outputs)) for position, outputs in found.items())


def validity_words(line: RosterLine) -> str:
    """ "valid from 2026-04-01 until 2026-10-31"; empty without dates."""
    begins = f" from {line.valid_from}" if line.valid_from else ""
    ends = f" until {line.valid_until}" if line.valid_until else ""
    return f"valid{begins}{ends}" if begins or ends else ""


def rights_words(rights: Iterable[AccessRight]) -> str:
    """ "position 1 works gate; position 1+2 works gate and boat-hoist"."""
    parts = [f"position {right.position} works {_joined(right.outputs)}" for right in rights]
    return "; ".join(parts) or "nothing"


def time_words(time: datetime, zone: ZoneInfo) -> str:
    """ "2026-03-02 14:05:09", with the offset on a day that has two."""
    local = time.astimezone(zone)
    text = f"{local:%Y-%m-%d %H:%M:%S}"
    day = local.replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    same = day.utcoffset() == day.replace(hour=23, minute=59).utcoffset()
    return text if same else f"{text} {local:%z}"


def when_words(moment: Moment, zone: ZoneInfo) -> str:
    """The time, or between which times it was when the clock was not known to be right."""
    if moment.at is not None:
        return time_words(moment.at, zone)
    if moment.earliest and moment.latest:
        bounds = f"between {time_words(moment.earliest, zone)} and {time_words(moment.latest, zone)}"
    elif moment.earliest:
        bounds = f"after {time_words(moment.earliest, zone)}"
    elif moment.latest:
        bounds = f"before {time_words(moment.latest, zone)}"
    else:
        bounds = f"the clock showed {time_words(moment.clock, zone)}"
    return f"at a time when the clock was not known to be right ({bounds})"


def within_words(first: Moment, last: Moment | None, day: Period, zone: ZoneInfo) -> str:
    """Which part of a day: "all day", "from 10:00:00", "until 14:05:09", "from 10:00:00 until 14:05:09"."""
    begins = "" if first.latest is not None and first.latest <= day.begin else _edge("from", first, day, zone)
    ends = "" if last is None or not last.may_be_before(day.end) else _edge("until", last, day, zone)
    return " ".join(part for part in (begins, ends) if part) or "all day"


def _edge(word: str, moment: Moment, day: Period, zone: ZoneInfo) -> str:
    if moment.at is None:
        return f"{word} a time that is not known ({when_words(moment, zone)})"
    return f"{word} {time_words(moment.at, zone).split(' ', 1)[1]}"


def _joined(parts: tuple[str, ...]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"

"""Mails as text: a few lines that somebody reads on a phone, and once a day a digest.

Sentences come from the events' own words where they have some (`sentence`, `problem`), else from the event's name.
Header lines never hold text of others: subjects are made of our own words and of ids.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo
from email.message import EmailMessage
from email.utils import format_datetime

from gateway.domain.events import Event
from gateway.domain.visibility import visible_data
from gateway.outlets.choice import condition_of

__all__ = ["Told", "digest_mail", "events_mail", "line_of", "told_of"]

Told = tuple[str, str]
"""Where and what."""

_SHOWN = 50  # our choice: beyond it a mail says how many more there are


def events_mail(
    events: Sequence[Event], *, site: str, zone: tzinfo, personal: bool, test: bool = False
) -> EmailMessage:
    """One mail about one event or several."""
    mail = EmailMessage()
    first = _title(events[0])
    more = f" and {len(events) - 1} more" if len(events) > 1 else ""
    late = " (found later)" if all(event.late is not None for event in events) else ""
    mail["Subject"] = f"{'[test] ' if test else ''}{site}: {first}{more}{late}"
    lines = [line_of(event, zone=zone, personal=personal) for event in events[:_SHOWN]]
    if len(events) > _SHOWN:
        lines.append(f"... and {len(events) - _SHOWN} more; the event list has all of them.")
    if test:
        lines.append("This is a test; nothing has happened.")
    mail.set_content("\n".join(lines) + "\n")
    return mail


def told_of(event: Event) -> Told:
    """Where and what, as a digest counts it."""
    return event.receiver or "gateway", _title_words(event)


def digest_mail(
    counts: Mapping[Told, int], *, site: str, zone: tzinfo, since: datetime, until: datetime, standing: Sequence[str]
) -> EmailMessage:
    """What happened in a day, counted, and what stands now."""
    mail = EmailMessage()
    mail["Subject"] = f"{site}: digest of {until.astimezone(zone):%Y-%m-%d}"
    lines = [f"From {_clock(since, zone)} to {_clock(until, zone)}:"]
    lines += [f"  {where}: {words}, {_times(count)}" for (where, words), count in sorted(counts.items())]
    if not counts:
        lines.append("  nothing happened.")
    lines += ["", "Now:", *(f"  {each}" for each in standing or ("nothing needs a person.",))]
    mail.set_content("\n".join(lines) + "\n")
    return mail


def line_of(event: Event, *, zone: tzinfo, personal: bool) -> str:
    """One event as a line: when, where, what."""
    data = visible_data(event, personal=personal)
    said = next((str(data[key]) for key in ("sentence", "problem", "summary") if data.get(key)), "")
    words = f"{_title_words(event)}: {said}" if said else _title_words(event)
    when = _clock(event.time, zone) if event.clock_trusted else "at a time not known"
    if event.late is not None:
        when = f"between {_clock(event.late.earliest, zone)} and {_clock(event.late.latest, zone)}, found later"
    return f"{when}, {event.receiver or 'gateway'}: {' '.join(words.split())}"


def _title(event: Event) -> str:
    return f"{event.receiver or 'gateway'}, {_title_words(event)}"


def _title_words(event: Event) -> str:
    condition = condition_of(event.data) if event.name.value.startswith("condition.") else ""
    words = event.name.value.partition(".")[2] if condition else event.name.value.replace(".", " ")
    told = f"{condition.replace('-', ' ')} {words}".strip().replace("_", " ")
    return f"{told} (a test: people work there)" if event.data.get("visit") else told


def _times(count: int) -> str:
    return "once" if count == 1 else "twice" if count == 2 else f"{count} times"


def _clock(time: datetime, zone: tzinfo) -> str:
    return format_datetime(time.astimezone(zone))[5:22] + time.astimezone(zone).strftime(" %z")

"""What one roster changes against another, in words: for the list of edits, and for whoever has just made one.

Pure. Serials name rows; `before → after` names what changed in them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry, Fault, Right, Roster
from gateway.domain.transmitter import write_serial
from gateway.domain.validity import ends

__all__ = ["newly_over", "roster_changes"]

_MOST = 200  # sentences of one edit that are kept; a whole new file is told by its counts beyond them


def roster_changes(before: Roster | None, after: Roster, zone: ZoneInfo) -> tuple[str, ...]:
    """Every difference as a sentence; groups first, then rows in the order of the files. Times are those of `zone`."""
    words = [*_groups(before, after), *_rows(before, after, zone)]
    if len(words) > _MOST:
        return (*words[:_MOST], f"and {len(words) - _MOST} changes more")
    return tuple(words)


def newly_over(before: Roster | None, after: Roster, now: datetime, zone: ZoneInfo) -> Iterator[Fault]:
    """A note for each row whose last moment this change put into the past: most often a year that was mistyped."""
    old = before.by_serial() if before else {}
    for serial, entry in after.by_serial().items():
        until, known = entry.valid_until, old.get(serial)
        if until is None or (known is not None and known.valid_until == until) or now < ends(until, zone):
            continue
        remedy = "write a later day if it is to open; nothing to do if it is to end now"
        yield Fault(
            "roster",
            entry.row,
            "valid_until",
            f"the last moment of {_who(entry)}, {_date(until, zone)}, is over",
            remedy,
        )


def _groups(before: Roster | None, after: Roster) -> Iterator[str]:
    old, new = (before.groups if before else {}), after.groups
    for name in sorted(old.keys() | new.keys()):
        if name not in old:
            yield f"group {name} is new: {_rights(new[name])}"
        elif name not in new:
            yield f"group {name} is gone"
        elif old[name] != new[name]:
            yield f"group {name}: {_rights(old[name])} → {_rights(new[name])}"
    kinds = (before.kinds if before else {}), after.kinds
    for name in sorted(kinds[0].keys() | kinds[1].keys() if before else ()):
        if kinds[0].get(name) != kinds[1].get(name):
            yield f"the positions of kind {name} changed"


def _rows(before: Roster | None, after: Roster, zone: ZoneInfo) -> Iterator[str]:
    old, new = (before.by_serial() if before else {}), after.by_serial()
    for serial, entry in new.items():
        if serial not in old:
            yield f"{_who(entry)}: added, {_access(entry, zone)}"
        else:
            changes = list(_differences(old[serial], entry, zone))
            if changes:
                yield f"{_who(old[serial])}: {'; '.join(changes)}"
    for serial, entry in old.items():
        if serial not in new:
            yield f"{_who(entry)}: removed, had {_access(entry, zone)}"


def _differences(old: Entry, new: Entry, zone: ZoneInfo) -> Iterator[str]:
    for name, before, after in (
        ("holder", old.holder, new.holder),
        ("kind", old.kind, new.kind),
        ("", _source(old), _source(new, after=old)) if old.group != new.group else ("", "", ""),
        ("sites", " ".join(old.sites) or "all", " ".join(new.sites) or "all"),
        ("valid from", _date(old.valid_from, zone), _date(new.valid_from, zone)),
        ("valid until", _date(old.valid_until, zone), _date(new.valid_until, zone)),
        ("note", old.note, new.note),
    ):
        if before != after:
            yield f"{name} {before or 'none'} → {after or 'none'}".lstrip()
    if old.rights != new.rights and old.group == new.group and not old.group:
        yield f"rights {_rights(old.rights)} → {_rights(new.rights)}"
    elif old.rights != new.rights and old.group != new.group:
        yield f"works {_rights(old.rights)} → {_rights(new.rights)}"


def _source(entry: Entry, *, after: Entry | None = None) -> str:
    """Where its rights come from; `group` is said once."""
    if not entry.group:
        return "rights of its own"
    return entry.group if after is not None and after.group else f"group {entry.group}"


def _who(entry: Entry) -> str:
    return f"{entry.holder}, transmitter {write_serial(entry.serial)}"


def _access(entry: Entry, zone: ZoneInfo) -> str:
    until = f" until {_date(entry.valid_until, zone)}" if entry.valid_until else ""
    return f"{f'group {entry.group}' if entry.group else _rights(entry.rights)}{until}"


def _rights(rights: Iterable[Right]) -> str:
    return " ".join(f"{right.position}:{right.receiver}/{right.output}" for right in rights) or "nothing"


def _date(value: date | datetime | None, zone: ZoneInfo) -> str:
    """As a roster file may have it."""
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(sep=" ", timespec="seconds" if value.second else "minutes")
    return "" if value is None else str(value)

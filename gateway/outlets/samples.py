"""Events made up for a test: one for each kind that an outlet takes. Serials and names in them are nobody's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.ports import Sample

__all__ = ["CONDITIONS", "sample_drafts", "samples_for"]

#: A condition for an outlet that takes them all; one that names its conditions is tested with those.
CONDITIONS = ("left-open",)

_DATA: Mapping[EventName, Mapping[str, Any]] = {
    EventName.INPUT_CHANGED: {"input": 1, "name": "gate closed", "violated": True},
    EventName.OUTPUT_CHANGED: {"output": 1, "name": "gate", "closed": True, "origin": "radio"},
    EventName.TRANSMITTER_HEARD: {"serial": "0000000001", "known": True, "position": "1", "outputs": [1], "slot": 1},
    EventName.LINK_LOST: {"state": "silent", "problem": "This is a test.", "remedy": ""},
    EventName.OUTLET_FAILING: {"outlet": "example", "kind": "webhook", "problem": "This is a test.", "disabled": False},
}
_FAMILIES_OF_THE_GATEWAY = ("roster", "clock", "outlet", "gateway", "journal")
_CONDITION_EVENTS = (EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED)
_SOME_DAY = datetime(2026, 3, 2, tzinfo=UTC)


def sample_drafts(receiver: str, conditions: Iterable[str] = CONDITIONS) -> tuple[EventDraft, ...]:
    """One of each name, and one raised and one cleared of each condition."""
    conditions = tuple(conditions)
    drafts: list[EventDraft] = []
    for name in EventName:
        where = "" if name.value.partition(".")[0] in _FAMILIES_OF_THE_GATEWAY else receiver
        if name in _CONDITION_EVENTS:
            drafts += [
                EventDraft(name, where, {"kind": condition, "sentence": "This is a test."}) for condition in conditions
            ]
        else:
            drafts.append(EventDraft(name, where, _DATA.get(name, {})))
    return tuple(drafts)


def samples_for(drafts: Iterable[EventDraft], wants: Callable[[Event], bool]) -> tuple[Sample, ...]:
    """Those that an outlet wants; conditions first, for they are what most are set up for."""
    wanted = [draft for draft in drafts if wants(_event(draft))]
    wanted.sort(key=lambda draft: draft.name not in _CONDITION_EVENTS)
    return tuple(Sample(_words(draft), draft) for draft in wanted)


def _words(draft: EventDraft) -> str:
    condition = draft.data.get("kind") if draft.name in _CONDITION_EVENTS else None
    if condition and draft.data.get("visit"):
        condition += ", while people work there"
    return f"{draft.name.value} ({condition})" if condition else draft.name.value


def _event(draft: EventDraft) -> Event:
    return Event(EventId("test", 1), draft.name, draft.receiver, _SOME_DAY, True, "", 0.0, draft.data)

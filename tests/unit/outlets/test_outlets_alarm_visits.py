"""What a station gets while people work at a site.

601 (manual test, RX) is that of the table of an independent receiver (pysiaalarm); 607 (walk test) is ANSI/SIA DC-05's.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from pysiaalarm.data.adm_mapping import ADM_MAPPING

from gateway.domain.events import Event, EventId, EventName
from gateway.outlets.alarm.codes import DEFAULT_CODES, VISIT_TEST, coded


def contact_id(name: EventName, **data: Any) -> str | None:
    """The payload for an event with these data; None when nothing is reported."""
    event = Event(EventId("m1", 1), name, "slip-gate", datetime(2026, 3, 2, tzinfo=UTC), True, "b", 0.0, data)
    found = coded(event, DEFAULT_CODES)
    return found.contact_id(1, 12) if found else None


@pytest.mark.parametrize(
    ("name", "data", "wanted"),
    [
        (EventName.CONDITION_RAISED, {"condition": "tamper"}, "1137 01 012"),
        (EventName.CONDITION_RAISED, {"condition": "tamper", "visit": True}, "1601 01 012"),
        (EventName.CONDITION_CLEARED, {"condition": "tamper", "visit": True}, None),
        (EventName.CONDITION_CLEARED, {"condition": "tamper"}, "3137 01 012"),
        (EventName.SETTINGS_CHANGED, {"visit": True}, "1601 01 012"),
        (EventName.LINK_LOST, {"visit": True}, "1601 01 012"),
        (EventName.LINK_RESTORED, {"visit": True}, "3330 01 012"),
        (EventName.VISIT_STARTED, {}, "1607 01 000"),
        (EventName.VISIT_ENDED, {}, "3607 01 000"),
        (EventName.INPUT_CHANGED, {"visit": True}, None),
    ],
)
def test_alarms_become_tests_and_ends_stay(name: EventName, data: dict[str, Any], wanted: str | None) -> None:
    """What had been reported before they came is ended in earnest; what had no code still has none."""
    assert contact_id(name, **data) == wanted


def test_the_test_is_one_for_an_independent_receiver() -> None:
    """Its table knows 601 as a manual test."""
    code = DEFAULT_CODES[VISIT_TEST]
    assert ADM_MAPPING[str(code.event)]["1"] == code.sia

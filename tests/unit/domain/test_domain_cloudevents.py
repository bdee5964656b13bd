"""Events as CloudEvents 1.0."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

from gateway.domain.cloudevents import cloud_event, write_time
from gateway.domain.events import Event, EventId, EventName, Span

_TIME = datetime(2026, 3, 2, 8, 0, 0, 250_000, tzinfo=UTC)
_EVENT = Event(
    id=EventId("k3v9", 1207),
    name=EventName.TRANSMITTER_HEARD,
    receiver="slip-gate",
    time=_TIME,
    clock_trusted=True,
    boot_id="b",
    monotonic_s=5.0,
    data={"serial": "0048231907", "holder": "Berth 12", "deep": [{"words": "Berth 12 came", "slot": 3}]},
)


def test_all_attributes_and_the_data() -> None:
    """CloudEvents 1.0, section 3.1: id, source, specversion and type are there; the JSON format's own names."""
    assert cloud_event(_EVENT, gateway_id="fennel quay/1", personal=True) == {
        "specversion": "1.0",
        "id": "k3v9-1207",
        "source": "/gateways/fennel%20quay%2F1",
        "type": "local.gatepost.transmitter.heard",
        "time": "2026-03-02T08:00:00.250Z",
        "subject": "slip-gate",
        "datacontenttype": "application/json",
        "data": dict(_EVENT.data),
    }


def test_names_are_left_out_at_any_depth() -> None:
    """Without the scope for it nothing that may name a person is left, and everything else is."""
    data = cloud_event(_EVENT, gateway_id="q", personal=False)["data"]
    assert data == {"serial": "0048231907", "deep": [{"slot": 3}]}


def test_what_somebody_wrote_about_a_revocation_is_personal() -> None:
    """Its reason may name a person; a reason elsewhere is a word of ours, and a count of holders names nobody."""
    lifted = replace(_EVENT, name=EventName.REVOCATION_LIFTED, data={"reason": "Berth 12 found it", "serial": "1"})
    assert cloud_event(lifted, gateway_id="q", personal=False)["data"] == {"serial": "1"}
    fetched = replace(_EVENT, name=EventName.ROSTER_FETCHED, data={"reason": "timetable", "holders": 5})
    assert cloud_event(fetched, gateway_id="q", personal=False)["data"] == {"reason": "timetable", "holders": 5}


def test_no_time_while_the_clock_is_not_trusted() -> None:
    """CloudEvents 1.0: time is optional; a guess would be worse than none."""
    assert "time" not in cloud_event(replace(_EVENT, clock_trusted=False), gateway_id="q", personal=True)


def test_the_gateway_s_own_events_have_no_subject() -> None:
    """Subject is the receiver; an empty one is left out, since CloudEvents wants it non-empty."""
    assert "subject" not in cloud_event(replace(_EVENT, receiver=""), gateway_id="q", personal=True)


def test_a_late_event_says_when_it_can_have_happened() -> None:
    """Late is not live: the span stands in the data."""
    late = replace(_EVENT, late=Span(_TIME - timedelta(hours=2), _TIME))
    assert cloud_event(late, gateway_id="q", personal=True)["data"]["late"] == {
        "earliest": "2026-03-02T06:00:00.250Z",
        "latest": "2026-03-02T08:00:00.250Z",
    }


def test_times_are_utc() -> None:
    """RFC 3339 with Z, whatever zone the value is in."""
    there = _TIME.astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert write_time(there) == "2026-03-02T08:00:00.250Z"

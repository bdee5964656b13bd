"""Domain values keep everything through JSON, and what is not a value is never taken for one."""

from __future__ import annotations

import contextlib
import dataclasses
import json
from datetime import UTC, datetime, timedelta, timezone
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, Plan, PlanState
from gateway.domain.receiver import Limits, OutputMode, ReceiverSettings, RingPlace, Slot
from gateway.domain.revocation import Revocation
from gateway.domain.snapshot import Snapshot
from gateway.store.codec import CodecFault, canonical, decode, encode, from_micros, parse, to_micros
from tests.fakes.store_samples import IDENTITY, LIMITS, MORNING, a_mirror, a_plan, a_slot

texts = st.text(max_size=20)
numbers = st.integers(0, 2**32 - 1)
times = st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC))
slots = st.builds(
    Slot,
    number=st.integers(1, 1024),
    serial=numbers,
    kind=st.integers(0, 255),
    outputs=st.lists(st.frozensets(st.integers(1, 8)), max_size=8).map(tuple),
    name=texts,
    flags=st.integers(0, 65535),
    opaque=st.binary(max_size=16),
)
receiver_settings = st.none() | st.builds(
    ReceiverSettings, st.lists(numbers, max_size=8).map(tuple), st.booleans(), st.booleans()
)
mirrors = st.builds(
    Mirror,
    receiver=texts,
    identity=st.just(IDENTITY),
    limits=st.just(LIMITS),
    revision=numbers,
    slots=st.lists(slots, max_size=6).map(lambda found: {slot.number: slot for slot in found}),
    block_crcs=st.lists(numbers, max_size=4).map(tuple),
    settings=receiver_settings,
    cursor=st.none() | st.builds(RingPlace, numbers, numbers),
    confirmed=st.booleans(),
)
changes = st.builds(Change, before=st.none() | slots, after=st.none() | slots, slot=st.integers(1, 1024), words=texts)
plans = st.builds(
    Plan,
    id=texts,
    created=times,
    changes=st.lists(changes, max_size=4).map(tuple),
    wire_s=st.floats(0, 1e6),
    left_out=st.lists(texts, max_size=3).map(tuple),
    state=st.sampled_from(PlanState),
)
snapshots = st.builds(
    Snapshot,
    id=texts,
    taken=times,
    limits=st.builds(Limits, numbers, numbers),
    slots=st.lists(slots, max_size=4).map(tuple),
    settings=receiver_settings,
    output_modes=st.none() | st.lists(st.sampled_from(OutputMode), max_size=8).map(tuple),
)
revocations = st.builds(Revocation, serial=numbers, asked_by=texts, reason=texts, time=times)


@settings(deadline=None)  # a busy machine is no fault
@given(st.one_of(slots, mirrors, plans, snapshots, revocations))
def test_every_value_comes_back_from_its_text_as_it_was(value: Any) -> None:
    """Whatever is kept is read back equal, down to empty positions at the end and maker bytes."""
    assert decode(type(value), parse(canonical(encode(value)))) == value


@settings(deadline=None)  # a busy machine is no fault
@given(mirrors)
def test_equal_values_have_one_text(mirror: Mirror) -> None:
    """The order in which slots were added does not show, so that equal mirrors are not written again."""
    turned = dataclasses.replace(mirror, slots=dict(reversed(list(mirror.slots.items()))))
    assert canonical(encode(turned)) == canonical(encode(mirror))


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=12,
)


@settings(deadline=None)  # a busy machine is no fault
@given(st.sampled_from([Slot, Mirror, Plan, Snapshot, Revocation, RingPlace]), json_values)
def test_other_json_is_refused_and_never_crashes(kind: type, plain: Any) -> None:
    """JSON of another shape is a fault of the one kind that callers expect."""
    with pytest.raises(CodecFault):
        decode(kind, plain)


@settings(deadline=None)  # a busy machine is no fault
@given(st.sampled_from(["number", "serial", "kind", "outputs", "name", "opaque"]), json_values)
def test_a_field_of_the_wrong_type_names_its_place(field: str, plain: Any) -> None:
    """A damaged field is either still a value of its type, or a fault that names the field."""
    document = {**encode(a_slot(1)), field: plain}
    with contextlib.suppress(CodecFault):
        assert isinstance(decode(Slot, document), Slot)
        return
    with pytest.raises(CodecFault, match=field):
        decode(Slot, document)


def test_true_is_no_number() -> None:
    """JSON's true is not taken for a 1."""
    with pytest.raises(CodecFault, match=r"Slot\.number"):
        decode(Slot, {**encode(a_slot(1)), "number": True})


def test_a_value_written_by_another_version_is_read() -> None:
    """A field that is missing takes its default, one that is unknown is passed over."""
    document = encode(a_plan())
    del document["reason"]
    plan = decode(Plan, {**document, "since_next_year": 1})
    assert plan == a_plan()


def test_a_missing_field_without_default_is_a_fault() -> None:
    """What can't be guessed is not guessed."""
    document = encode(a_mirror())
    del document["revision"]
    with pytest.raises(CodecFault, match="revision missing"):
        decode(Mirror, document)


def test_times_are_kept_as_utc_and_never_naive() -> None:
    """A time in another zone is the same instant; a naive one is refused on the way in and out."""
    berlin = MORNING.astimezone(timezone(timedelta(hours=1)))
    revocation = Revocation(1, "harbour office", "lost", berlin)
    assert encode(revocation)["time"] == "2026-03-02T08:00:00+00:00"
    with pytest.raises(ValueError, match="without a zone"):
        encode(dataclasses.replace(revocation, time=MORNING.replace(tzinfo=None)))
    with pytest.raises(CodecFault, match="without a zone"):
        decode(Revocation, {**encode(revocation), "time": "2026-03-02T08:00:00"})


@settings(deadline=None)  # a busy machine is no fault
@given(times)
def test_microseconds_are_exact(time: datetime) -> None:
    """No instant is rounded."""
    assert from_micros(to_micros(time)) == time


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {1, 2}, object(), b"x"])
def test_what_is_not_plain_json_is_refused(value: object) -> None:
    """NaN, sets, bytes and objects of ours never reach an event's data."""
    with pytest.raises((TypeError, ValueError)):
        canonical({"value": value})


def test_canonical_text_is_sorted_ascii_without_blanks() -> None:
    """The form that checksums and chains are taken over; lone surrogates too are only escapes."""
    text = canonical(MappingProxyType({"b": [1, 2.5], "a": "Å\ud800"}))
    assert text == '{"a":"\\u00c5\\ud800","b":[1,2.5]}'
    assert json.loads(text)["b"] == [1, 2.5]


def test_no_text_of_ours_is_too_deep() -> None:
    """A damaged line that nests without end is a fault, no crash."""
    with pytest.raises(CodecFault):
        parse("[" * 200_000)

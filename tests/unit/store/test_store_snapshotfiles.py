"""Snapshot files: as documented, whole, never overwritten, refused when damaged."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.receiver import OutputMode, Slot
from gateway.domain.snapshot import Snapshot
from gateway.errors import NotFound, Refused
from gateway.store.opening import Store
from gateway.store.snapshotfiles import _from_document, read_document, to_document
from tests.fakes.store_samples import IDENTITY, LIMITS, MORNING, a_mirror, a_slot


def snapshot(number: int = 1, receiver: str = "slip-gate") -> Snapshot:
    return Snapshot(
        id=f"20260302T080000Z-{number:03d}-{receiver}",
        receiver=receiver,
        taken=MORNING,
        clock_trusted=True,
        reason="plan",
        identity=IDENTITY,
        limits=LIMITS,
        revision=7,
        slots=(a_slot(1), a_slot(40)),
        block_crcs=(0, 2**32 - 1),
        settings=a_mirror().settings,
        output_modes=(OutputMode.TIMED, OutputMode.LATCHING),
    )


def schema() -> Any:
    return json.loads((files("gateway.store") / "snapshot.schema.json").read_text(encoding="utf-8"))


async def test_a_snapshot_comes_back_as_it_was(store: Store) -> None:
    """Also one of a receiver with neither settings nor modes known; the file is for its owner alone."""
    bare = dataclasses.replace(snapshot(2), settings=None, output_modes=None, slots=(), block_crcs=())
    for taken in (snapshot(), bare):
        path = await store.snapshots.write(taken)
        assert path.name == f"{taken.id}.json"
        assert path.stat().st_mode & 0o777 == 0o600
        assert await store.snapshots.read(taken.id) == taken


async def test_the_file_is_as_the_schema_says(store: Store) -> None:
    """The shipped schema is itself valid (draft 2020-12), and what is written fits it."""
    jsonschema.Draft202012Validator.check_schema(schema())
    document = json.loads((await store.snapshots.write(snapshot())).read_bytes())
    validate(document)
    assert document["slots"][0]["serial"] == "0048231901"
    for field in list(document):
        with pytest.raises(jsonschema.ValidationError):
            validate({name: value for name, value in document.items() if name != field})


def validate(document: Any) -> None:
    jsonschema.validate(document, schema(), cls=jsonschema.Draft202012Validator)


@settings(deadline=None)  # a busy machine is no fault
@given(
    st.lists(
        st.builds(
            Slot,
            number=st.integers(1, 1024),
            serial=st.integers(0, 2**32 - 1),
            kind=st.integers(0, 255),
            outputs=st.lists(st.frozensets(st.integers(1, 8)), max_size=8).map(tuple),
            name=st.text(max_size=16),
            flags=st.integers(0, 65535),
            opaque=st.binary(max_size=8),
        ),
        max_size=5,
    )
)
def test_any_slots_fit_the_schema_and_come_back(slots: list[Slot]) -> None:
    """Every serial, empty positions, names of any letters, maker bytes."""
    taken = dataclasses.replace(snapshot(), slots=tuple(slots))
    document = json.loads(json.dumps(to_document(taken)))
    validate(document)
    assert _from_document(document, taken.id) == taken


async def test_the_checksum_is_as_documented(store: Store) -> None:
    """The recipe of docs/snapshots.md, step by step."""
    document = json.loads((await store.snapshots.write(snapshot())).read_bytes())
    stated = document.pop("sha256")
    text = json.dumps(document, sort_keys=True, separators=(",", ":"))
    assert hashlib.sha256(text.encode()).hexdigest() == stated


async def test_nothing_in_it_can_hold_a_password(store: Store) -> None:
    """Only that one is set is known."""
    content = (await store.snapshots.write(snapshot())).read_text(encoding="ascii")
    assert [key for key in keys(json.loads(content)) if "password" in key] == ["password_set"]


def keys(plain: Any) -> list[str]:
    if isinstance(plain, dict):
        return [*plain, *(key for value in plain.values() for key in keys(value))]
    return [key for value in plain for key in keys(value)] if isinstance(plain, list) else []


async def test_every_flipped_byte_is_refused(store: Store) -> None:
    """Damage anywhere in what the file says never reaches a receiver."""
    path = await store.snapshots.write(dataclasses.replace(snapshot(), slots=(a_slot(1),), block_crcs=()))
    content = path.read_bytes()
    for place in range(0, len(content), 7):
        damaged = bytearray(content)
        damaged[place] ^= 0x02
        path.write_bytes(damaged)
        if whitespace_alone(content, bytes(damaged)):
            continue
        with pytest.raises(Refused) as refused:
            await store.snapshots.read(path.stem)
        assert refused.value.code in ("snapshot-damaged", "snapshot-too-new"), place


def whitespace_alone(before: bytes, after: bytes) -> bool:
    """True when the JSON says the same as before."""
    try:
        return bool(json.loads(before) == json.loads(after))
    except ValueError:
        return False


async def test_a_cut_file_and_one_under_another_name_are_refused(store: Store) -> None:
    """A restore never begins with half a memory, nor with another receiver's by mistake."""
    path = await store.snapshots.write(snapshot())
    content = path.read_bytes()
    await store.snapshots.write(snapshot(2))
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(Refused, match="damaged"):
        await store.snapshots.read(snapshot().id)
    path.with_name(f"{snapshot(3).id}.json").write_bytes(content)
    with pytest.raises(Refused, match="another name"):
        await store.snapshots.read(snapshot(3).id)


async def test_a_file_of_a_later_version_is_left_to_its_program(store: Store) -> None:
    """Not taken for damage."""
    path = await store.snapshots.write(snapshot())
    path.write_text(path.read_text(encoding="ascii").replace('"version": 1', '"version": 2'), encoding="ascii")
    with pytest.raises(Refused) as refused:
        await store.snapshots.read(snapshot().id)
    assert refused.value.code == "snapshot-too-new"


async def test_newest_first_and_of_one_receiver(store: Store) -> None:
    """`gate` is not `slip-gate`; other files in the folder are passed over."""
    assert await store.snapshots.list() == ()
    taken = [snapshot(1), snapshot(2, "gate"), snapshot(3)]
    for one in taken:
        path = await store.snapshots.write(one)
    path.with_name("notes.json").write_text("{}", encoding="ascii")
    assert await store.snapshots.list() == tuple(one.id for one in reversed(taken))
    assert await store.snapshots.list("slip-gate") == (taken[2].id, taken[0].id)
    assert await store.snapshots.list("gate") == (taken[1].id,)


async def test_a_snapshot_is_never_overwritten(store: Store) -> None:
    """The same id again is refused, and the first stays."""
    await store.snapshots.write(snapshot())
    with pytest.raises(Refused) as refused:
        await store.snapshots.write(dataclasses.replace(snapshot(), revision=8))
    assert refused.value.code == "snapshot-exists"
    assert (await store.snapshots.read(snapshot().id)).revision == 7


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "20260302T080000Z-001-a/b", "nothing"])
async def test_an_id_is_never_a_path(store: Store, name: str) -> None:
    """Nothing outside the folder can be read or written by an id."""
    with pytest.raises(NotFound):
        await store.snapshots.read(name)
    with pytest.raises(Refused) as refused:
        await store.snapshots.write(dataclasses.replace(snapshot(), id=name))
    assert refused.value.code == "snapshot-id"


async def test_what_was_half_written_is_not_listed(store: Store, folder: Path) -> None:
    """A temporary file of a power cut is no snapshot, and does not hinder the next."""
    await store.snapshots.write(snapshot())
    (folder / "snapshots" / f"{snapshot(2).id}.json.part").write_bytes(b"{")
    assert await store.snapshots.list() == (snapshot().id,)
    await store.snapshots.write(snapshot(2))
    assert await store.snapshots.read(snapshot(2).id) == snapshot(2)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe", "it is not UTF-8 text"),
        (b'{"format":\n "gatepost-snapshot" "version": 1}', "not JSON: it can't be read on from line 2, column 22"),
        (b"[" * 100_000, "lists stand too deep in one another"),
        (b"[]", "("),
        (b"{}", "("),
        (b'{"format": "gatepost-snapshot", "version": 1}', "this key is needed and missing"),
    ],
)
def test_a_file_that_is_none_is_told_in_our_words(content: bytes, said: str) -> None:
    """Whoever imports it reads neither Python's words nor a parser's."""
    with pytest.raises(Refused) as caught:
        read_document(content)
    assert said in caught.value.message
    for foreign in ("codec", "Expecting", "delimiter", "char ", "NoneType", "recursion", "subscript", "KeyError", "''"):
        assert foreign not in caught.value.message

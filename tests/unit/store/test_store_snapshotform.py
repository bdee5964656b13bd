"""Snapshot files from outside: whoever reads them by the schema and whoever reads them here agree."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.receiver import OutputMode
from gateway.domain.snapshot import Snapshot
from gateway.errors import Refused
from gateway.store.snapshotfiles import _checksum, read_document, to_document
from gateway.store.snapshotform import form_fault
from tests.fakes.store_samples import IDENTITY, LIMITS, MORNING, a_mirror, a_slot

SCHEMA = json.loads((files("gateway.store") / "snapshot.schema.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def a_document() -> dict[str, Any]:
    return to_document(
        Snapshot(
            id="20260302T080000Z-001-slip-gate",
            receiver="slip-gate",
            taken=MORNING,
            clock_trusted=True,
            reason="plan",
            identity=IDENTITY,
            limits=LIMITS,
            revision=7,
            slots=(a_slot(1), a_slot(40)),
            block_crcs=tuple(range(32)),
            settings=a_mirror().settings,
            output_modes=(OutputMode.TIMED,) * 4,
        )
    )


def places(plain: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a document."""
    below: list[tuple[Any, ...]] = []
    if isinstance(plain, dict):
        below = [place for key, value in plain.items() for place in places(value, (*path, key))]
    elif isinstance(plain, list):
        below = [place for key, value in enumerate(plain[:2]) for place in places(value, (*path, key))]
    return [path, *below] if path else below


PLACES = places(a_document())
ODD: tuple[Any, ...] = (None, True, -1, 0, 2**32, 1.5, "", "x", "0" * 64, [], [[]], {}, [1, 1], [[1, 1]], ["timed"])


def spoil(document: dict[str, Any], place: tuple[Any, ...], change: Callable[[Any, Any], None]) -> None:
    holder: Any = document
    for step in place[:-1]:
        holder = holder[step]
    change(holder, place[-1])


@settings(deadline=None, max_examples=400)
@given(st.sampled_from(PLACES), st.one_of(st.sampled_from(ODD), st.just("<gone>"), st.just("<more>")))
def test_schema_and_reader_agree(place: tuple[Any, ...], odd: Any) -> None:
    """A field spoilt, missing or added anywhere: both take it, or neither does."""
    document = copy.deepcopy(a_document())

    def change(holder: Any, key: Any) -> None:
        if odd == "<gone>":
            del holder[key]
        elif odd == "<more>":
            holder.append(holder[key]) if isinstance(holder, list) else holder.__setitem__("surplus", 1)
        else:
            holder[key] = odd

    spoil(document, place, change)
    assert bool(form_fault(document)) == (not VALIDATOR.is_valid(document)), (place, odd, form_fault(document))


def signed(document: dict[str, Any]) -> bytes:
    plain = {name: value for name, value in document.items() if name != "sha256"}
    return json.dumps({**plain, "sha256": _checksum(plain)}).encode()


def test_an_untouched_file_comes_in() -> None:
    """In any layout: the checksum is over what it says."""
    document = a_document()
    assert to_document(read_document(json.dumps(document, indent=3).encode())) == document
    assert to_document(read_document(signed(document))) == document


@pytest.mark.parametrize(
    ("place", "value", "words"),
    [
        (("slots", 1, "number"), 1, "rising order"),
        (("slots", 1, "number"), 2000, "beyond its own limit"),
        (("slots", 0, "serial"), "0000000000", "no transmitter can have"),
        (("slots", 0, "serial"), "4294967296", "no transmitter can have"),
        (("slots", 0, "outputs"), [[], []], "works nothing"),
        (("block_crcs",), [1, 2], "2 block CRCs for 32 blocks"),
        (("limits", "block_slots"), 0, "no slots"),
        (("settings", "on_times_s"), [5], "1 on-times for 4 outputs"),
        (("receiver",), "slip\u001b[31m", "can't be printed"),
    ],
)
def test_what_contradicts_itself_is_refused(place: tuple[Any, ...], value: Any, words: str) -> None:
    """Though the schema and the checksum are content."""
    document = a_document()
    spoil(document, place, lambda holder, key: holder.__setitem__(key, value))
    assert VALIDATOR.is_valid(document)
    with pytest.raises(Refused, match=words) as refused:
        read_document(signed(document))
    assert refused.value.code == "snapshot-damaged"


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff", b'{"format": "gatepost-snapshot", "version": 1}'])
def test_rubbish_is_refused(content: bytes) -> None:
    """Never a trace, always words."""
    with pytest.raises(Refused):
        read_document(content)

"""Page cursors."""

from __future__ import annotations

import base64

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.api.cursors import read_number, read_text, write_cursor
from gateway.api.faults import RequestFault


@given(st.integers(min_value=0, max_value=2**63 - 1), st.text(max_size=50))
def test_what_was_written_is_read(number: int, text: str) -> None:
    """Any place survives the round trip."""
    assert read_number("slots", write_cursor("slots", number)) == number
    assert read_text("plans", write_cursor("plans", text)) == text


@given(st.text(max_size=60))
def test_garbage_is_refused(text: str) -> None:
    """Whatever somebody makes up is a fault of the request, never a crash."""
    with pytest.raises(RequestFault) as fault:
        read_number("slots", text)
    assert fault.value.code == "cursor-invalid"


@pytest.mark.parametrize(
    "inside",
    [b"[]", b'["slots"]', b'["slots",true]', b'["slots",-1]', b'["slots",1e3]', b"[" * 5000, b'["slots",9e99]'],
)
def test_made_up_content_is_refused(inside: bytes) -> None:
    """Valid base64 of something else is refused too."""
    with pytest.raises(RequestFault):
        read_number("slots", base64.urlsafe_b64encode(inside).decode().rstrip("="))


def test_a_cursor_belongs_to_its_list() -> None:
    """A cursor of one list is not read by another, nor a text as a number."""
    for read, cursor in (
        (read_number, write_cursor("audit", 5)),
        (read_number, write_cursor("slots", "5")),
        (read_text, write_cursor("slots", 5)),
        (read_number, write_cursor("slots", 2**63)),
    ):
        with pytest.raises(RequestFault):
            read("slots", cursor)

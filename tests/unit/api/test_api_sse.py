"""Writing server-sent events."""

from __future__ import annotations

import pytest

from gateway.api.sse import HEARTBEAT, OPENING, block


def test_a_block_is_id_event_data_and_a_blank_line() -> None:
    """WHATWG HTML 9.2.5: one field a line, a blank line at the end, UTF-8."""
    assert block("k3-7", "input.changed", {"place": "Fähre"}) == (
        'id: k3-7\nevent: input.changed\ndata: {"place":"Fähre"}\n\n'.encode()
    )


def test_line_ends_in_data_stay_inside_json() -> None:
    """A name with line ends can't begin another field."""
    written = block("k3-7", "x.y", {"note": "a\nid: 9\r\rdata: z\u2028"})
    assert written.count(b"\n") == 4
    assert b"\r" not in written


@pytest.mark.parametrize("bad", ["a\nb", "a\rb", "a\0b"])
def test_ids_and_names_stand_on_one_line(bad: str) -> None:
    """WHATWG HTML 9.2.6: an id with NUL would be ignored by the client."""
    with pytest.raises(ValueError, match="one line"):
        block(bad, "x.y", {})
    with pytest.raises(ValueError, match="one line"):
        block("k3-7", bad, {})


def test_comments_dispatch_nothing() -> None:
    """Opening and heartbeat end no block: no blank line stands in them."""
    for comment in (OPENING, HEARTBEAT):
        assert comment.startswith(b":")
        assert b"\n\n" not in comment
        assert comment.endswith(b"\n")

"""Entity tags compare as RFC 9110 says."""

from __future__ import annotations

import pytest

from gateway.api.etags import make_tag, matches_strong, matches_weak, parse, require_match
from gateway.api.faults import RequestFault


@pytest.mark.parametrize(
    ("one", "other", "strong", "weak"),
    [
        ('W/"1"', 'W/"1"', False, True),
        ('W/"1"', 'W/"2"', False, False),
        ('W/"1"', '"1"', False, True),
        ('"1"', '"1"', True, True),
    ],
)
def test_comparison_table(one: str, other: str, strong: bool, weak: bool) -> None:
    """RFC 9110, section 8.8.3.2, the table, read both ways round."""
    for header, tag in ((one, other), (other, one)):
        assert matches_strong(header, tag) is strong
        assert matches_weak(header, tag) is weak


@pytest.mark.parametrize(
    ("header", "tags"),
    [
        ('"xyzzy"', ['"xyzzy"']),
        ('W/"xyzzy"', ['W/"xyzzy"']),
        ('""', ['""']),
        ('"xyzzy", "r2d2xxxx", "c3piozzzz"', ['"xyzzy"', '"r2d2xxxx"', '"c3piozzzz"']),
        ('W/"xyzzy", W/"r2d2xxxx", W/"c3piozzzz"', ['W/"xyzzy"', 'W/"r2d2xxxx"', 'W/"c3piozzzz"']),
        ('"a,b" , "c"', ['"a,b"', '"c"']),
        ("*", ["*"]),
        ("xyzzy", None),
        ('w/"x"', None),
        ('"a" "b"', None),
        ('"a', None),
        ("", None),
    ],
)
def test_lists_of_tags_are_read(header: str, tags: list[str] | None) -> None:
    """RFC 9110, 8.8.3 and 13.1.1: the examples printed there, and what is no list of tags."""
    assert parse(header) == tags


def test_a_star_matches_whatever_stands_there() -> None:
    """RFC 9110, 13.1.1 and 13.1.2."""
    assert matches_strong("*", '"1"')
    assert matches_weak("*", 'W/"1"')


def test_tags_tell_different_things_apart() -> None:
    """Two different lists of parts never give one tag, even when their texts run together alike."""
    assert make_tag("a", 1) == make_tag("a", 1)
    assert make_tag("a", "b1") != make_tag("ab", "1")


def test_a_write_must_say_what_it_starts_from() -> None:
    """No If-Match is 428, another tag 412 with the tag of now, the right one passes."""
    with pytest.raises(RequestFault) as missing:
        require_match(None, '"1"')
    assert missing.value.code == "precondition-required"
    with pytest.raises(RequestFault) as stale:
        require_match('"0", W/"1"', '"1"')
    assert stale.value.code == "precondition-failed"
    assert stale.value.headers == {"ETag": '"1"'}
    require_match('"0", "1"', '"1"')

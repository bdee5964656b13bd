"""Words for values that don't fit: every kind of finding that checks of documents can have is put into words.

The kinds are those of pydantic's documentation ("Validation Errors"), taken here from its own list.
"""

from __future__ import annotations

from typing import Any, get_args

import pytest
from pydantic_core.core_schema import ErrorType

from gateway.domain.wrong_value import show_kind, show_value, tell_key, tell_value


@pytest.mark.parametrize(
    ("kind", "limits", "found", "said"),
    [
        ("int_type", {}, "19200", "“19200” stands here; write a whole number without quotes"),
        ("bool_type", {}, "yes", "“yes” stands here; write true or false"),
        ("int_from_float", {}, 5.5, "5.5 stands here; write a whole number"),
        ("literal_error", {"expected": "'N', 'E' or 'O'"}, "even", "“even” stands here; write 'N', 'E' or 'O'"),
        ("literal_error", {"expected": "True"}, 1, "1 stands here; write true"),
        ("less_than_equal", {"le": 247}, 248, "248 is too large; write at most 247"),
        ("greater_than", {"gt": 0.0}, -0.5, "-0.5 is too small; write more than 0"),
        ("greater_than_equal", {"ge": 1}, 10**200, "a number with very many digits is too small; write at least 1"),
        ("too_short", {"min_length": 1}, [], "at least one is needed"),
        ("too_short", {"min_length": 2}, [1], "at least 2 are needed"),
        ("too_long", {"max_length": 4}, [1] * 5, "these are too many; write at most 4"),
        ("string_too_long", {"max_length": 8}, "longer than 8", "it is too long; write at most 8 characters"),
        ("date_from_datetime_parsing", {}, "2026-02-30", "“2026-02-30” stands here; write a day of the calendar as"),
        ("missing", {}, {}, "this key is needed and missing"),
        ("extra_forbidden", {}, 3, "unknown key; take it out"),
        ("value_error", {}, 3, "the rule's own words"),
        ("model_type", {}, [], "a list stands here; a table is needed"),
    ],
)  # fmt: skip
def test_what_is_said(kind: str, limits: dict[str, Any], found: object, said: str) -> None:
    """What stands there, and what to write instead."""
    assert tell_key(kind, limits, found, "Value error, the rule's own words").startswith(said)


def test_many_choices_are_not_all_told() -> None:
    """The nearest are, and how many there are."""
    expected = ", ".join(f"'berth-{number}'" for number in range(40))
    told = tell_value("enum", {"expected": expected}, "berth-1x", quotes=False)
    assert told is not None
    assert told.startswith("“berth-1x” stands here; write one of 40 words, such as berth-1 or berth-")


def test_what_is_shown_is_safe_to_print() -> None:
    """No control characters, no line breaks, no marks that turn the writing round, and never a page of it."""
    shown = show_value("a\x1b[31m\nb\u202ec" + "x" * 500)
    assert shown.isprintable()
    assert len(shown) < 80


@pytest.mark.parametrize(
    ("found", "shown"),
    [
        ("boat-hoist", "a text of 10 characters"), ("x", "a text of 1 character"), ("", "an empty text"),
        (None, "null"), (True, "true or false"), (12345678, "a number"), ([1], "a list"), ({"a": 1}, "an object"),
    ],
)  # fmt: skip
def test_a_kind_names_no_value(found: object, shown: str) -> None:
    """What may be a secret in the wrong place is not repeated."""
    assert show_kind(found) == shown


@pytest.mark.parametrize("kind", get_args(ErrorType))
def test_no_finding_is_told_in_foreign_words(kind: str) -> None:
    """Whatever pydantic can find, its own message is never what is said, but for the rules of our own."""
    foreign = "Input should be a valid string"
    assert (foreign in tell_key(kind, {}, "x", f"Value error, {foreign}")) == (kind == "value_error")

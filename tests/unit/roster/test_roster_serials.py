"""The serial column: read right, or refused with what to write."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.roster.cells import Wrong
from gateway.roster.serials import read_serial


@pytest.mark.parametrize(
    "text",
    ["0048231907", "48231907", "48231907.0", "48231907,00", "48 231 907", '="0048231907"', "'0048231907"],
)
def test_one_reading(text: str) -> None:
    """Lost zeros, a number cell's decimal, blanks between thousands and both ways to keep zeros."""
    assert read_serial(text) == 48231907


@pytest.mark.parametrize(("text", "serial"), [("1", 1), ("4294967295", 4294967295), ("0000000001", 1)])
def test_the_ends_of_the_range(text: str, serial: int) -> None:
    """An unsigned 32-bit number that isn't 0."""
    assert read_serial(text) == serial


@pytest.mark.parametrize(
    ("text", "found", "remedy"),
    [
        ("", "no serial", "digits printed"),
        ("4.82E+07", "rounded by the spreadsheet", "format the column as text"),
        ("4,8231907e7", "rounded by the spreadsheet", "format the column as text"),
        ("0", '"0"', "0 is no transmitter"),
        ("4294967296", "above 4294967295", "digits printed"),
        ("00482319071", "11 digits", "up to ten"),
        ("48231907 48231911", "16 digits", "up to ten"),
        ("48.231", "other characters", "0000048231"),
        ("48.231.907", "other characters", "0048231907"),
        ("0048 231 907", "other characters", "0048231907"),
        ("-48231907", "other characters", "0048231907"),
        ("48231907.5", "other characters", "if that is printed"),
        ("4823190A", "no serial", "digits printed"),
        ("٤٨٢٣١٩٠٧", "no serial", "digits printed"),
        ("0x2DFF", "no serial", "digits printed"),
    ],
)
def test_refused(text: str, found: str, remedy: str) -> None:
    """Everything else is refused, with what was found and what to write."""
    wrong = read_serial(text)
    assert isinstance(wrong, Wrong)
    assert found in wrong.found
    assert remedy in wrong.remedy


@given(st.text(alphabet="0123456789 .,'=\"E+-", max_size=14))
def test_never_another_number(text: str) -> None:
    """Whatever is accepted has the digits of the text, in their order, apart from zeros at its two ends."""
    serial = read_serial(text)
    if isinstance(serial, int):
        digits = "".join(character for character in text if character.isdigit())
        assert digits.lstrip("0").startswith(str(serial))
        assert set(digits.lstrip("0")[len(str(serial)) :]) <= {"0"}
        assert 0 < serial < 2**32

"""What is trimmed and what is refused in a single cell, and the guard against formulas."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.spreadsheet import guard, unguard
from gateway.roster.cells import Wrong, clean, column_letter, near_matches, show


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        ("  Berth 12\t", "Berth 12"),
        ("\u00a0Berth\u00a012\u202f", "Berth 12"),
        ("\ufeffBerth 12", "Berth 12"),
        ("Berth\u200b 12", "Berth 12"),
        ("Berth  12", "Berth 12"),
        ("Berth\r\n12", "Berth 12"),
        ("A\u030ase", "Åse"),
        ("می‌خواهم", "می‌خواهم"),
        ("", ""),
    ],
)
def test_stray_blanks_go(raw: str, text: str) -> None:
    """Blanks of every kind are trimmed and counted once; letters are composed; joiners inside of words stay."""
    assert clean(raw) == text


@pytest.mark.parametrize("character", ["\0", "\x1b", "\x90", "\u202e", "\u2066", "\u200f", "\u061c", "\ufffd"])
def test_what_shows_as_something_else_is_refused(character: str) -> None:
    """NUL, control and bidirectional characters and lost letters are refused and made visible."""
    wrong = clean(f"Berth{character}12")
    assert isinstance(wrong, Wrong)
    assert f"U+{ord(character):04X}" in wrong.found
    assert character in ("\ufffd",) or character not in wrong.found
    assert wrong.remedy


@pytest.mark.parametrize("text", ["#N/A", "#REF!", "#NAME?", "#VALUE!", "#DIV/0!", "########"])
def test_a_failed_formula_is_refused(text: str) -> None:
    """What a spreadsheet shows instead of a value is not a name."""
    assert isinstance(clean(text), Wrong)


def test_a_number_sign_alone_is_a_name() -> None:
    """`#12` is how people write a berth."""
    assert clean("#12") == "#12"


def test_a_document_in_a_cell_is_refused() -> None:
    """Longer than a name or a note can be."""
    assert isinstance(clean("a" * 1001), Wrong)
    assert clean("a" * 1000) == "a" * 1000


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_the_guard_against_formulas(start: str) -> None:
    """OWASP, "CSV Injection": these seven starts get a leading apostrophe, and lose it when read back."""
    assert guard(f"{start}1") == f"'{start}1"
    assert unguard(guard(f"{start}1")) == f"{start}1"


@given(st.text().filter(lambda text: not text.startswith("'")))
def test_a_guarded_name_survives_the_round_trip(text: str) -> None:
    """Names that begin with a minus come back as they were."""
    assert unguard(guard(text)) == text


def test_other_apostrophes_are_the_names_own() -> None:
    """`'t Hooft` keeps its apostrophe."""
    assert unguard("'t Hooft") == "'t Hooft"
    assert guard("'t Hooft") == "'t Hooft"


@pytest.mark.parametrize(("index", "letter"), [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA")])
def test_column_letters(index: int, letter: str) -> None:
    """As spreadsheets count columns (common practice, no source)."""
    assert column_letter(index) == letter


def test_near_matches_name_what_looks_alike() -> None:
    """A typing error brings up the name that was meant; something else brings up nothing."""
    assert near_matches("berth-holdrs", ["berth-holders", "staff"]) == ' (did you mean "berth-holders"?)'
    assert near_matches("xyz", ["berth-holders"]) == ""


def test_shown_text_is_short_and_visible() -> None:
    """A message never carries a long or an invisible text."""
    assert show("a\u202eb") == '"a<U+202E>b"'
    assert len(show("a" * 500)) == 62

"""Names that somebody may have meant."""

from __future__ import annotations

import pytest

from gateway.domain.nearest import nearest_names, nearest_words

_HOLDERS = ("Berth 12", "Berth 120", "Berth 121", "Berth 1200", "Barge crew", "Harbour office", "")


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("berth 12", ["Berth 12", "Berth 120", "Berth 121"]),
        ("Harbor office", ["Harbour office"]),
        ("  HARBOUR ", ["Harbour office"]),
        ("barge", ["Barge crew"]),
        ("Brth 1200", ["Berth 1200"]),
        ("Slipway", []),
        ("Berth 9", []),
        ("berth 012", ["Berth 12"]),
        ("", []),
    ],
)
def test_who_may_be_meant(text: str, meant: list[str]) -> None:
    """A part of the name, or a slip of the pen; never a name that has nothing to do with it."""
    assert nearest_names(text, _HOLDERS) == meant


def test_in_words() -> None:
    """A question before the remedy, or nothing."""
    assert nearest_words("Harbor office", _HOLDERS) == "Did you mean Harbour office? "
    assert nearest_words("Slipway", _HOLDERS) == ""

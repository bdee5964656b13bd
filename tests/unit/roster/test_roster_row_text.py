"""A row that is handed over is read back by the roster's own reader as what it was."""

from __future__ import annotations

import csv
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.roster import Entry, Right
from gateway.errors import Refused
from gateway.roster import RosterFileReader
from gateway.roster.row_text import CsvRowForm

FORM = CsvRowForm()
READER = RosterFileReader(ZoneInfo("Europe/London"), None)
RIGHTS = (Right("car-park", "2", "barrier"), Right("slip-gate", "1", "gate"))


def read_back(entry: Entry) -> Entry:
    check = READER.check(f"{FORM.header}\n{FORM.write(entry)}\n".encode(), None, None)
    assert check.roster is not None, check.faults
    assert check.warnings == ()
    return check.roster.entries[0]


def test_all_columns() -> None:
    """Serial with its zeros, rights, sites and dates."""
    entry = Entry(
        2, 48231911, "Harbour office", "two-button", "", RIGHTS, ("fennel-quay",), date(2026, 4, 1),
        date(2026, 10, 31), "spare",
    )  # fmt: skip
    cells = next(csv.reader([FORM.write(entry)]))
    assert cells[:4] == ["0048231911", "Harbour office", "two-button", ""]
    assert set(cells[4].split()) == {"1:slip-gate/gate", "2:car-park/barrier"}
    assert cells[5:] == ["fennel-quay", "2026-04-01", "2026-10-31", "spare"]
    assert read_back(entry) == entry


def test_with_a_group_the_group_counts() -> None:
    """Its rights are not written out: they would no longer be the group's."""
    row = FORM.write(Entry(0, 48231950, "Berth 40", group="berth-holders", rights=RIGHTS))
    assert row == "0048231950,Berth 40,,berth-holders,,,,,"


@given(
    st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=30),
    st.sampled_from(["", "=", "+", "-", "@", '"', "'", ";", ","]),
)
def test_any_holder_comes_back_as_it_was_and_is_no_formula(text: str, before: str) -> None:
    """Quotes, separators and what a spreadsheet would calculate."""
    entry = Entry(2, 48231950, before + text, rights=RIGHTS)
    try:
        row = FORM.write(entry)
    except Refused:
        return  # characters that no roster can have
    assert not next(csv.reader([row]))[1].startswith(("=", "+", "-", "@"))
    assert FORM.write(read_back(entry)) == row


def test_rights_that_can_not_be_read() -> None:
    """With what to write instead."""
    assert FORM.read_rights("2:car-park/barrier 1:slip-gate/gate") == RIGHTS
    with pytest.raises(Refused) as refused:
        FORM.read_rights("slip-gate/gate")
    assert refused.value.code == "rights-malformed"
    assert "1:slip-gate/gate" in refused.value.remedy

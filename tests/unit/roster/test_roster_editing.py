"""Roster files edited piece by piece: what is meant changes, all else stays as it stands there."""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.roster import Roster
from gateway.domain.spreadsheet import unguard
from gateway.errors import GatepostError, NotFound, Refused
from gateway.ports import (
    AddRow,
    ChangeRow,
    PutGroup,
    ReceiverFacts,
    RemoveGroup,
    RemoveRow,
    RenameGroup,
    RosterEdit,
    RosterPair,
)
from gateway.roster import RosterFileReader
from gateway.roster.editing import FileEditor

FACTS = (ReceiverFacts("slip-gate", {1: "gate", 2: "boat-hoist"}), ReceiverFacts("car-park", {1: "barrier"}))
ROSTER = (
    b"serial;Holder;x_boat;group;rights;note\r\n"
    b"48231907;Berth 12;Heron;berth-holders;;\r\n"
    b"\r\n"
    b'0048231911;"Harbour; office";;;1:slip-gate/gate;"said ""yes"""\r\n'
)
GROUPS = b"""# who may what
[groups.berth-holders]   # most
slip-gate = { 1 = ["gate"] }  # the slip

[kinds.pair]
positions = ["1", "2", "1+2"]

[labels.slip-gate]
0048231907 = "B 12"
48231911 = ""
"""
PAIR = RosterPair(ROSTER, GROUPS)
BERTH, OFFICE = 48_231_907, 48_231_911


def read(pair: RosterPair) -> Roster:
    found = RosterFileReader(ZoneInfo("UTC")).check(pair.roster, pair.groups, FACTS)
    assert not found.faults
    assert found.roster is not None
    return found.roster


def edited(*edits: RosterEdit, pair: RosterPair | None = PAIR) -> RosterPair:
    return FileEditor().edit(pair, read(pair) if pair else None, edits)


def test_one_cell_changes_and_the_rest_stays() -> None:
    """Columns of one's own, the order of rows, quotes; the separator becomes a comma."""
    done = edited(ChangeRow(BERTH, {"note": 'a "spare", kept'}))
    assert done.roster.decode().splitlines() == [
        "serial,Holder,x_boat,group,rights,note",
        '48231907,Berth 12,Heron,berth-holders,,"a ""spare"", kept"',
        '0048231911,Harbour; office,,,1:slip-gate/gate,"said ""yes"""',
    ]
    assert done.groups == GROUPS


def test_a_column_that_is_needed_is_added() -> None:
    """For all rows; an empty text needs none."""
    done = edited(ChangeRow(BERTH, {"valid_until": "2026-10-31", "sites": ""}))
    assert done.roster.decode().splitlines()[0] == "serial,Holder,x_boat,group,rights,note,valid_until"
    assert str(read(done).by_serial()[BERTH].valid_until) == "2026-10-31"


def test_adding_begins_with_nothing() -> None:
    """The first transmitter of all makes the file."""
    done = edited(AddRow(77, {"holder": "=Barge", "rights": "1:slip-gate/gate"}), pair=None)
    assert done.groups is None
    assert read(done).entries[0].holder == "=Barge"
    assert b"'=Barge" in done.roster


def test_group_and_own_rights_exclude_each_other() -> None:
    """Whoever joins a group has its rights; whoever gets their own leaves it."""
    joined = read(edited(ChangeRow(OFFICE, {"group": "berth-holders"}))).by_serial()[OFFICE]
    assert (joined.group, [right.output for right in joined.rights]) == ("berth-holders", ["gate"])
    left = read(edited(ChangeRow(BERTH, {"rights": "2:slip-gate/boat-hoist"}))).by_serial()[BERTH]
    assert (left.group, [right.output for right in left.rights]) == ("", ["boat-hoist"])


def test_a_copy_is_of_rights_as_they_are_now() -> None:
    """A later change of the other's group is not followed."""
    copied = edited(AddRow(77, {"holder": "Barge crew"}, copy_of=BERTH))
    later = edited(PutGroup("berth-holders", {"car-park": {"2": ["barrier"]}}), pair=copied)
    rows = read(later).by_serial()
    assert [right.output for right in rows[BERTH].rights] == ["barrier"]
    assert [right.output for right in rows[77].rights] == ["gate"]
    assert rows[77].group == ""


def test_groups_are_put_renamed_and_removed_beside_comments() -> None:
    """Everybody in a renamed group follows."""
    done = edited(
        PutGroup("hoist crew", {"slip-gate": {"1": ["gate"], "1+2": ["boat-hoist", "2"]}}),
        RenameGroup("Berth-Holders", "berths"),
        ChangeRow(OFFICE, {"group": "hoist crew", "kind": "pair"}),
    )
    assert b"# who may what" in (done.groups or b"")
    roster = read(done)
    assert set(roster.groups) == {"hoist crew", "berths"}
    assert roster.by_serial()[BERTH].group == "berths"
    assert {right.position for right in roster.by_serial()[OFFICE].rights} == {"1", "1+2"}
    moved = edited(ChangeRow(BERTH, {"group": "hoist crew"}), RemoveGroup("berths"), pair=done)
    assert set(read(moved).groups) == {"hoist crew"}


def test_a_new_holder_ends_what_receivers_kept_as_name() -> None:
    """Of this transmitter alone; so does taking it out. A note doesn't."""
    assert tomllib.loads((edited(ChangeRow(BERTH, {"holder": "Berth 13"})).groups or b"").decode())["labels"] == {
        "slip-gate": {"48231911": ""}
    }
    assert b"48231911" not in (edited(RemoveRow(OFFICE)).groups or b"")
    assert edited(ChangeRow(BERTH, {"note": "x"})).groups == GROUPS


@pytest.mark.parametrize(
    ("edit", "code"),
    [
        (AddRow(BERTH, {"holder": "x"}), "serial-known"),
        (ChangeRow(1, {"note": "x"}), "not-found"),
        (RemoveRow(1), "not-found"),
        (AddRow(77, {"holder": "x"}, copy_of=1), "not-found"),
        (RenameGroup("nobody", "x"), "not-found"),
        (RemoveGroup("nobody"), "not-found"),
        (RemoveGroup("Berth-holders"), "group-in-use"),
    ],
)
def test_what_can_not_be(edit: RosterEdit, code: str) -> None:
    """Refused with what to do."""
    with pytest.raises((NotFound, Refused)) as told:
        edited(edit)
    assert (told.value.code, bool(told.value.remedy)) == (code, True)


def test_renaming_onto_another_group_is_refused() -> None:
    """Two groups never become one by a name."""
    two = edited(PutGroup("crew", {"slip-gate": {"1": ["gate"]}}))
    with pytest.raises(Refused, match="already"):
        edited(RenameGroup("crew", "BERTH-holders"), pair=two)


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)
GROUP_NAMES = st.sampled_from(["berth-holders", "crew", "a.b", 'q"x'])
EDITS = st.lists(
    st.one_of(
        st.builds(
            lambda serial, holder, note: AddRow(
                serial, {"holder": holder, "note": note, "rights": "1:slip-gate/gate"}
            ),
            st.integers(1, 9), WORDS, WORDS,
        ),
        st.builds(lambda serial, note: ChangeRow(serial, {"note": note}), st.integers(1, 9), WORDS),
        st.builds(lambda serial, holder: ChangeRow(serial, {"holder": holder}), st.integers(1, 9), WORDS),
        st.builds(lambda serial, group: ChangeRow(serial, {"group": group}), st.integers(1, 9), GROUP_NAMES),
        st.builds(RemoveRow, st.integers(1, 9)),
        st.builds(
            lambda name, outputs: PutGroup(name, {"slip-gate": {"1": outputs}}),
            GROUP_NAMES, st.lists(st.sampled_from(["gate", "2"]), min_size=1, unique=True),
        ),
    ),
    max_size=12,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(EDITS)
def test_any_edits_leave_everybody_else_alone(edits: Sequence[RosterEdit]) -> None:
    """One after another, each either does what it says to its own row or group, or is refused and does nothing."""
    reader, editor = RosterFileReader(ZoneInfo("UTC")), FileEditor()
    pair, roster = PAIR, read(PAIR)
    for edit in edits:
        try:
            after = editor.edit(pair, roster, [edit])
        except GatepostError:
            continue
        found = reader.check(after.roster, after.groups, FACTS).roster
        if found is None:
            continue
        meant = getattr(edit, "serial", None)
        before = {serial: entry for serial, entry in roster.by_serial().items() if serial != meant}
        now = {serial: entry for serial, entry in found.by_serial().items() if serial != meant}
        assert now.keys() == before.keys()
        if not isinstance(edit, PutGroup):
            assert [(e.holder, e.group, e.rights, e.note) for e in now.values()] == [
                (e.holder, e.group, e.rights, e.note) for e in before.values()
            ]
        if isinstance(edit, AddRow | ChangeRow) and "holder" in edit.cells:
            assert found.by_serial()[edit.serial].holder == unguard(unicodedata.normalize("NFC", edit.cells["holder"]))
        pair, roster = after, found

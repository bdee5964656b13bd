"""The revocation list as a text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.errors import SourceRefused
from gateway.ports import ListedRevocation
from gateway.roster.revocation_text import FIRST_LINE, read_revocations

LIST = f"""{FIRST_LINE}
# Fennel Quay and North Yard

0048231907 2026-03-02 lost at the slip
48231911\tgone with the van
LIFT 0048231915 found again
4294967295
"""


@pytest.mark.parametrize("text", [LIST, LIST.replace("\n", "\r\n"), "\ufeff" + LIST, LIST.rstrip("\n")])
def test_lines_become_revocations(text: str) -> None:
    """Zeros are restored; day and reason are one text; comments and blank lines say nothing."""
    assert read_revocations(text.encode()) == (
        (
            ListedRevocation(48231907, "2026-03-02 lost at the slip"),
            ListedRevocation(48231911, "gone with the van"),
            ListedRevocation(48231915, "found again", lift=True),
            ListedRevocation(4294967295, ""),
        ),
        (),
    )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("lost 0048231907", '"lost 0048231907"'),
        ("0048231907,lost", '"0048231907,lost"'),
        ("4.82E+07 lost", "4.82E+07"),
        ("0 lost", "the serial"),
        ("4294967296 lost", "above"),
        ("lift", '"lift"'),
        ("1 again", "stands above already"),
        ("lift 1", "stands above already"),
        ("2 l\u202eost", "U+202E"),
        ("2 " + "x" * 201, "201 characters"),
    ],
)
def test_faulty_lines_are_told_and_the_others_read(line: str, words: str) -> None:
    """A revocation must not wait for the line below it to be mended."""
    entries, (fault,) = read_revocations(f"{FIRST_LINE}\n1 lost\n{line}\n3 lost\n".encode())
    assert [entry.serial for entry in entries] == [1, 3]
    assert (fault.file, fault.row) == ("revocations", 3)
    assert words in fault.found
    assert fault.remedy


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"# revocations\n1 lost\n",
        b"serial,holder\n1,a\n",
        b"1\tBerth 1\n",
        FIRST_LINE.encode() + b"0\n1\n",
        f"{FIRST_LINE}\n1 \xe5".encode("latin-1"),
        f"{FIRST_LINE}\n".encode() + b"".join(b"%d\n" % n for n in range(1, 20_002)),
    ],
)
def test_what_is_no_revocation_list(data: bytes) -> None:
    """A signed roster put in its place would otherwise revoke everybody."""
    with pytest.raises(SourceRefused) as error:
        read_revocations(data)
    assert error.value.remedy


@given(st.text(st.characters(codec="utf-8"), max_size=200))
def test_whatever_follows_the_first_line_is_read_or_told(text: str) -> None:
    """Nothing crashes, and every serial's digits stand in the text."""
    entries, _ = read_revocations(f"{FIRST_LINE}\n{text}".encode())
    for entry in entries:
        assert str(entry.serial) in text

"""Rosters bent by the thousand, in each form: read, or refused with what was found and a remedy; never anything else.

Text is bent by bytes and by what people's files contain; of a workbook the parts inside are bent and packed again,
since a bent archive is refused at its door. GATEPOST_BENT_ROSTERS sets how many; 600 unless told otherwise. A reading
that never ended would meet the limit of time of every test.
"""

from __future__ import annotations

import csv
import io
import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.roster.reader import RosterFileReader
from tests.fakes.workbooks import swap_part, write_ods, write_xlsx

BENT = int(os.environ.get("GATEPOST_BENT_ROSTERS", "600"))
SEED = int(os.environ.get("GATEPOST_BENT_ROSTERS_SEED", "8470"))

VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"
GOOD = (VECTORS / "good.csv").read_bytes()
GROUPS = (VECTORS / "good.toml").read_bytes()
ROWS = list(csv.reader(io.StringIO(GOOD.decode(), newline="")))
READER = RosterFileReader(ZoneInfo("Europe/Berlin"))

#: What turns up in such files, and what has a meaning to some reader of them.
PIECES = tuple(
    piece.encode()
    for piece in (
        *(",", ";", "\t", "\n", "\r\n", '"', "'", '""', "\ufeff", "\u00a0", "\u202e", "\u200b", "\x00", "="),
        *("\x1a", "@", "serial", "holder", "group", "rights", "sites", "valid_until", "#REF!", "NULL", "1e400"),
        *("nan", "-1", "24:00"),
        *("4.82E+07", "0x2DFF4E3", "4294967295", "4294967296", "99999999999999999999999", "31/12/2026", "2026-02-30"),
        *("2026-03-29T02:30", "9999-12-31", "0000-00-00", "1:slip-gate/gate", "1+2:slip-gate/", "::/"),
        *("1:slip-gate/gate " * 40, "<v>", "</v>", "<c t='s'>", "<c r='A0'>", "<row r='-1'>", "&#0;", "&amp;", "<!-- "),
        *("]]>", "<f>", "xml:space='x'", "[groups]", "[kinds.a]", "= {", "[[", "]", "true", "1979-05-27", "inf"),
        *("\\u0000", "positions = ['1+1']"),
    )
)  # fmt: skip


def bent(data: bytes, dice: random.Random) -> bytes:
    """One to four changes: bytes, pieces put in, parts left out, doubled or moved."""
    for _ in range(dice.randint(1, 4)):
        at = dice.randrange(len(data) + 1)
        end = min(len(data), at + dice.choice((1, 1, 5, 40, 400)))
        match dice.randrange(6):
            case 0:
                data = data[:at] + dice.randbytes(dice.randint(1, 3)) + data[at + 1 :]
            case 1 | 2:
                data = data[:at] + dice.choice(PIECES) + data[at:]
            case 3:
                data = data[:at] + data[end:]
            case 4:
                data = data[:end] + data[at:end] * dice.choice((1, 1, 30)) + data[end:]
            case _:
                data = data[:at] + data[end:] + data[at:end]
    return data


def _of_text(dice: random.Random) -> tuple[bytes, bytes]:
    if dice.random() < 0.3:
        return GOOD, bent(GROUPS, dice)
    encoding = dice.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"))
    return bent(GOOD.decode().encode(encoding), dice), GROUPS


def _of_workbook(whole: bytes) -> Callable[[random.Random], tuple[bytes, bytes]]:
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        parts = [name for name in archive.namelist() if name.endswith((".xml", ".rels"))]
    mains = [name for name in parts if "sheet1" in name or "sharedStrings" in name or name == "content.xml"]

    def change(dice: random.Random) -> tuple[bytes, bytes]:
        if dice.random() < 0.1:
            return bent(whole, dice), GROUPS
        part = dice.choice(mains if dice.random() < 0.6 else parts)
        return swap_part(whole, part, lambda content: bent(content, dice)), GROUPS

    return change


FORMS = {
    "text": _of_text,
    "xlsx": _of_workbook(write_xlsx({"people": ROWS})),
    "ods": _of_workbook(write_ods({"people": ROWS})),
}


@pytest.mark.timeout(180 + BENT // 20)
@pytest.mark.parametrize("form", sorted(FORMS))
def test_a_bent_roster_is_read_or_refused(form: str) -> None:
    """A roster, or faults that each say what was found and what to write instead."""
    dice, read = random.Random(f"{form}{SEED}"), 0
    count = BENT // len(FORMS)
    for turn in range(count):
        roster, groups = FORMS[form](dice)
        found = READER.check(roster, groups, None)
        assert (found.roster is None) == bool(found.faults), (SEED, turn)
        assert all(fault.found and fault.remedy for fault in found.faults), (SEED, turn, found.faults)
        if found.roster is not None:
            read += 1
            assert found.roster.entries, (SEED, turn)
            assert all(0 < entry.serial < 1 << 32 and entry.holder.strip() for entry in found.roster.entries)
    assert 0 < read < count

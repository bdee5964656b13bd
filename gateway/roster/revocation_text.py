"""The revocation list: a small text file that is signed and stands beside the roster.

::

    gatepost revocations 1
    # Fennel Quay and North Yard
    0048231907 2026-03-02 lost at the slip
    0048231911 gone with the van
    lift 0048231915 2026-03-05 found again

The first line says what the file is, so that no other signed file can be taken for one. Then each line is a serial,
a day if somebody wants to note it, and a reason; `lift` before the serial takes a revocation of this list back. Blank
lines and lines that begin with `#` say nothing. A serial stands once. The form is ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from gateway.domain.roster import Fault
from gateway.errors import SourceRefused
from gateway.ports import ListedRevocation
from gateway.roster.cells import Wrong, clean, show
from gateway.roster.serials import read_serial

__all__ = ["FIRST_LINE", "read_revocations"]

FIRST_LINE = "gatepost revocations 1"
_MAX_REASON = 200  # our choice: a sentence, for the journal and the page
_MAX_ENTRIES = 20_000  # our choice: four times the largest roster planned for
_LINE_END = re.compile(r"\r\n|\n|\r")
_DIGITS = re.compile(r"[0-9]{1,10}")
_LINE = re.compile(r"(?P<lift>lift[ \t]+)?(?P<serial>[^ \t]+)(?:[ \t]+(?P<reason>.*))?", re.IGNORECASE)


def read_revocations(data: bytes) -> tuple[tuple[ListedRevocation, ...], tuple[Fault, ...]]:
    """All lines that can be read, and all faults. Raises SourceRefused when it is no revocation list at all."""
    try:
        lines = _LINE_END.split(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        remedy = "Save it as UTF-8, sign it again."
        raise SourceRefused("The revocation list is no UTF-8 text.", remedy=remedy) from error
    if lines[0].strip() != FIRST_LINE:
        remedy = f"Let it begin with the line: {FIRST_LINE}"
        raise SourceRefused("The file at the place of the revocation list is none.", remedy=remedy)
    entries: dict[int, ListedRevocation] = {}
    faults: list[Fault] = []
    for number, read in _lines(lines):
        twice = isinstance(read, ListedRevocation) and read.serial in entries
        found = Wrong("a serial that stands above already", "leave one line for each serial") if twice else read
        if isinstance(found, Wrong):
            faults.append(Fault("revocations", number, "", found.found, found.remedy))
        else:
            entries[found.serial] = found
    if len(entries) > _MAX_ENTRIES:
        remedy = "Take out serials that no roster names any more."
        raise SourceRefused(f"The revocation list has more than {_MAX_ENTRIES} serials.", remedy=remedy)
    return tuple(entries.values()), tuple(faults)


def _lines(lines: list[str]) -> Iterator[tuple[int, ListedRevocation | Wrong]]:
    for number, raw in enumerate(lines[1:], 2):
        line = clean(raw)
        if isinstance(line, Wrong):
            yield number, line
        elif line and not line.startswith("#"):
            yield number, _entry(line)


def _entry(line: str) -> ListedRevocation | Wrong:
    match = _LINE.fullmatch(line)
    if match is None or not _DIGITS.fullmatch(match["serial"]):
        return Wrong(f"the line {show(line)}", "write a serial of up to ten digits, then why, such as 0048231907 lost")
    serial = read_serial(match["serial"])
    if isinstance(serial, Wrong):
        return serial
    reason = match["reason"] or ""
    if len(reason) > _MAX_REASON:
        return Wrong(f"a reason of {len(reason)} characters", f"shorten it to {_MAX_REASON}")
    return ListedRevocation(serial, reason, lift=match["lift"] is not None)

"""One row as the text of a roster file: what an enrolment hands over to be added to the central file.

All columns, comma-separated, quoted where needed, safe to open in a spreadsheet. The reader of this room reads it back
as it was.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from gateway.domain.roster import Entry, Right
from gateway.domain.spreadsheet import guard
from gateway.domain.transmitter import BUILT_IN_KINDS, write_serial
from gateway.errors import Refused
from gateway.roster.cells import Wrong, clean
from gateway.roster.columns import COLUMNS
from gateway.roster.rights import read_rights

__all__ = ["CsvRowForm", "write_rights"]

_ANY = BUILT_IN_KINDS["any"].name


def write_rights(rights: Sequence[Right]) -> str:
    """The rights column: `1:slip-gate/gate 2:car-park/barrier`."""
    return " ".join(f"{right.position}:{right.receiver}/{right.output}" for right in sorted(rights))


class CsvRowForm:
    """`ports.RowForm`."""

    @property
    def header(self) -> str:
        return ",".join(COLUMNS)

    def cells(self, entry: Entry) -> dict[str, str]:
        """Texts by column, without the serial, as a person would type them.

        A row with a group names the group alone: its rights are the group's, today and later. Raises Refused with
        `text-unfit` for a holder or a note that no roster can have.
        """
        return {
            "holder": _fit("holder", entry.holder),
            "kind": "" if entry.kind == _ANY else entry.kind,
            "group": entry.group,
            "rights": "" if entry.group else write_rights(entry.rights),
            "sites": " ".join(entry.sites),
            "valid_from": entry.valid_from.isoformat() if entry.valid_from else "",
            "valid_until": entry.valid_until.isoformat() if entry.valid_until else "",
            "note": _fit("note", entry.note),
        }

    def write(self, entry: Entry) -> str:
        """Raises as `cells`."""
        cells = self.cells(entry)
        cells |= {column: guard(cells[column]) for column in ("holder", "note")} | {
            "serial": write_serial(entry.serial)
        }
        text = io.StringIO()
        csv.writer(text, lineterminator="").writerow([cells[column] for column in COLUMNS])
        return text.getvalue()

    def read_rights(self, text: str) -> tuple[Right, ...]:
        rights, wrongs = read_rights(text)
        if wrongs:
            wrong = wrongs[0]
            raise Refused(
                f"The rights have {wrong.found}.", remedy=f"{_sentence(wrong.remedy)}", code="rights-malformed"
            )
        return tuple(rights)


def _fit(column: str, text: str) -> str:
    cleaned = clean(text)
    if isinstance(cleaned, Wrong):
        raise Refused(f"The {column} has {cleaned.found}.", remedy=_sentence(cleaned.remedy), code="text-unfit")
    return cleaned


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."

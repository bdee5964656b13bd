"""Why a workbook as a whole can't be read, raised inside this room and turned into a finding by the reader."""

from __future__ import annotations

from gateway.roster.cells import Wrong

__all__ = ["Unreadable", "broken"]


class Unreadable(Exception):
    """Carries what was found and what to do; never leaves this room."""

    def __init__(self, wrong: Wrong) -> None:
        super().__init__(wrong.found)
        self.wrong = wrong


def broken(what: str) -> Unreadable:
    """A workbook that no spreadsheet program has left like this."""
    return Unreadable(
        Wrong(f"a damaged workbook: {what}", "copy the file again; if that does not help, open and save it anew")
    )

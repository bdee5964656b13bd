"""`gatepost roster template`: an empty roster that spreadsheets open with the right types of columns.

The serial's column is text, so that no zeros are lost and nothing is rounded; `valid_from` and `valid_until` are
dates shown as 2026-10-31. A workbook also has the sheets `groups` and `kinds`, and one that explains the columns,
which is not read. A CSV carries no types; it is only the header.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable
from pathlib import Path

from gateway.errors import Refused
from gateway.roster.columns import COLUMNS
from gateway.roster.groups_sheet import GROUP_COLUMNS, KIND_COLUMNS
from gateway.roster.ods_writing import render_ods
from gateway.roster.sheet_writing import ColumnType, WrittenSheet
from gateway.roster.workbook import GROUPS_SHEET, KINDS_SHEET
from gateway.roster.xlsx_writing import render_xlsx

__all__ = ["TEMPLATE_ENDINGS", "render_template", "write_template"]

_DATES = ("valid_from", "valid_until")
_EXPLAINED = (
    ("serial", "the digits printed on the transmitter, such as 0048231907; always needed"),
    ("holder", "who carries it, a name or a label such as Berth 12; always needed"),
    ("kind", "a kind of transmitter, such as two-button; empty: any"),
    ("group", "a group of the sheet groups; a row needs a group or rights"),
    ("rights", "instead of a group: position:receiver/output, blanks between, such as 1:slip-gate/gate"),
    ("sites", "names of sites with blanks between; empty: all"),
    ("valid_from", "the first day, such as 2026-04-01; empty: at once"),
    ("valid_until", "the last day, which still counts; empty: no end"),
    ("note", "anything"),
    ("x_...", "columns of your own are left alone if their name starts with x_"),
    ("groups: outputs", "one row for each position at each receiver; several outputs with blanks between"),
    ("kinds: positions", "1 to 8, or two pressed together as 1+2, blanks between"),
)


def _sheets() -> tuple[WrittenSheet, ...]:
    types = tuple(ColumnType.DATE if name in _DATES else ColumnType.TEXT for name in COLUMNS)
    text = ColumnType.TEXT
    return (
        WrittenSheet("roster", (COLUMNS,), types),
        WrittenSheet(GROUPS_SHEET, (GROUP_COLUMNS,), (text,) * len(GROUP_COLUMNS)),
        WrittenSheet(KINDS_SHEET, (KIND_COLUMNS,), (text,) * len(KIND_COLUMNS)),
        WrittenSheet("explained", (("column", "what it means"), *_EXPLAINED), (text, text)),
    )


def _csv() -> bytes:
    return codecs.BOM_UTF8 + (",".join(COLUMNS) + "\r\n").encode("ascii")


_RENDERERS: dict[str, Callable[[], bytes]] = {
    ".csv": _csv,
    ".xlsx": lambda: render_xlsx(_sheets()),
    ".ods": lambda: render_ods(_sheets()),
}
TEMPLATE_ENDINGS = tuple(_RENDERERS)


def render_template(ending: str) -> bytes:
    """The bytes of a template, by the ending of its name. Raises Refused for any other ending."""
    renderer = _RENDERERS.get(ending.casefold())
    if renderer is None:
        raise Refused(
            f"There is no template that ends in {ending!r}.",
            remedy=f"Let the file's name end in {', '.join(TEMPLATE_ENDINGS[:-1])} or {TEMPLATE_ENDINGS[-1]}.",
            code="unknown-template",
        )
    return renderer()


def write_template(path: Path) -> None:
    """Write a template to a new file. Raises Refused when it exists or can't be written."""
    content = render_template(path.suffix)
    try:
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError as error:
        remedy = "Choose another name: a template never replaces a file."
        raise Refused(f"{path} exists already.", remedy=remedy, code="file-exists") from error
    except OSError as error:
        remedy = "Choose a folder that you may write to."
        raise Refused(f"{path} can't be written: {error.strerror}.", remedy=remedy, code="file-failed") from error

"""Papers as pages and tables: text stays text, a cell is no formula, nothing outside is asked for."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.api.papers.markup import POLICY
from gateway.api.papers.pages import access_page, handover_page
from gateway.api.papers.spreadsheet import access_csv, handover_csv
from gateway.domain.cautions import CAUTIONS
from gateway.domain.papers import AccessPaper, AccessRow, HandoverPaper, Heading, TransmitterRow
from gateway.domain.spreadsheet import guard

NOON = datetime(2026, 7, 2, 12, 0, tzinfo=UTC)
HEADING = Heading("fennel-quay", NOON, True, "Europe/London", "9f2c6c1e44aa", NOON)
EVIL = "<script>alert(1)</script>\"'&<img src=x onerror=alert(1)>"


def access(holder: str) -> AccessPaper:
    row = AccessRow(holder, "0048231907", ("1", "1+2"), ("gate",), "2026-04-01", "", "works, proven")
    return AccessPaper(HEADING, "slip-gate", holder, (row,))


def handover(holder: str) -> HandoverPaper:
    row = TransmitterRow(holder, "0048231907", holder, holder, "", "", (holder,), holder)
    return HandoverPaper(HEADING, (), (), (), (row,), ())


class Tags(HTMLParser):
    """What a browser would take for tags, attributes and text."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[str] = []
        self.words: list[str] = []
        self.feed(page.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.mark.parametrize("page", [access_page(access(EVIL)), handover_page(handover(EVIL))])
def test_markup_in_a_name_stays_text(page: bytes) -> None:
    """It is there to be read, and is no tag."""
    found = Tags(page)
    assert EVIL in found.words
    assert not {"script", "img", "link", "iframe"} & set(found.tags)
    assert not [name for name in found.attributes if name.startswith("on") or name in ("src", "href")]


@given(st.text(max_size=40))
def test_any_name_comes_back_as_it_was(holder: str) -> None:
    """Whatever people write, a reader of the page and of the table finds the same text."""
    held = holder.replace("\0", "").replace("\r", "")
    if held.strip():
        assert held in "".join(Tags(access_page(access(held))).words)
    rows = list(csv.reader(io.StringIO(access_csv(access(holder)).decode("utf-8-sig"), newline="")))
    assert rows[1][0] in (holder, "'" + holder)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_no_cell_begins_like_a_formula(start: str) -> None:
    """The characters of OWASP's page on CSV Injection; a cell that is harmless is left alone."""
    assert guard(start + "1+1") == "'" + start + "1+1"
    assert guard("Berth 12 = left") == "Berth 12 = left"
    for table in (access_csv(access(start + "SUM(A1)")), handover_csv(handover(start + "SUM(A1)"))):
        rows = csv.reader(io.StringIO(table.decode("utf-8-sig"), newline=""))
        assert not [cell for row in rows for cell in row if cell.startswith(start)]


def test_the_style_sheet_is_the_one_that_the_policy_names() -> None:
    """Nothing else inline is let through (W3C CSP 3): the hash is that of the text between the tags."""
    import base64  # noqa: PLC0415
    import hashlib  # noqa: PLC0415

    (style,) = re.findall(rb"<style>(.*?)</style>", access_page(access("Berth 12")), re.S)
    assert f"'sha256-{base64.b64encode(hashlib.sha256(style).digest()).decode()}'" in POLICY
    assert "unsafe-inline" not in POLICY
    assert b"url(" not in style
    assert b"@import" not in style


def test_a_handover_shows_every_caution_and_room_for_signatures() -> None:
    """Gates hurt people; the times are the site's own."""
    page = handover_page(handover("Berth 12")).decode()
    for caution in CAUTIONS:
        assert caution.replace("&", "&amp;") in page
    assert page.count("date</p>") == 2
    assert "2 July 2026 13:00 BST" in page

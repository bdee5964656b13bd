"""A page of markup, built as a tree: whatever people wrote stays text, for nothing is ever pasted into markup.

The style sheet stands in the page, so that a saved page prints as the served one does; `POLICY` names it by its
SHA-256 (W3C CSP 3, hash-source), and nothing else inline is let through.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from importlib.resources import files
from xml.etree import ElementTree as ET

__all__ = ["POLICY", "add", "page", "table", "write"]

_STYLE = (files("gateway.api") / "papers" / "paper.css").read_text("utf-8")
_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
POLICY = f"default-src 'none'; style-src 'sha256-{_HASH}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def page(title: str) -> tuple[ET.Element, ET.Element]:
    """A whole page and its body's `main`."""
    html = ET.Element("html", lang="en")
    head = add(html, "head")
    add(head, "meta", charset="utf-8")
    add(head, "meta", name="viewport", content="width=device-width, initial-scale=1")
    add(head, "title", title)
    add(head, "style", _STYLE)
    return html, add(add(html, "body"), "main")


def add(parent: ET.Element, tag: str, text: str = "", **attributes: str) -> ET.Element:
    """A new element at the end of `parent`. A trailing underscore of an attribute's name is left out (`class_`)."""
    element = ET.SubElement(parent, tag, {name.rstrip("_"): value for name, value in attributes.items()})
    element.text = text
    return element


def table(parent: ET.Element, caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], empty: str) -> None:
    """A table with a caption and a head that is repeated on each printed page; `empty` in words when it has no row."""
    kept = list(rows)
    if not kept:
        add(parent, "p", empty)
        return
    whole = add(parent, "table")
    add(whole, "caption", caption)
    line = add(add(whole, "thead"), "tr")
    for name in head:
        add(line, "th", name, scope="col")
    body = add(whole, "tbody")
    for row in kept:
        line = add(body, "tr")
        for place, cell in enumerate(row):
            if place == 0:
                add(line, "th", cell, scope="row")
            else:
                add(line, "td", cell)


def write(html: ET.Element) -> bytes:
    """The page as bytes. A style sheet's text is not escaped in HTML, so it must not contain markup; ours does not."""
    return b"<!doctype html>\n" + ET.tostring(html, encoding="unicode", method="html").encode()

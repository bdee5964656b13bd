"""XML read as a stream of events, without a document type: no entities to unfold and nothing to fetch.

Element names lose their prefix (`x:row` is `row`): writers choose it freely. Attribute names keep theirs, so that two
attributes can't pretend to be one. Sources: XML 1.0, 2.8 (document type) and 4.3.3 (encodings); Namespaces in XML 1.0.
"""

from __future__ import annotations

from typing import Protocol
from xml.parsers import expat

from gateway.roster.unreadable import broken

__all__ = ["Events", "read_xml"]

#: Those that expat reads by itself; spreadsheets are written in the first. Others are left to Python's codecs by it,
#: some of which are no encodings of text at all.
_ENCODINGS = frozenset({"utf-8", "utf-16", "utf-16le", "utf-16be", "us-ascii", "iso-8859-1"})


class Events(Protocol):
    """Who is told of what stands in the document."""

    def start(self, name: str, attributes: dict[str, str]) -> None: ...

    def end(self, name: str) -> None: ...

    def text(self, text: str) -> None: ...


def read_xml(data: bytes, part: str, events: Events) -> None:
    """Tell `events` of everything in `data`. `part` names the document in faults. Raises Unreadable."""
    parser = expat.ParserCreate()
    parser.buffer_text = True

    def no_document_type(*_: object) -> None:
        raise broken(f"the part {part} has a document type")

    def known_encoding(_version: str, encoding: str | None, _standalone: int) -> None:
        if encoding is not None and encoding.casefold() not in _ENCODINGS:
            raise broken(f"the part {part} has an encoding that no spreadsheet uses")

    parser.XmlDeclHandler = known_encoding
    parser.StartElementHandler = lambda name, attributes: events.start(name.rpartition(":")[2], attributes)
    parser.EndElementHandler = lambda name: events.end(name.rpartition(":")[2])
    parser.CharacterDataHandler = events.text
    parser.StartDoctypeDeclHandler = no_document_type
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, UnicodeDecodeError) as error:
        raise broken(f"the part {part} is no XML") from error

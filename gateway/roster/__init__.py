"""The central file: fetching, reading, checking.

`http_source` is imported by its own name and only where a roster comes from the web: it brings aiohttp with
it, which a check on the command line has no need to load.
"""

from __future__ import annotations

from gateway.domain.spreadsheet import guard
from gateway.roster.checking import check_document, check_files
from gateway.roster.file_source import FileSource
from gateway.roster.reader import RosterFileReader, roster_digest

__all__ = ["FileSource", "RosterFileReader", "check_document", "check_files", "guard", "roster_digest"]

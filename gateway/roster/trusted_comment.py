"""What the trusted comment of a signature says: `revision: 12 expires: 2026-12-31 file: people.xlsx`.

`revision` is needed: without it an old file with its old signature could come back. `expires` ends the time in which
the file may be fetched anew; a day counts in the site's zone and to its end. `file` ties the signature to a name.
Anything else in the comment is left alone. The form is ours; minisign leaves the comment free.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from gateway.errors import SourceRefused
from gateway.roster.cells import Wrong
from gateway.roster.dates import read_date

__all__ = ["SignedTerms", "read_terms"]

_TERM = re.compile(r"(?<![^\s,;])(revision|expires|file):[ ]*([^\s,;]*)")
_REVISION = re.compile(r"[0-9]{1,15}")


@dataclass(frozen=True, slots=True)
class SignedTerms:
    """`expires` is the first instant at which the file is no longer accepted."""

    revision: int
    expires: datetime | None = None
    file: str | None = None


def read_terms(comment: str, zone: ZoneInfo, what: str) -> SignedTerms:
    """The terms in a verified comment; `what` names the signed file in errors. Raises SourceRefused."""
    terms: dict[str, str] = {}
    for name, value in _TERM.findall(comment):
        if name in terms:
            raise _refused(what, f"says {name}: twice", f"Sign with -t and write {name}: once.")
        terms[name] = value
    revision = terms.get("revision")
    remedy = "Sign with: minisign -S -t 'revision: 12'; the number rises with every change."
    if revision is None:
        raise _refused(what, "says no revision", remedy)
    if not _REVISION.fullmatch(revision):
        raise _refused(what, f"says revision: {revision!r}, which is no whole number", remedy)
    expires = _expiry(terms["expires"], zone, what) if "expires" in terms else None
    return SignedTerms(int(revision), expires, terms.get("file"))


def _expiry(text: str, zone: ZoneInfo, what: str) -> datetime:
    limit = read_date(text, zone)
    if isinstance(limit, Wrong):
        raise _refused(what, f"says expires: {text!r}", f"Sign with -t; {limit.remedy}.")
    if isinstance(limit, datetime):
        return limit
    next_day = limit + timedelta(days=1)
    return datetime(next_day.year, next_day.month, next_day.day, tzinfo=zone).astimezone(UTC)


def _refused(what: str, found: str, remedy: str) -> SourceRefused:
    return SourceRefused(f"The trusted comment of the signature of {what} {found}.", remedy=remedy)

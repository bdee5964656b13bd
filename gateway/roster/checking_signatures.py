"""Whether the files at two paths are signed as a gateway would require it; for `gatepost roster check --public-key`.

Knows no settings and no daemon: the keys are named by whoever checks, as text or as minisign's own `.pub` file. The
clock is this machine's, and is taken as right.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from gateway.domain.roster import Fault
from gateway.errors import SettingsFault, SourceRefused, SourceUnreachable
from gateway.ports import Fetched
from gateway.roster.file_source import read_whole
from gateway.roster.minisign import MAX_SIGNATURE_BYTES, SIGNATURE_ENDING, read_keys
from gateway.roster.signed_source import verify_files
from gateway.roster.trusted_comment import SignedTerms

__all__ = ["check_signatures"]


def check_signatures(
    roster: Path, groups: Path | None, keys: Sequence[str], zone: ZoneInfo, now: datetime
) -> SignedTerms | Fault:
    """What the signatures state, or what is wrong with them. Raises SourceUnreachable, SettingsFault (the keys)."""
    known = read_keys(_key_text(key) for key in keys)
    names = [path.name for path in (roster, groups) if path is not None]
    try:
        fetched = Fetched(
            read_whole(roster),
            read_whole(groups) if groups else None,
            "",
            _signature(roster),
            _signature(groups) if groups else None,
        )
        terms, _ = verify_files(fetched, known, zone, names=names)
    except SourceRefused as fault:
        return Fault(f"{roster.name}{SIGNATURE_ENDING}", 0, "", *_told(fault))
    if terms.expires is not None and now >= terms.expires:
        ended = terms.expires.astimezone(zone).isoformat(sep=" ", timespec="minutes")
        found = f"the signature expired at {ended}"
        remedy = "sign it again with a later day, also if nothing in it has changed"
        return Fault(f"{roster.name}{SIGNATURE_ENDING}", 0, "", found, remedy)
    return terms


def _told(fault: SourceRefused) -> tuple[str, str]:
    """Message and remedy as parts of one sentence, like those of every other fault of a roster."""
    return tuple(text[:1].lower() + text[1:].removesuffix(".") for text in (fault.message, fault.remedy))  # type: ignore[return-value]


def _signature(path: Path) -> bytes | None:
    try:
        return read_whole(path.with_name(path.name + SIGNATURE_ENDING), MAX_SIGNATURE_BYTES)
    except SourceUnreachable:
        return None


def _key_text(given: str) -> str:
    """The key itself; of a `.pub` file its last line."""
    path = Path(given)
    if not given.endswith(".pub") and not path.is_file():
        return given
    try:
        lines = path.read_text("ascii").split("\n")
    except (OSError, UnicodeDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else "it is not plain text"
        raise SettingsFault(
            f"The public key {path} can't be read: {reason}.", remedy="Name minisign's .pub file, or write the key."
        ) from fault
    return next((line.strip() for line in reversed(lines) if line.strip()), "")

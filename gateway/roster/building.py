"""From plain values to a source: a path or a web address, signed or not, roster or revocation list.

What brings the web client or the cryptography library is imported only where the settings ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from gateway.clock import Clock
from gateway.ports import RevocationListSource, RosterSource, Trust
from gateway.roster.file_source import FileSource

if TYPE_CHECKING:
    from gateway.roster.signed_source import SignedSource

__all__ = ["Reach", "Signing", "build_list_source", "build_source"]


@dataclass(frozen=True, slots=True)
class Reach:
    """How web addresses are asked; for paths nothing of it matters. `authorization` is a whole header value."""

    authorization: str | None = None
    ca_file: Path | None = None
    allow_private: bool = False
    allow_loopback: bool = False
    allow_plain_http: bool = False


@dataclass(frozen=True, slots=True)
class Signing:
    """Whose signatures count. With `trust` None the clock is taken as right when signatures expire."""

    public_keys: Sequence[str]
    zone: ZoneInfo
    trust: Trust | None = None


def build_source(
    place: str, groups: str | None, *, reach: Reach, clock: Clock, signing: Signing | None = None
) -> RosterSource:
    """The roster's source; with `signing` its files must be signed. Raises SettingsFault."""
    places = [place] if groups is None else [place, groups]
    if signing is None:
        return _plain(places, reach, clock, "")
    return _signed(places, reach, clock, signing, "the roster")


def build_list_source(place: str, *, reach: Reach, clock: Clock, signing: Signing) -> RevocationListSource:
    """The revocation list's source. Raises SettingsFault."""
    from gateway.roster.revocation_source import ListSource  # noqa: PLC0415 - brings cryptography

    return ListSource(_signed([place], reach, clock, signing, "the revocation list"))


def _signed(places: Sequence[str], reach: Reach, clock: Clock, signing: Signing, what: str) -> SignedSource:
    from gateway.roster.minisign import SIGNATURE_ENDING, read_keys  # noqa: PLC0415 - brings cryptography
    from gateway.roster.signed_source import SignedSource  # noqa: PLC0415 - brings cryptography

    names = [place.partition("?")[0].rpartition("/")[2] for place in places]
    inner = _plain(places, reach, clock, SIGNATURE_ENDING)
    keys = read_keys(signing.public_keys)
    return SignedSource(inner, keys, signing.zone, clock=clock, trust=signing.trust, what=what, names=names)


def _plain(places: Sequence[str], reach: Reach, clock: Clock, ending: str) -> RosterSource:
    """The second place, if any, is the groups file's; `ending` is that of signatures."""
    if not places[0].startswith(("http://", "https://")):
        paths = [Path(place) for place in places]
        return FileSource(*paths, clock=clock, signature_ending=ending)
    from gateway.roster.http_source import HttpSource  # noqa: PLC0415 - brings the web client

    return HttpSource(
        *places,
        authorization=reach.authorization,
        ca_file=reach.ca_file,
        allow_private=reach.allow_private,
        allow_loopback=reach.allow_loopback,
        allow_plain_http=reach.allow_plain_http,
        clock=clock,
        signature_ending=ending,
    )

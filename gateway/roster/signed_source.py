"""A roster source whose files must be signed: nothing that isn't passes.

Each file has its own signature beside it (`.minisig`): the roster, and the groups file, which says as much about who
opens what. Both must state the same revision, so that a new roster can't be paired with old groups. A workbook with
its groups inside needs only one. Whether the revision is newer than the last accepted one, the use case decides,
which knows that one (`Fetched.revision`).

A source that says "not changed" is not the end of it: a signature that has expired since, or a key that the settings
no longer name, is said as well. The tag keeps what is needed for that. While the clock isn't trusted, nothing expires
(rule 7 of the design).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from gateway.clock import Clock
from gateway.errors import SourceRefused
from gateway.ports import Fetched, NotModified, RosterSource, Trust
from gateway.roster.minisign import PublicKey, verify
from gateway.roster.trusted_comment import SignedTerms, read_terms

__all__ = ["SignedSource", "verify_files"]


@dataclass(frozen=True, slots=True)
class _Held:
    """What the tag of a verified answer tells at the next fetch."""

    tag: str
    keys: tuple[str, ...]
    expires: datetime | None


def verify_files(
    fetched: Fetched,
    keys: Sequence[PublicKey],
    zone: ZoneInfo,
    *,
    what: str = "the roster",
    names: Sequence[str] = (),
) -> tuple[SignedTerms, tuple[str, ...]]:
    """The terms that hold for both files, and the names of the keys that signed. Raises SourceRefused.

    `names` are the names of the files, roster and groups, for comments that are tied to one.
    """
    files = [(fetched.roster, fetched.signature, what)]
    if fetched.groups is not None:
        files.append((fetched.groups, fetched.groups_signature, "the groups file"))
    found: list[SignedTerms] = []
    signed_by: list[str] = []
    for place, (content, signature, called) in enumerate(files):
        comment, key = verify(content, signature, keys, called)
        terms = read_terms(comment, zone, called)
        if terms.file is not None and place < len(names) and terms.file != names[place]:
            remedy = f"Put the right signature beside {names[place]}, or sign it again."
            raise SourceRefused(f"The signature of {called} is for a file named {terms.file!r}.", remedy=remedy)
        found.append(terms)
        signed_by.append(key.name)
    if len({terms.revision for terms in found}) > 1:
        numbers = " and ".join(str(terms.revision) for terms in found)
        remedy = "Sign both files with the same revision, also when only one has changed."
        raise SourceRefused(f"Roster and groups are signed with different revisions, {numbers}.", remedy=remedy)
    ends = [terms.expires for terms in found if terms.expires is not None]
    return replace(found[0], expires=min(ends, default=None)), tuple(signed_by)


class SignedSource:
    """Implements `ports.RosterSource` over one that fetches signatures too.

    With `trust` None the clock is taken as it is.
    """

    def __init__(
        self,
        inner: RosterSource,
        keys: Sequence[PublicKey],
        zone: ZoneInfo,
        *,
        clock: Clock,
        trust: Trust | None = None,
        what: str = "the roster",
        names: Sequence[str] = (),
    ) -> None:
        self._inner = inner
        self._keys = tuple(keys)
        self._zone = zone
        self._clock = clock
        self._trust = trust
        self._what = what
        self._names = tuple(names)

    @property
    def place(self) -> str:
        return self._inner.place

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Raises what the inner source raises, and SourceRefused for everything that isn't signed as it must be."""
        held = _read_tag(tag)
        known = {key.name for key in self._keys}
        current = held if held is not None and known.issuperset(held.keys) else None
        answer = await self._inner.fetch(current.tag if current else None)
        if isinstance(answer, NotModified):
            if current is not None:
                self._refuse_expired(current.expires)
            return answer
        terms, signed_by = verify_files(answer, self._keys, self._zone, what=self._what, names=self._names)
        self._refuse_expired(terms.expires)
        kept = _Held(answer.tag, signed_by, terms.expires)
        return replace(answer, tag=_write_tag(kept), revision=terms.revision)

    def _refuse_expired(self, expires: datetime | None) -> None:
        trusted = self._trust is None or self._trust.trusted
        if expires is not None and trusted and self._clock.now() >= expires:
            local = expires.astimezone(self._zone).isoformat(sep=" ", timespec="minutes")
            remedy = "Sign it again with a later day, also if nothing in it has changed."
            raise SourceRefused(f"The signature of {self._what} expired at {local}.", remedy=remedy)


def _write_tag(held: _Held) -> str:
    expires = held.expires.isoformat() if held.expires else ""
    return json.dumps({"signed": held.tag, "keys": held.keys, "expires": expires})


def _read_tag(tag: str | None) -> _Held | None:
    """None for a tag of an unsigned fetch, or a damaged one: then everything is fetched and verified anew."""
    try:
        content = json.loads(tag or "")
        expires = str(content["expires"])
        keys = tuple(str(name) for name in content["keys"])
        return _Held(str(content["signed"]), keys, datetime.fromisoformat(expires) if expires else None)
    except (ValueError, TypeError, KeyError):
        return None

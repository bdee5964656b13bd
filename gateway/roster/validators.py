"""What to ask with next time: the validators of the roster file and of its groups file, as one tag.

A validator belongs to one resource, so it is sent only to the address that gave it. Sources: RFC 9110, 8.8
(validators), 13.1.2 and 13.1.3 (an entity tag goes before a date), 15.4.5 (304).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass

__all__ = ["Validator", "read_tag", "source_digest", "write_tag"]

_ENTITY_TAG = re.compile(r'(W/)?"[\x21\x23-\x7e\x80-\xff]*"')
_MAX_LENGTH = 1000


@dataclass(frozen=True, slots=True)
class Validator:
    """One file as it was fetched: from where, its validators, and a digest of its bytes.

    `source` is a digest of the address, whose query may hold a secret while the tag is stored.
    """

    source: str
    digest: str
    etag: str = ""
    last_modified: str = ""

    @classmethod
    def of(cls, url: str, body: bytes, headers: Mapping[str, str]) -> Validator:
        """Keep what the answer offers, as far as it is well formed."""
        etag = headers.get("ETag", "").strip()
        if len(etag) > _MAX_LENGTH or not _ENTITY_TAG.fullmatch(etag):
            etag = ""
        last_modified = headers.get("Last-Modified", "").strip()
        digest = hashlib.sha256(body).hexdigest()
        return cls(source_digest(url), digest, etag, last_modified if len(last_modified) < 100 else "")

    def conditions(self, url: str) -> dict[str, str]:
        """The header of a conditional request; empty without a validator, or at another address."""
        if source_digest(url) != self.source:
            return {}
        if self.etag:
            return {"If-None-Match": self.etag}
        return {"If-Modified-Since": self.last_modified} if self.last_modified else {}


def source_digest(url: str) -> str:
    """A stand-in for an address, from which the address can't be read."""
    return hashlib.sha256(url.encode("utf-8")).hexdigest()


def write_tag(validators: Mapping[str, Validator]) -> str:
    """One string for both files, by the address in the settings."""
    return json.dumps({key: asdict(validator) for key, validator in validators.items()}, sort_keys=True)


def read_tag(tag: str | None) -> dict[str, Validator]:
    """The validators in a tag; none when it is another source's or damaged, so that everything is fetched."""
    try:
        content = json.loads(tag or "{}")
        return {
            str(key): Validator(**{name: str(text) for name, text in value.items()}) for key, value in content.items()
        }
    except (ValueError, TypeError, AttributeError):
        return {}

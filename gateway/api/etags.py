"""Entity tags and conditional requests (RFC 9110, 8.8.3 and 13.1).

`If-None-Match` compares weakly, `If-Match` strongly: a weak tag never satisfies a write.
"""

from __future__ import annotations

import hashlib
import re

from gateway.api.faults import Place, RequestFault

__all__ = ["make_tag", "matches_strong", "matches_weak", "parse", "require_match"]

_TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"')  # RFC 9110, 8.8.3: entity-tag
_LIST = re.compile(rf"[ \t,]*(?:{_TAG.pattern}[ \t]*(?:,[ \t,]*|$))*")


def make_tag(*parts: object) -> str:
    """A strong tag for a representation that these parts determine."""
    text = "\x00".join(str(part) for part in parts)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:24]}"'


def parse(header: str) -> list[str] | None:
    """The tags of a header, `["*"]` for any; None when the header is malformed."""
    if header.strip() == "*":
        return ["*"]
    return _TAG.findall(header) if _LIST.fullmatch(header.strip()) and header.strip() else None


def matches_weak(header: str, tag: str) -> bool:
    """Whether `If-None-Match` names this tag (8.8.3.2, weak comparison)."""
    tags = parse(header) or []
    return tags == ["*"] or _opaque(tag) in {_opaque(each) for each in tags}


def matches_strong(header: str, tag: str) -> bool:
    """Whether `If-Match` names this tag (8.8.3.2, strong comparison)."""
    tags = parse(header) or []
    return tags == ["*"] or (not tag.startswith("W/") and tag in tags)


def require_match(header: str | None, tag: str) -> None:
    """Refuse a write that was not made from what stands now. `tag` is the tag of what stands now."""
    if header is None:
        raise RequestFault(
            "precondition-required",
            "This change must say what it starts from.",
            remedy="Read it, and send its ETag as If-Match.",
            places=[Place("it is needed and missing", header="If-Match")],
        )
    if parse(header) is None:
        raise RequestFault(
            "request-malformed",
            "If-Match is no list of entity tags.",
            remedy="Send the ETag that was read, with its quotes.",
            places=[Place("this is no entity tag; write one as it was read, with its quotes", header="If-Match")],
        )
    if not matches_strong(header, tag):
        raise RequestFault(
            "precondition-failed",
            "It was changed by somebody else since it was read, or If-Match is not its ETag.",
            remedy="Read it again, look at what changed, and send the new ETag as If-Match.",
            headers={"ETag": tag},
        )


def _opaque(tag: str) -> str:
    return tag.removeprefix("W/")

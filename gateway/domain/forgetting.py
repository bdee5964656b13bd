"""Forgetting one person: what is taken out, and what stays. Pure.

Whoever may be forgotten is on no roster in force any more and in no receiver's memory. Then their name, and the
presses of their transmitters, are taken out of everything that the gateway keeps; serials stay, as numbers that no name
belongs to, and so do revocations. GDPR, Article 17, is why there is such a thing; docs/privacy.md tells it to people.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from gateway.domain.transmitter import write_serial

__all__ = ["FORGOTTEN", "Forgotten", "Redaction"]

#: What stands in a sentence where a name stood.
FORGOTTEN = "(forgotten)"
_SHORTEST = 4  # our choice: shorter names are words of other sentences too often


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was done. `revoked` are those of the serials whose revocation stays in force; the rest are counts.

    `presses` are events of their transmitters; `events`, `plans`, `history`, `ledger` and `snapshots` had a name in
    them and have none now; `audit` are rows whose personal part is gone, `files` copies that were removed whole.
    """

    serials: tuple[int, ...]
    revoked: tuple[int, ...] = ()
    presses: int = 0
    events: int = 0
    plans: int = 0
    history: int = 0
    ledger: int = 0
    snapshots: int = 0
    audit: int = 0
    files: int = 0


class Redaction:
    """Takes names out of plain JSON. An object with one of the serials in it is about them, and so is a text.

    There every name goes. Elsewhere a name goes from sentences (texts with a blank) when it is long enough to be
    nobody else's word; identifiers are never touched.
    """

    def __init__(self, serials: Collection[int], names: Collection[str]) -> None:
        self.serials = frozenset(serials)
        self.names = frozenset(name for name in names if name.strip())
        self._digits = frozenset(write_serial(serial) for serial in serials)
        self._near = _words(self.names)
        self._far = _words(name for name in self.names if len(name) >= _SHORTEST and any(map(str.isalpha, name)))

    def __call__(self, value: Any) -> Any:
        """The same without them."""
        return self._walk(value, near=False)

    def text(self, text: str, *, near: bool = False) -> str:
        """One text; `near` when it is known to be about them."""
        if near or any(digits in text for digits in self._digits):
            return "" if text in self.names else self._sub(self._near, text)
        return self._sub(self._far, text) if " " in text and text not in self.names else self._whole(text)

    def _walk(self, value: Any, *, near: bool) -> Any:
        if isinstance(value, dict):
            about = near or self._is_theirs(value.get("serial"))
            return {key: self._walk(each, near=about) for key, each in value.items()}
        if isinstance(value, list):
            return [self._walk(each, near=near) for each in value]
        return self.text(value, near=near) if isinstance(value, str) else value

    def _is_theirs(self, serial: Any) -> bool:
        return serial in self.serials if isinstance(serial, int) else serial in self._digits

    def _whole(self, text: str) -> str:
        """A text that is a name and has a blank can be no identifier."""
        return "" if " " in text and text in self.names else text

    def _sub(self, words: re.Pattern[str] | None, text: str) -> str:
        return words.sub(FORGOTTEN, text) if words else text


def _words(names: Any) -> re.Pattern[str] | None:
    longest_first = sorted(names, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)") if longest_first else None

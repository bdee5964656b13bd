"""A console whose text can do nothing but be read.

Notes, reasons, names and what servers answer were written by others, and a terminal takes control characters in them
for commands: they could clear the screen, set its title, or show a sentence backwards. Here they show as U+FFFD.
"""

from __future__ import annotations

import unicodedata
from typing import Any

from rich.console import Console

__all__ = ["Screen", "harmless"]

_KEPT = "\n\t"
#: Bidirectional embeddings, overrides and isolates (Unicode Standard Annex 9).
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def harmless(text: str) -> str:
    """The text with U+FFFD for control characters and for what turns its direction."""
    if text.isprintable():
        return text
    return "".join(
        "\ufffd" if each in _TURNING or (unicodedata.category(each) == "Cc" and each not in _KEPT) else each
        for each in text
    )


class Screen(Console):
    """Rich's console; every text that is printed is harmless."""

    def print(self, *objects: Any, **options: Any) -> None:
        super().print(*(harmless(each) if isinstance(each, str) else each for each in objects), **options)

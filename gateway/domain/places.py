"""What a place is called by its identifier, where nobody has given it another name."""

from __future__ import annotations

import re

__all__ = ["place_words"]


def place_words(name: str) -> str:
    """`slip-gate` as people write it, Slip Gate; the status page does the same. Empty stays empty."""
    return " ".join(word[:1].upper() + word[1:] for word in re.split(r"[-_ ]+", name))

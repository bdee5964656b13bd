"""Which names somebody may have meant who wrote one that there is not. Pure; upper and lower case don't matter."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

__all__ = ["nearest_names", "nearest_words"]

_MOST = 3


def nearest_names(text: str, names: Iterable[str]) -> list[str]:
    """At most three: those that the text is a part of first, then those that are written much like it.

    Names with other numbers are not alike: whoever writes Berth 9 does not mean Berth 1.
    """
    by_fold = {name.casefold(): name for name in names if name}
    wanted = text.casefold().strip()
    parts = sorted((fold for fold in by_fold if wanted and wanted in fold), key=len)
    numbered = [fold for fold in by_fold if _numbers(fold) == _numbers(wanted)]
    alike = difflib.get_close_matches(wanted, numbered, n=_MOST, cutoff=0.7)
    return [by_fold[fold] for fold in dict.fromkeys([*parts[:_MOST], *alike])][:_MOST]


def nearest_words(text: str, names: Iterable[str]) -> str:
    """`Did you mean Berth 12 or Berth 120? `, to go before a remedy; empty when nothing is near."""
    found = nearest_names(text, names)
    return f"Did you mean {' or '.join(found)}? " if found else ""


def _numbers(text: str) -> list[int]:
    return [int(digits) for digits in re.findall(r"[0-9]{1,18}", text)]

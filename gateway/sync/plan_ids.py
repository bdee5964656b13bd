"""Names for plans: short, sortable by their making, safe to type.

A `p` and nine digits of Crockford's base 32 (no i, l, o, u) of the wall clock's milliseconds. A clock that steps back
doesn't make ids fall: the next one is then one more than the last.
"""

from __future__ import annotations

from datetime import datetime

__all__ = ["PlanIds"]

_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
_LENGTH = 9


class PlanIds:
    """Rising ids. After a restart `follow` takes over from the newest one kept."""

    def __init__(self) -> None:
        self._last = 0

    def follow(self, plan_id: str) -> None:
        """Go on above an id that was given before; anything else is ignored."""
        if plan_id.startswith("p") and len(plan_id) == _LENGTH + 1 and set(plan_id[1:]) <= set(_DIGITS):
            number = 0
            for digit in plan_id[1:]:
                number = number * 32 + _DIGITS.index(digit)
            self._last = max(self._last, number)

    def next(self, now: datetime) -> str:
        """A new id, above every earlier one."""
        self._last = max(self._last + 1, int(now.timestamp() * 1000))
        number, digits = self._last, ""
        for _ in range(_LENGTH):
            number, digit = divmod(number, 32)
            digits = _DIGITS[digit] + digits
        return f"p{digits}"

"""Which link passwords there are to try, and which are known to be wrong.

A wrong password makes the receiver wait before it takes the next, so each is tried once and then remembered,
until the settings give another or the receiver has started anew. While a change is in doubt (the line was
cut in the middle) the new and the old one are both kept, new first.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from gateway.errors import Refused
from gateway.maps import Block

__all__ = ["Keyring", "PasswordKeeper", "PasswordSupplier", "check_password"]

PasswordSupplier = Callable[[], str | tuple[str, ...]]
"""The link password as the settings have it now, "" for none; or several that may be in force, likeliest first."""

PasswordKeeper = Callable[..., Awaitable[None]]
"""Takes the passwords that may be in force from now on, likeliest first, and returns when they can't be lost."""


class Keyring:
    """The passwords of one receiver. Nothing of it is ever shown."""

    def __init__(self, supplier: PasswordSupplier, keeper: PasswordKeeper | None = None) -> None:
        self._supplier = supplier
        self._keeper = keeper
        self._supplied = self._ask_supplier()
        self._kept: tuple[str, ...] = ()
        self._wrong: set[str] = set()
        self._start = 0

    def candidates(self, start: int) -> tuple[str, ...]:
        """What is worth a try, likeliest first. `start` numbers the receiver's starts; a new one clears the wrong."""
        supplied = self._ask_supplier()
        changed = supplied != self._supplied
        if changed or start != self._start:
            self._wrong.clear()
            self._start = start
        if changed:
            self._supplied = supplied
            self._kept = tuple(kept for kept in self._kept if kept not in supplied)
            order = supplied + self._kept
        else:
            order = self._kept + supplied
        return tuple(word for word in dict.fromkeys(order) if word and word not in self._wrong)

    @property
    def any_known(self) -> bool:
        """Whether there is a password at all, right or wrong."""
        return any(self._kept + self._ask_supplier())

    @property
    def in_doubt(self) -> bool:
        """Whether a change was begun whose end is not known."""
        return len(self._kept) > 1

    def doubt(self, new: str, old: str) -> None:
        """A change begins: both are kept until one is proven."""
        self._kept = (new, old)
        self._wrong -= {new, old}

    def settle(self, password: str) -> None:
        """This one is in force ("" for none)."""
        self._kept = (password,)
        self._wrong.discard(password)

    def refused(self, password: str) -> None:
        """This one is wrong."""
        self._wrong.add(password)

    async def keep(self, *passwords: str) -> None:
        """Have these outlive the process, where somebody keeps them. Raises StoreUnavailable."""
        if self._keeper is not None:
            await self._keeper(*passwords)

    def _ask_supplier(self) -> tuple[str, ...]:
        given = self._supplier()
        return (given,) if isinstance(given, str) else tuple(given)


def check_password(block: Block, new: str) -> None:
    """Raises Refused when the map's field has no room for this password, or it isn't ASCII 0x21 to 0x7E.

    The characters are docs/register-map.md's ("Link password"); other maps get no others (our choice).
    """
    room = block.fields["password"].size_bits // 8
    if len(new.encode("utf-8", "replace")) > room:
        raise Refused(
            f"The link password is longer than the {room} characters that the receiver keeps.",
            remedy=f"Choose one of at most {room} characters.",
            code="password-too-long",
        )
    if not all("!" <= letter <= "~" for letter in new):
        raise Refused(
            "The link password holds blanks, accents or control characters.",
            remedy="Choose plain letters (a to z), digits and signs.",
            code="password-characters",
        )

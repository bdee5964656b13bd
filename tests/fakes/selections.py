"""`ports.Selections` for tests of the API: what a holder or a group has is put there by the test."""

from __future__ import annotations

from gateway.domain.selection import Selected
from gateway.errors import NotFound

__all__ = ["FakeSelections"]


class FakeSelections:
    """By name of a holder or a group."""

    def __init__(self, **serials: tuple[int, ...]) -> None:
        self.kept: dict[str, tuple[int, ...]] = dict(serials)

    def of_holder(self, holder: str) -> tuple[Selected, ...]:
        return self._of(holder)

    def of_group(self, group: str) -> tuple[Selected, ...]:
        return self._of(group)

    def _of(self, name: str) -> tuple[Selected, ...]:
        if name not in self.kept:
            raise NotFound(f"Nobody knows {name}.", remedy="Write another name.")
        return tuple(
            Selected(serial, name, "", True, ("slip-gate",), False, f"{name}, transmitter {serial}.")
            for serial in self.kept[name]
        )

"""Names of outputs, which are the gateway's own; implemented by `sync` (the desk) and `store` (what lasts)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.output_names import OutputNaming

__all__ = ["NameLedger", "NamedOutput", "OutputNameDesk"]


@dataclass(frozen=True, slots=True)
class NamedOutput:
    """One output: what the settings file calls it, what it is called now (both may be empty), and its other names.

    Rosters may write it by any of them, oldest of `former` first, as long as no other output is called so.
    """

    number: int
    in_settings: str
    in_use: str
    former: tuple[str, ...] = ()


class NameLedger(Protocol):
    """What lasts of names that people gave. Survives the database, so that a roster which uses them is still read."""

    async def keep_naming(self, naming: OutputNaming) -> None:
        """In place of what was kept of that receiver. Durable when it returns."""
        ...

    def namings(self) -> dict[str, OutputNaming]:
        """By receiver."""
        ...


class OutputNameDesk(Protocol):
    """Reads and changes what outputs are called, at any kind of receiver and without asking it."""

    def names(self, receiver: str) -> tuple[NamedOutput, ...]:
        """Every output by number. Raises NotFound."""
        ...

    async def rename(
        self,
        receiver: str,
        wanted: Mapping[int, str],
        *,
        asked_by: str,
        basis: Callable[[Sequence[NamedOutput]], None] | None = None,
    ) -> tuple[tuple[NamedOutput, ...], tuple[NamedOutput, ...]]:
        """Call outputs otherwise, all of them or none; an empty name goes back to the settings file's. Before, after.

        `basis` looks at what stands there, while nobody else can change it, and raises where that is not what the
        change was made from.
        In force everywhere when it returns. Raises NotFound, StoreUnavailable, and Refused with `nothing-asked`,
        `no-such-output`, `output-name-unfit`, `output-name-taken`, or `output-name-in-roster` where the roster in
        force would say something else afterwards.
        """
        ...

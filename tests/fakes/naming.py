"""What lasts of names of outputs, in memory."""

from __future__ import annotations

from gateway.domain.output_names import OutputNaming

__all__ = ["MemoryNamings"]


class MemoryNamings:
    """`ports.NameLedger`."""

    def __init__(self) -> None:
        self.kept: list[OutputNaming] = []

    async def keep_naming(self, naming: OutputNaming) -> None:
        self.kept.append(naming)

    def namings(self) -> dict[str, OutputNaming]:
        return {naming.receiver: naming for naming in self.kept}

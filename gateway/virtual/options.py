"""What a virtual receiver is started with. Plain values; reading arguments is the command line's job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gateway.domain.receiver import OutputMode
from gateway.errors import SettingsFault

__all__ = ["VirtualOptions"]

_UNITS = range(1, 248)  # Modbus over Serial Line V1.02, section 2.2


@dataclass(frozen=True, slots=True)
class VirtualOptions:
    """One pseudo-terminal with one or several receivers on it.

    `link` is made a symbolic link to the terminal. `serials` and `names` go with `addresses` in order; what is
    left out is made up from the address. `memory` outlives the process; with several addresses each receiver has
    its own file, the address appended. `modes` are selector positions, output 1 first; what is left out stays
    where the memory had it, `timed` from the factory. `seed` makes noise repeatable. Parity is always none: a
    pseudo-terminal knows no other. Raises SettingsFault for values that can't work.
    """

    link: Path
    addresses: tuple[int, ...] = (1,)
    baud: int = 19200
    paced: bool = False
    map_name: str = "reference"
    memory: Path | None = None
    control: Path | None = None
    scenario: Path | None = None
    serials: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    outputs: int = 4
    inputs: int = 4
    slots: int = 1024
    modes: tuple[OutputMode, ...] = ()
    seed: int = 1
    turnaround_s: float = 0.001
    use_stdin: bool = True
    stop_on_signals: bool = True

    def __post_init__(self) -> None:
        if not self.addresses or len(set(self.addresses)) != len(self.addresses):
            raise SettingsFault("A virtual receiver needs addresses that differ.", remedy="Give each one its own.")
        for address in self.addresses:
            if address not in _UNITS:
                raise SettingsFault(f"{address} is no receiver's address.", remedy="Choose one from 1 to 247.")
        if not 300 <= self.baud <= 4_000_000:
            raise SettingsFault(f"{self.baud} is no usable baud rate.", remedy="Choose one like 9600 or 115200.")
        if not (1 <= self.outputs <= 8 and 1 <= self.inputs <= 8 and 1 <= self.slots <= 1024):
            raise SettingsFault(
                "A virtual receiver can't have that many parts.",
                remedy="Give it 1 to 8 outputs, 1 to 8 inputs and 1 to 1024 slots.",
            )

    def serial_of(self, place: int) -> str:
        """The serial of the receiver at a place of `addresses`."""
        given = self.serials[place] if place < len(self.serials) else ""
        return given or f"VR8-{self.addresses[place]:06d}"

    def name_of(self, place: int) -> str:
        """The name that commands may use for it, beside its address; empty when none was given."""
        return self.names[place] if place < len(self.names) else ""

    def memory_of(self, place: int) -> Path | None:
        """The file of its memory; None when it forgets with the process."""
        if self.memory is None or len(self.addresses) == 1:
            return self.memory
        return self.memory.with_name(f"{self.memory.name}.{self.addresses[place]}")

"""What a virtual receiver is started with. Plain values; reading arguments is the command line's job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gateway.domain.receiver import OutputMode
from gateway.domain.snapshot import Snapshot
from gateway.errors import SettingsFault

__all__ = ["VirtualOptions", "rehearsal_serial"]

_UNITS = range(1, 248)  # Modbus over Serial Line V1.02, section 2.2


_SERIAL_BYTES = 16
_REHEARSAL = "-R"


def rehearsal_serial(serial: str) -> str:
    """The serial of a stand-in: the real one, shortened where needed, and a mark, so that nobody takes it for it."""
    return serial.encode()[: _SERIAL_BYTES - len(_REHEARSAL)].decode(errors="ignore") + _REHEARSAL


@dataclass(frozen=True, slots=True)
class VirtualOptions:
    """One pseudo-terminal with one or several receivers on it.

    `link` is made a symbolic link to the terminal. `serials` and `names` go with `addresses` in order; what is
    left out is made up from the address. `snapshot` is what a receiver that starts with an empty memory holds; its
    limits count then. `memory` outlives the process; with several addresses each receiver has
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
    snapshot: Snapshot | None = None

    def __post_init__(self) -> None:
        if not self.addresses or len(set(self.addresses)) != len(self.addresses):
            raise SettingsFault("A virtual receiver needs addresses that differ.", remedy="Give each one its own.")
        for address in self.addresses:
            if address not in _UNITS:
                raise SettingsFault(f"{address} is no receiver's address.", remedy="Choose one from 1 to 247.")
        if self.snapshot is not None and len(self.addresses) > 1:
            raise SettingsFault("A snapshot is of one receiver.", remedy="Give one address with --from-snapshot.")
        if not 300 <= self.baud <= 4_000_000:
            raise SettingsFault(f"{self.baud} is no usable baud rate.", remedy="Choose one like 9600 or 115200.")
        limits = self.snapshot.limits if self.snapshot is not None else None
        if limits is not None and not (1 <= limits.outputs <= 8 and 1 <= limits.inputs <= 8 and limits.slots <= 1024):
            raise SettingsFault(
                "The snapshot is of a larger receiver than can be played.",
                remedy="Only receivers of up to 8 outputs, 8 inputs and 1024 slots can.",
            )
        if not (1 <= self.outputs <= 8 and 1 <= self.inputs <= 8 and 1 <= self.slots <= 1024):
            raise SettingsFault(
                "A virtual receiver can't have that many parts.",
                remedy="Give it 1 to 8 outputs, 1 to 8 inputs and 1 to 1024 slots.",
            )

    def serial_of(self, place: int) -> str:
        """The serial of the receiver at a place of `addresses`."""
        given = self.serials[place] if place < len(self.serials) else ""
        if not given and self.snapshot is not None:
            return rehearsal_serial(self.snapshot.identity.serial)
        return given or f"VR8-{self.addresses[place]:06d}"

    def name_of(self, place: int) -> str:
        """The name that commands may use for it, beside its address; empty when none was given."""
        return self.names[place] if place < len(self.names) else ""

    def memory_of(self, place: int) -> Path | None:
        """The file of its memory; None when it forgets with the process."""
        if self.memory is None or len(self.addresses) == 1:
            return self.memory
        return self.memory.with_name(f"{self.memory.name}.{self.addresses[place]}")

"""What outputs are called at this moment, looked at by every room through one living mapping for each receiver.

The names of the settings file stand from the start; those that people gave come in when the store has been opened, and
whenever somebody gives one. Each look gets a whole state: nobody sees half of a change, in whatever thread.
"""

from __future__ import annotations

from collections.abc import Callable, ItemsView, Iterator, KeysView, Mapping, ValuesView
from typing import TypeVar

from gateway.domain.output_names import CalledOutput, OutputNames, OutputNaming, names_in_force

__all__ = ["NamesNow"]

K = TypeVar("K")
V = TypeVar("V")


class NamesNow:
    """The names of all receivers. `of_settings` are the settings file's, by receiver."""

    def __init__(self, of_settings: Mapping[str, Mapping[int, str]]) -> None:
        self.of_settings = of_settings
        self._namings = {name: OutputNaming(name) for name in of_settings}
        self._now = {name: names_in_force(names, self._namings[name]) for name, names in of_settings.items()}

    def naming(self, receiver: str) -> OutputNaming:
        """The names that people gave there."""
        return self._namings[receiver]

    def take(self, naming: OutputNaming) -> None:
        """In force from now on; passed over at a receiver that the settings no longer have."""
        if naming.receiver in self._now:
            self._namings[naming.receiver] = naming
            self._now[naming.receiver] = names_in_force(self.of_settings[naming.receiver], naming)

    def now(self, receiver: str) -> OutputNames:
        return self._now[receiver]

    def set_aside(self) -> tuple[tuple[str, CalledOutput], ...]:
        """Given names, by receiver, that are not in use: the settings file has come to call another output so."""
        return tuple(
            (name, each)
            for name, naming in self._namings.items()
            for each in naming.given
            if self._now[name].outputs.get(each.output) != each.name
        )

    def outputs(self, receiver: str) -> Mapping[int, str]:
        """Names by output, whenever one looks."""
        return _Living(lambda: self._now[receiver].outputs)

    def also(self, receiver: str) -> Mapping[str, int]:
        """Outputs by the other texts that are read as them, whenever one looks."""
        return _Living(lambda: self._now[receiver].also)


class _Living(Mapping[K, V]):
    """A mapping that is another one at another time. What one gets from it is a whole one of that moment."""

    def __init__(self, now: Callable[[], Mapping[K, V]]) -> None:
        self._now = now

    def __getitem__(self, key: K) -> V:
        return self._now()[key]

    def __iter__(self) -> Iterator[K]:
        return iter(self._now())

    def __len__(self) -> int:
        return len(self._now())

    def items(self) -> ItemsView[K, V]:
        return self._now().items()

    def keys(self) -> KeysView[K]:
        return self._now().keys()

    def values(self) -> ValuesView[V]:
        return self._now().values()

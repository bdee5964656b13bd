"""Names that a roster refers to: groups, kinds, receivers, outputs.

A name that differs from a known one in upper and lower case alone has one reading and is read so. Any other
unknown name comes back with the ones that look like it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gateway.domain.roster import Right
from gateway.ports import ReceiverFacts
from gateway.roster.cells import Wrong, near_matches, show

__all__ = ["Names", "ReceiverNames"]

_MAX_SEARCHES = 100  # our choice: a file with more different misspelt names has another problem


class Names:
    """A set of names to look up in."""

    def __init__(self, names: Iterable[str]) -> None:
        self._names = tuple(names)
        self._by_fold: dict[str, list[str]] = {}
        self._near: dict[str, str] = {}
        for name in self._names:
            self._by_fold.setdefault(name.casefold(), []).append(name)

    def find(self, text: str) -> str | None:
        """The name as it is written where it is defined; None when there is none, or more than one."""
        alike = self._by_fold.get(text.casefold(), [])
        if text in alike:
            return text
        return alike[0] if len(alike) == 1 else None

    def near(self, text: str) -> str:
        """` (did you mean …?)`, or an empty string. Looked for at most `_MAX_SEARCHES` times: it is slow."""
        if text not in self._near and len(self._near) < _MAX_SEARCHES:
            self._near[text] = near_matches(text, self._names)
        return self._near.get(text, "")


class ReceiverNames:
    """The receivers of this site and their outputs; with `facts` None nothing is known and nothing is checked."""

    def __init__(self, facts: Sequence[ReceiverFacts] | None) -> None:
        self._facts = None if facts is None else {fact.name: fact for fact in facts}
        self._names = Names(self._facts or ())
        self._outputs = {fact.name: Names(name for name in fact.outputs.values() if name) for fact in facts or ()}

    def resolve(self, right: Right) -> tuple[Right, Wrong | None, bool]:
        """The right with the receiver's name as the settings write it; what is odd; whether that is a fault.

        An unknown receiver is a warning: it may stand at another site that shares the file. An unknown output
        of a receiver that is known can only be an error.
        """
        if self._facts is None:
            return right, None, False
        name = self._names.find(right.receiver)
        if name is None:
            found = f"the receiver {show(right.receiver)}, which this site does not have"
            remedy = f"correct the name{self._names.near(right.receiver)}; nothing to do if it stands at another site"
            return right, Wrong(found, remedy), False
        fact = self._facts[name]
        known = Right(name, right.position, right.output)
        if fact.output_number(right.output) is not None:
            return known, None, False
        outputs = ", ".join(f"{number} ({text})" if text else str(number) for number, text in fact.outputs.items())
        found = f"the output {show(right.output)}, which {name} does not have"
        remedy = f"write one of its outputs: {outputs}{self._outputs[name].near(right.output)}"
        return known, Wrong(found, remedy), True

    def positions(self, receiver: str) -> int:
        """How many positions a transmitter can have in that receiver's memory; 8 where nothing is known."""
        fact = (self._facts or {}).get(receiver)
        return fact.positions if fact else 8

"""From a confirmed transmitter and what somebody says about it to a row of the roster.

Rights come from a group (joined: they change with it), from another holder (copied once) or are written out. What the
roster in force would refuse is refused here already, so that a row that was handed over is a row that is accepted.
Pure, but for the form of a row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gateway.domain.roster import Entry, Right, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.errors import Refused
from gateway.ports import EnrolmentOrder, ReceiverFacts, RowForm

__all__ = ["enrolled_rows"]


def enrolled_rows(
    orders: Sequence[EnrolmentOrder], roster: Roster | None, facts: Mapping[str, ReceiverFacts], form: RowForm
) -> tuple[tuple[Entry, ...], tuple[str, ...]]:
    """The rows, and sentences about rights that count for nothing here. Raises Refused as `EnrolmentDesk.complete`."""
    rows = _Rows(roster or Roster((), ""), facts, form)
    entries = tuple(rows.entry(order) for order in orders)
    return entries, tuple(rows.left_out)


class _Rows:
    def __init__(self, roster: Roster, facts: Mapping[str, ReceiverFacts], form: RowForm) -> None:
        self._roster = roster
        self._facts = facts
        self._form = form
        self.left_out: list[str] = []

    def entry(self, order: EnrolmentOrder) -> Entry:
        holder = " ".join(order.holder.split())
        if not holder:
            raise Refused(
                f"Nobody is named as the holder of {write_serial(order.serial)}.",
                remedy="Write who carries it, by name or by a label such as Berth 12.",
                code="holder-missing",
            )
        self._check_new(order.serial)
        group, rights, kind_name = self._rights(order)
        kind = self._kind(order.kind or kind_name)
        kept = tuple(right for right in rights if self._counts(right, kind, order.serial))
        if not kept:
            raise Refused(
                f"Nothing is left that transmitter {write_serial(order.serial)} could work.",
                remedy="Name a group, a holder or rights with positions that its kind has.",
                code="rights-missing",
            )
        return Entry(0, order.serial, holder, kind.name, group, kept, note=" ".join(order.note.split()))

    def _check_new(self, serial: int) -> None:
        known = self._roster.by_serial().get(serial)
        if known is not None:
            raise Refused(
                f"The roster has transmitter {write_serial(serial)} already: {known.holder} has it.",
                remedy="Change that row instead; `gatepost roster apply` brings it to the receivers.",
                code="serial-known",
            )

    def _rights(self, order: EnrolmentOrder) -> tuple[str, tuple[Right, ...], str]:
        """The group's name, the rights, and the kind of the transmitter that they were copied from."""
        if sum(map(bool, (order.group, order.rights.strip(), order.like))) != 1:
            raise Refused(
                f"It is not clear what transmitter {write_serial(order.serial)} may work.",
                remedy="Name one of: a group, a holder whose rights are copied, or the rights themselves.",
                code="rights-missing",
            )
        if order.group:
            name = self._group(order.group)
            return name, self._roster.groups[name], ""
        if order.like:
            model = self._model(order.like)
            return "", model.rights, model.kind
        return "", self._written(order.rights), ""

    def _group(self, text: str) -> str:
        found = _by_fold(text, self._roster.groups)
        if found is None:
            raise Refused(
                f"The roster has no group {text}.",
                remedy=f"Name one of its groups: {', '.join(self._roster.groups) or 'it has none'}.",
                code="no-such-group",
            )
        return found

    def _kind(self, text: str) -> Kind:
        kinds = self._roster.kinds or BUILT_IN_KINDS
        found = _by_fold(text or "any", kinds)
        if found is None:
            raise Refused(
                f"There is no kind {text}.", remedy=f"Name one of the kinds: {', '.join(kinds)}.", code="no-such-kind"
            )
        return kinds[found]

    def _model(self, text: str) -> Entry:
        folded = text.strip().casefold()
        rows = [e for e in self._roster.entries if e.holder.casefold() == folded]
        if not rows and text.strip().isdigit():
            rows = [entry for entry in self._roster.entries if entry.serial == int(text)]
        if not rows:
            raise Refused(
                f"The roster has no holder {text}.",
                remedy="Write the name as it stands there, or the serial of the holder's transmitter.",
                code="no-such-holder",
            )
        if len({(entry.rights, entry.kind) for entry in rows}) > 1:
            serials = ", ".join(write_serial(entry.serial) for entry in rows)
            raise Refused(
                f"{rows[0].holder} has several transmitters with different rights: {serials}.",
                remedy="Name the serial of the one whose rights are to be copied.",
                code="rights-differ",
            )
        return rows[0]

    def _written(self, text: str) -> tuple[Right, ...]:
        return tuple(sorted({self._resolved(right) for right in self._form.read_rights(text)}))

    def _resolved(self, right: Right) -> Right:
        name = _by_fold(right.receiver, self._facts)
        if name is None:
            return right
        facts = self._facts[name]
        if facts.output_number(right.output) is None:
            outputs = ", ".join(
                f"{number} ({called})" if called else str(number) for number, called in facts.outputs.items()
            )
            raise Refused(
                f"{name} has no output {right.output}.",
                remedy=f"Write one of its outputs: {outputs}.",
                code="no-such-output",
            )
        return Right(name, right.position, right.output)

    def _counts(self, right: Right, kind: Kind, serial: int) -> bool:
        if right.receiver not in self._facts:
            self._note(
                serial, f"{right.receiver} is no receiver of this site; the right to {right.output} counts elsewhere."
            )
            return True
        if kind.number_of(right.position) is None:
            self._note(
                serial, f"a {kind.name} transmitter has no position {right.position}: {right.output} is left out."
            )
            return False
        return True

    def _note(self, serial: int, words: str) -> None:
        self.left_out.append(f"Transmitter {write_serial(serial)}: {words}")


def _by_fold(text: str, names: Mapping[str, object]) -> str | None:
    """The name as it is written where it is defined; None when there is none, or more than one."""
    if text in names:
        return text
    alike = [name for name in names if name.casefold() == text.strip().casefold()]
    return alike[0] if len(alike) == 1 else None

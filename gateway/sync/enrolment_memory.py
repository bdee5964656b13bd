"""The enrolments of before a restart: what came of each, and which of them the restart has cut.

A receiver goes on listening while the gateway is gone, and nobody knows what was pressed meanwhile; so an enrolment
that listened is over, and says so to whoever asks for it. What was confirmed by then stays certain. Only the newest few
of each receiver are kept, with every step that is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from gateway.domain.enrolment import Enrolment, EnrolmentStep
from gateway.ports import Documents

__all__ = ["EnrolmentMemory", "KeptEnrolments"]

#: Enrolments of each receiver that are known after a restart. Our choice: they are written anew with every step.
_KEPT = 10
_CUT = "The gateway was restarted while it listened."
_AGAIN = "Start the enrolment again; nothing was written anywhere."


@dataclass(frozen=True, slots=True)
class KeptEnrolments:
    """Of one receiver, oldest first."""

    enrolments: tuple[Enrolment, ...] = ()


class EnrolmentMemory:
    """What the documents of the store keep of enrolments."""

    def __init__(self, documents: Documents) -> None:
        self._documents = documents

    def load(self, receiver: str) -> tuple[tuple[Enrolment, bool], ...]:
        """Oldest first, each with whether the restart has cut it."""
        kept = self._documents.load(_key(receiver), KeptEnrolments)
        return tuple((_over(each), each.step.is_listening) for each in kept.enrolments) if kept else ()

    def document(self, receiver: str, enrolments: Iterable[Enrolment]) -> Mapping[str, object]:
        """To be committed with the step that is told; oldest first."""
        return {_key(receiver): KeptEnrolments(tuple(enrolments)[-_KEPT:])}


def _over(enrolment: Enrolment) -> Enrolment:
    if not enrolment.step.is_listening:
        return enrolment
    over = replace(enrolment, heard=(), ends=None)
    if enrolment.confirmed:  # of several: those before the window that was cut
        return replace(over, step=EnrolmentStep.CONFIRMED)
    return replace(over, step=EnrolmentStep.FAILED, problem=_CUT, remedy=_AGAIN)


def _key(receiver: str) -> str:
    return f"enrolments/{receiver}"

"""What an enrolment is at, in a sentence, and what is told of it. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from gateway.domain.enrolment import Enrolment, EnrolmentStep, EnrolmentWay, Heard
from gateway.domain.transmitter import write_serial

__all__ = ["LISTENING_CAUTION", "enrolment_data", "enrolment_words"]

LISTENING_CAUTION = (
    "While the receiver listens, transmitters that it knows go on working: a press may move the gate. "
    "Keep the way clear."
)
"""To be shown wherever a receiver is made to listen."""


def enrolment_words(enrolment: Enrolment) -> str:
    """One sentence or two for people."""
    return _WORDS[enrolment.step](enrolment)


def enrolment_data(enrolment: Enrolment) -> dict[str, Any]:
    """The data of `enrolment.changed`. `serial` is the one in question, None while there is none."""
    shown = enrolment.heard or enrolment.confirmed[-1:]
    last = shown[-1] if shown else None
    serial = last.serial if last else enrolment.typed
    return {
        "enrolment": enrolment.id,
        "way": enrolment.way.value,
        "state": enrolment.step.value,
        "serial": None if serial is None else write_serial(serial),
        "presses": last.presses if last else 0,
        "holder": last.holder or None if last else None,
        "confirmed": [write_serial(each.serial) for each in enrolment.confirmed],
        "conflicting": [write_serial(each.serial) for each in _conflicting(enrolment)],
        "words": enrolment_words(enrolment),
    }


def _listening(enrolment: Enrolment) -> str:
    done = len(enrolment.confirmed)
    before = f"{done} confirmed. " if done else ""
    if enrolment.way is EnrolmentWay.TYPED_AND_PRESSED and enrolment.typed is not None:
        return f"Listening. Press transmitter {write_serial(enrolment.typed)} once."
    if enrolment.way is EnrolmentWay.SEVERAL:
        return f"{before}Listening. Press the next transmitter twice, or finish."
    return "Listening. Press the transmitter twice."


def _conflict(enrolment: Enrolment) -> str:
    heard = _all(enrolment.heard)
    if enrolment.typed is not None:
        return f"Expected transmitter {write_serial(enrolment.typed)}, heard {heard}. Nothing is taken; start again."
    return f"Two transmitters were pressed: {heard}. Nothing is taken; press one of them alone."


def _conflicting(enrolment: Enrolment) -> tuple[Heard, ...]:
    return enrolment.heard if enrolment.step is EnrolmentStep.CONFLICT else ()


def _all(heard: Sequence[Heard]) -> str:
    return " and ".join(_named(each) for each in heard)


def _named(heard: Heard) -> str:
    facts = [f"{heard.holder} has" if heard.holder else "", "is revoked" if heard.revoked else ""]
    known = " and which ".join(filter(None, facts))
    return f"transmitter {write_serial(heard.serial)}" + (f", which {known}" if known else "")


def _heard(enrolment: Enrolment) -> str:
    return f"Heard {_named(enrolment.heard[0])}. Press it once more."


def _confirmed(enrolment: Enrolment) -> str:
    certain = f"Confirmed: {_all(enrolment.confirmed)}."
    new = sum(1 for each in enrolment.confirmed if not each.holder)
    if not new:
        return f"{certain} The roster has {'it' if len(enrolment.confirmed) == 1 else 'them all'} already."
    return f"{certain} Say now who holds {'it' if len(enrolment.confirmed) == 1 else 'them'}."


def _ended(enrolment: Enrolment) -> str:
    last = f" Only one press of {_named(enrolment.heard[0])} was heard." if enrolment.heard else ""
    return f"The receiver has stopped listening; nothing was confirmed.{last}"


_WORDS: Mapping[EnrolmentStep, Callable[[Enrolment], str]] = {
    EnrolmentStep.LISTENING: _listening,
    EnrolmentStep.HEARD: _heard,
    EnrolmentStep.CONFIRMED: _confirmed,
    EnrolmentStep.CONFLICT: _conflict,
    EnrolmentStep.ENDED: _ended,
    EnrolmentStep.CANCELLED: lambda _: "Cancelled; the receiver no longer listens.",
    EnrolmentStep.FAILED: lambda enrolment: f"{enrolment.problem} Nothing was confirmed.",
    EnrolmentStep.COMPLETED: lambda _: "Done: the row for the roster was made.",
}

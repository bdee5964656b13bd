"""Every reason for not operating an output, each with a code of its own and words that say what to do.

Pure. The list is that of docs/operating.md; what belongs to the request alone (limits, keys) stands in `log`. A value
that is not known refuses as one that forbids: Gatepost is no safety device, and it does not guess either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.domain.gate import Contact
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.operation import MOMENTARY_MOST_S, OLDEST_S, Operable
from gateway.domain.receiver import Identity, OutputMode, ReceiverSettings, Status
from gateway.errors import Refused

__all__ = [
    "MOMENTARY_S",
    "Heard",
    "check_age",
    "check_at_rest",
    "check_named",
    "check_reachable",
    "check_reason",
    "check_safety",
    "check_same",
    "check_warning",
    "closure_s",
]

#: A momentary output's closure when nobody says how long; our choice.
MOMENTARY_S = 1.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A status, and when it was read (Clock.monotonic)."""

    status: Status
    at_s: float


def check_named(operable: Operable) -> None:
    """Nothing named after a stop, and only what the settings allow by name."""
    if operable.is_stop:
        raise Refused(
            f"“{operable.name}” is named after a stop, and that is never operated from afar.",
            remedy="An emergency stop works at the gate alone, without Gatepost.",
            code="stop-not-operated",
        )
    if not operable.allowed:
        raise Refused(
            f"The settings do not allow {operable.name or f'output {operable.output}'} of {operable.receiver} to be "
            "operated from afar.",
            remedy=f"Read docs/operating.md first; then name it in receivers.{operable.receiver}.operate.",
            code="output-not-allowed",
        )


def check_reason(reason: str) -> None:
    """Somebody says why."""
    if not reason.strip():
        raise Refused("No reason was given.", remedy="Say why the output is to work; it is audited.", code="no-reason")


def check_reachable(live: LiveReceiver, mirror: Mirror | None, *, planning: bool) -> None:
    """The line is there, the receiver is the one that is known, and nobody writes to it."""
    unconfirmed = mirror is not None and not mirror.confirmed
    if unconfirmed or live.link is LinkState.WRONG_RECEIVER:
        raise Refused(
            f"Another receiver than before answers as {live.name}, and nobody has confirmed it.",
            remedy="Compare its serial at the board, then confirm it; or put the known one back.",
            code="receiver-unconfirmed",
        )
    if live.link is not LinkState.ONLINE or live.status is None:
        raise Refused(
            f"{live.name} can't be reached at this moment, so nobody knows how its gate stands.",
            remedy=live.remedy or "Look at its line and its power; operate it on site.",
            code="receiver-not-reached",
        )
    if planning:
        raise Refused(
            f"Changes are being written to {live.name} at this moment.",
            remedy="Ask again when they are written; `gatepost plan list` shows how far they are.",
            code="plan-being-written",
        )


def check_age(asked_s: float, now_s: float) -> None:
    """An order that had to wait is dropped, never sent late."""
    if now_s - asked_s > OLDEST_S:
        raise Refused(
            f"The order was older than {OLDEST_S:g} s when its turn came, and was dropped; nothing was sent.",
            remedy="Look at the gate, then ask again.",
            code="order-too-old",
        )


def check_same(
    known: Identity | None, identity: Identity | None, live: Status | None, before: Status, status: Status
) -> None:
    """The receiver in the hold is the one that is known, and is as it was read just before."""
    if known is not None and identity is not None and _who(known) != _who(identity):
        raise Refused(
            "Another receiver answers than the one known.",
            remedy="Compare its serial at the board, then confirm it; or put the known one back.",
            code="receiver-unconfirmed",
        )
    if {before.boot_count, live.boot_count if live else None} != {status.boot_count}:
        raise Refused(
            "The receiver has just started anew; nothing is operated after power has returned.",
            remedy="Look at the gate, then ask again.",
            code="receiver-just-started",
        )
    if (before.revision, before.output_modes) != (status.revision, status.output_modes):
        raise Refused(
            "Something was changed at the receiver at this very moment.",
            remedy="See who works there, then ask again.",
            code="receiver-just-changed",
        )


def closure_s(operable: Operable, status: Status, settings: ReceiverSettings | None, asked_s: float | None) -> float:
    """How long it closes, in seconds; 0 stands for a timed output's own, unknown on-time. By its mode as it is now."""
    modes, place = status.output_modes, operable.output - 1
    if modes is None or place >= len(modes):
        raise Refused(
            "The mode of this output is not known.", remedy="Look at the selector on the board.", code="mode-not-known"
        )
    if modes[place] is OutputMode.LATCHING:
        raise Refused(
            f"{operable.name} is latching: it would stay as it is put, and nothing would end it.",
            remedy="Have a qualified person set it to timed or momentary on the board, if the gate allows it.",
            code="latching-not-operated",
        )
    if modes[place] is OutputMode.MOMENTARY:
        return _within(operable, MOMENTARY_S if asked_s is None else asked_s, MOMENTARY_MOST_S)
    on_time_s = settings.on_times_s[place] if settings and place < len(settings.on_times_s) else 0
    return float(on_time_s) if asked_s is None else _within(operable, asked_s, on_time_s)


def check_at_rest(operable: Operable, status: Status) -> None:
    """It is off: a second closure on top of one would hold it on."""
    place = operable.output - 1
    if place >= len(status.output_closed) or status.output_closed[place]:
        raise Refused(
            f"{operable.name} is on at this moment; another closure would hold it on.",
            remedy="Wait until it has ended. Nothing is held on, repeated or put in a row from afar.",
            code="output-on-already",
        )


def check_safety(
    operable: Operable, own: Status, others: Mapping[str, Heard], *, now_s: float, oldest_s: Mapping[str, float]
) -> None:
    """No safety input of its gate is violated, unknown, or older than two polls or 1 s (`oldest_s`, by receiver)."""
    for contact in operable.safety:
        if contact.receiver == operable.receiver:
            _check_contact(contact, own)
            continue
        heard = others.get(contact.receiver)
        if heard is None:
            raise _safety_unknown(contact)
        if now_s - heard.at_s > oldest_s.get(contact.receiver, 0.0):
            raise Refused(
                f"What is known of the safety input {_name(contact)} is too old.",
                remedy="Ask again; when it stays so, look at that receiver's line.",
                code="safety-too-old",
            )
        _check_contact(contact, heard.status)


def check_warning(operable: Operable, status: Status) -> None:
    """The warning output has really closed."""
    warning = operable.warning
    if warning is None:
        return
    place = warning.output - 1
    if place >= len(status.output_closed) or not status.output_closed[place]:
        raise Refused(
            f"The warning output {warning.name} did not close, so the gate was not operated.",
            remedy="Have the warning's light and sound looked at.",
            code="warning-not-seen",
        )


def _within(operable: Operable, asked_s: float, most_s: float) -> float:
    if not 0.1 <= asked_s <= most_s:
        raise Refused(
            f"{asked_s:g} s is no closure for {operable.name}.",
            remedy=f"Ask for 0.1 to {most_s:g} s, or leave it out.",
            code="closure-too-long",
        )
    return asked_s


def _check_contact(contact: Contact, status: Status) -> None:
    if contact.number > len(status.input_violated):
        raise _safety_unknown(contact)
    if status.input_violated[contact.number - 1]:
        raise Refused(
            f"The safety input {_name(contact)} is violated: something is in the way, or it is faulty.",
            remedy="Go and look. It can't be bypassed from here; with a faulty one operate at the gate, by constant "
            "pressure and with the whole gate in view.",
            code="safety-input-violated",
        )


def _safety_unknown(contact: Contact) -> Refused:
    return Refused(
        f"The state of the safety input {_name(contact)} is not known.",
        remedy=f"Look at the line and the power of {contact.receiver}.",
        code="safety-not-known",
    )


def _name(contact: Contact) -> str:
    return f"“{contact.name}”" if contact.name else f"{contact.number} of {contact.receiver}"


def _who(identity: Identity) -> tuple[str, str, str]:
    return identity.maker, identity.product, identity.serial

"""Why a receiver said no, in words for people.

A receiver that refuses answers with a Modbus exception and names the reason in its status (`last_refusal`).
The names are those of the map's refusal codes; docs/register-map.md explains each.
"""

from __future__ import annotations

from gateway.errors import ReceiverRefused

__all__ = ["password_missing", "password_refused", "refusal"]

_WAY_BACK = "if nobody knows it, a reset at the board is the way back."

#: reason in the map -> stable code, what happened, what to do next
_TABLE: dict[str, tuple[str, str, str]] = {
    "locked": (
        "locked",
        "is locked by its link password",
        "Check the link password in the settings.",
    ),
    "password-wrong": (
        "password-refused",
        "refused the link password",
        f"Write the right one into the file that the settings name as link_password_file; {_WAY_BACK}",
    ),
    "password-wait": (
        "password-wait",
        "does not take another link password yet after a wrong one",
        "Wait a minute and try again.",
    ),
    "slot-changed": (
        "slot-changed",
        "refused the write because a slot was changed at the board in the meantime",
        "Read the receiver again and look at what changed, then try again.",
    ),
    "out-of-range": (
        "out-of-range",
        "refused a value that is out of its range",
        "Compare the value with the limits that the receiver states.",
    ),
    "board-locked": (
        "board-locked",
        "refused because local programming is switched off",
        "Allow local programming in the receiver's settings, or make the change from here.",
    ),
    "memory-full": (
        "memory-full",
        "has no free slot left",
        "Take transmitters out that are no longer needed.",
    ),
    "memory-busy": (
        "busy",
        "is busy with its memory",
        "Try again in a few seconds; if it stays so, look at the receiver.",
    ),
    "unknown-transmitter": (
        "unknown-transmitter",
        "does not know this transmitter",
        "Give the transmitter a slot first.",
    ),
    "mode-forbids": (
        "mode-forbids",
        "refused because the output's mode does not allow it",
        "Look at the mode selector on the board.",
    ),
    "key-wrong": (
        "key-wrong",
        "refused the key of this request",
        "Check that the map fits the receiver: docs/register-map.md names the key.",
    ),
}


def refusal(receiver: str, reason: str) -> ReceiverRefused:
    """The error for a reason. One that the table lacks keeps its own name as code, so nothing is hidden."""
    if reason in _TABLE:
        code, happened, remedy = _TABLE[reason]
        return ReceiverRefused(f"{receiver} {happened}.", remedy=remedy, code=code)
    return ReceiverRefused(
        f"{receiver} refused the request and gave “{reason}” as its reason.",
        remedy="Look that reason up in the receiver's own documents.",
        code=reason,
    )


def password_refused(receiver: str) -> ReceiverRefused:
    """Every password there is was tried once and refused; none is tried again until something changes."""
    return refusal(receiver, "password-wrong")


def password_missing(receiver: str) -> ReceiverRefused:
    """The receiver has a link password and we were not given any."""
    return ReceiverRefused(
        f"{receiver} has a link password and none is set here.",
        remedy=f"Write it into a file and name that as link_password_file; {_WAY_BACK}",
        code="locked",
    )

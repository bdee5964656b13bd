"""How urgent a request on the line is: a lower value goes first, at the next frame."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["Urgency"]


class Urgency(IntEnum):
    """Requests of one urgency go in the order of their arrival."""

    REVOCATION = 0  # a lost transmitter must not open anything
    POLL = 1  # status and events
    CONTROL = 2  # single settings, identity, proof
    BULK = 3  # reading or writing many slots

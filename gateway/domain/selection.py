"""Transmitters chosen by whom they belong to, before anything is done to them."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Selected"]


@dataclass(frozen=True, slots=True)
class Selected:
    """One transmitter. `receivers` are those whose memory holds it by the mirror; `listed` that the roster has it.

    `revoked` is True when it is revoked already. `words` say all of it for people.
    """

    serial: int
    holder: str
    group: str
    listed: bool
    receivers: tuple[str, ...]
    revoked: bool
    words: str

"""Serials as people type them on a command line."""

from __future__ import annotations

from gateway.cli.console import fail
from gateway.domain.transmitter import MAX_SERIAL, write_serial
from gateway.errors import Refused

__all__ = ["full_serial"]


def full_serial(text: str) -> str:
    """Ten digits; ends the command with what to write when it is no serial."""
    if not (text.isascii() and text.isdigit() and len(text) <= 10):
        fail(Refused(f"“{text}” is not a serial.", remedy="Write up to ten decimal digits, as on the transmitter."))
    if not 0 < int(text) <= MAX_SERIAL:
        remedy = f"Serials go from {write_serial(1)} to {write_serial(MAX_SERIAL)}; write the one on the transmitter."
        fail(Refused(f"No transmitter can have the serial {text}.", remedy=remedy))
    return text.zfill(10)

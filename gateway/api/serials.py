"""A transmitter's serial in a body: the model judges its form, this whether one can have it."""

from __future__ import annotations

from gateway.api.faults import Place, RequestFault
from gateway.api.models.base import read_serial
from gateway.domain.transmitter import MAX_SERIAL

__all__ = ["serial_in_body"]


def serial_in_body(text: str, pointer: str) -> int:
    """The number behind ten digits. Raises RequestFault, naming the place, for one that no transmitter can have."""
    serial = read_serial(text)
    if serial is None:
        raise RequestFault(
            "body-invalid",
            "No transmitter can have this serial.",
            remedy=f"Send the ten digits printed on the transmitter, 0000000001 to {MAX_SERIAL}.",
            places=[Place(f"no transmitter has this serial; write 0000000001 to {MAX_SERIAL}", pointer=pointer)],
        )
    return serial

"""Read Device Identification (43/14) of the virtual receiver.

Source: Modbus Application Protocol V1.1b3, section 6.21. Stream access that begins at an unknown object begins at
the first; individual access to one is exception 02. All objects fit one answer.
"""

from __future__ import annotations

from gateway.domain.receiver import Identity
from gateway.modbus import ExceptionCode, IdentificationAnswer, ReadDeviceIdentification, RequestFault

__all__ = ["SERIAL_OBJECT", "identify"]

SERIAL_OBJECT = 0x80  # the first of the extended, maker-defined objects
_CONFORMITY = 0x83  # extended, stream and individual access
_BASIC, _REGULAR, _EXTENDED, _INDIVIDUAL = 1, 2, 3, 4
_LAST_OBJECT = {_BASIC: 0x02, _REGULAR: 0x7F, _EXTENDED: 0xFF}


def identify(identity: Identity, request: ReadDeviceIdentification) -> IdentificationAnswer:
    """The answer. Raises RequestFault for a single object that does not exist."""
    objects = {0x00: identity.maker, 0x01: identity.product, 0x02: identity.version, SERIAL_OBJECT: identity.serial}
    if request.code == _INDIVIDUAL:
        if request.object_id not in objects:
            raise RequestFault(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        chosen = [request.object_id]
    else:
        level = [number for number in objects if number <= _LAST_OBJECT[request.code]]
        first = level.index(request.object_id) if request.object_id in level else 0
        chosen = level[first:]
    texts = tuple((number, objects[number].encode("ascii", "replace")) for number in chosen)
    return IdentificationAnswer(request.code, _CONFORMITY, False, 0, texts)

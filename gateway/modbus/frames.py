"""RTU frames: address, PDU, CRC; and finding requests in a stream of bytes.

Source: Modbus over Serial Line V1.02, section 2.5.1: a frame is at most 256 bytes, address 0 is broadcast,
1 to 247 are units, the rest is reserved. Request lengths: Modbus Application Protocol V1.1b3, section 6.
Silence is the caller's to notice (it needs a clock); `RequestFramer.reset` is how it says so.
"""

from __future__ import annotations

from gateway.modbus.crc import crc16, with_crc

__all__ = ["LONGEST_FRAME", "RequestFramer", "frame"]

LONGEST_FRAME = 256
_LAST_UNIT = 247
_WHOLE = {1: 8, 2: 8, 3: 8, 4: 8, 5: 8, 6: 8, 7: 4, 8: 8, 11: 4, 12: 4, 17: 4, 22: 10, 24: 6, 43: 7}
_COUNTED = {15: 6, 16: 6, 20: 2, 21: 2, 23: 10}  # function: place of the byte that counts the bytes behind it


def frame(address: int, pdu: bytes) -> bytes:
    """The frame that carries `pdu` to or from the unit `address` (0 to 247)."""
    if not 0 <= address <= _LAST_UNIT:
        raise ValueError(f"unit address {address} lies outside 0 to {_LAST_UNIT}")
    return with_crc(bytes((address,)) + pdu)


class RequestFramer:
    """What a unit hears, cut into valid request frames.

    A frame is given out at its last byte. Behind a broken frame the search goes on at its second byte, so a
    good frame glued to rubbish is found. Functions that are not served have their length known here too, so
    that a unit can answer them with an exception.
    """

    def __init__(self) -> None:
        self._heard = bytearray()
        self._skipped = bytearray()

    @property
    def waiting(self) -> int:
        """Bytes heard that are not yet a frame."""
        return len(self._heard)

    def feed(self, data: bytes) -> list[tuple[int, bytes]]:
        """Take more bytes; the (address, PDU) of every whole frame that they complete."""
        self._heard += data
        found: list[tuple[int, bytes]] = []
        place = 0
        while (length := self._length_at(place)) and place + length <= len(self._heard):
            if length > 1 and crc16(self._heard[place : place + length]) == 0:
                found.append((self._heard[place], bytes(self._heard[place + 1 : place + length - 2])))
                place += length
                self._skipped.clear()
            else:
                self._skipped.append(self._heard[place])
                place += 1
        del self._heard[:place]
        del self._skipped[:-LONGEST_FRAME]
        return found

    def reset(self) -> list[tuple[int, bytes]]:
        """The line fell silent: forget what is no frame.

        What was heard since the last frame is given out if it is one of unknown function and valid CRC.
        """
        heard = bytes(self._skipped + self._heard)
        self._skipped.clear()
        self._heard.clear()
        if 4 <= len(heard) <= LONGEST_FRAME and heard[0] <= _LAST_UNIT and crc16(heard) == 0:
            return [(heard[0], heard[1:-2])]
        return []

    def _length_at(self, place: int) -> int:
        """Length of the frame that begins there; 1 when none can; 0 when too little is known."""
        left = len(self._heard) - place
        if left and self._heard[place] > _LAST_UNIT:
            return 1
        if left < 2:
            return 0
        function = self._heard[place + 1]
        counter = _COUNTED.get(function)
        if counter is None:
            return _WHOLE.get(function, 1)
        if left <= counter:
            return 0
        length = counter + 1 + self._heard[place + counter] + 2
        return length if length <= LONGEST_FRAME else 1

"""Finding one answer in what comes back, byte by byte, behind noise or the master's own echo.

The request says how its answer begins and how long it is, so the frame is whole at its last byte. Bytes in
front that can't begin it are stepped over; an answer with a wrong CRC leaves the search at its next byte, so
a good frame glued behind a broken one is found. Silence is the caller's to notice: `conclude` then says what
the rest was. Echo: on a two-wire adapter the master hears its own request first (common practice, no source).
"""

from __future__ import annotations

from enum import Enum

from gateway.modbus.answers import Answer
from gateway.modbus.crc import crc16
from gateway.modbus.decoding import answer_pdu_length, decode_answer
from gateway.modbus.frames import LONGEST_FRAME
from gateway.modbus.requests import Request, WriteCoil, WriteRegister

__all__ = ["AnswerFramer", "Heard"]

_ECHOING_ANSWERS = (WriteCoil, WriteRegister)
_SHORTEST_FRAME = 5  # an exception: address, function, code, CRC


class Heard(Enum):
    """What has come so far."""

    NOTHING = "nothing"  # no byte, or fewer than a frame has and none that begins the answer
    PART = "part"  # the beginning of the answer
    ANSWER = "answer"  # the whole answer, CRC right
    DAMAGED = "damaged"  # a frame's worth of bytes, and no answer among them
    FOREIGN = "foreign"  # only from `conclude`: a whole frame, CRC right, to another question


class AnswerFramer:
    """One request's answer. `request_frame` is the frame as sent; `echo` says that the adapter echoes.

    The echo of a request whose answer can't look like it is stepped over in any case (`echo_heard` tells).
    """

    def __init__(self, address: int, request: Request, request_frame: bytes, *, echo: bool = False) -> None:
        self._request = request
        self._echo = b"" if isinstance(request, _ECHOING_ANSWERS) and not echo else request_frame
        self._head = bytes((address,)) + request.answer_head
        self._refusal = bytes((address, request.function | 0x80))
        self._known_length = request.answer_length
        self._heard = bytearray()
        self._broken = False
        self._place = 0
        self._end = 0
        self.echo_heard = False
        self.answer: Answer | None = None
        self.state = Heard.NOTHING
        self._usual = _SHORTEST_FRAME if self._known_length is None else self._known_length + 3
        self.missing = self._usual

    def feed(self, data: bytes) -> Heard:
        """Take more bytes; what there is now.

        With a PART, `missing` is how many more bytes the frame needs at least; before that, how many the usual
        answer has.
        """
        self._heard += data
        moved = bool(self._echo) and self._step_over_echo()
        if self.state is Heard.PART and len(data) < self.missing and not moved:
            self.missing -= len(data)
        elif self.answer is None:
            self._search()
        return self.state

    def conclude(self) -> Heard:
        """The line is silent: ANSWER, NOTHING, FOREIGN or DAMAGED."""
        if self.answer is not None:
            return Heard.ANSWER
        rest = self._heard[len(self._echo) :] if self.echo_heard else self._heard
        if not rest:
            return Heard.NOTHING
        return Heard.FOREIGN if len(rest) >= 4 and crc16(rest) == 0 else Heard.DAMAGED

    @property
    def heard_bytes(self) -> int:
        """How many bytes have come, echo included."""
        return len(self._heard)

    @property
    def answer_place(self) -> int:
        """How many bytes came before the answer's first; meaningful once there is an answer."""
        return self._place

    @property
    def behind(self) -> bytes:
        """What came behind the answer; meaningful once there is an answer."""
        return bytes(self._heard[self._end :])

    @property
    def began(self) -> bool:
        """True when what came can only have been this request's answer, whole or cut, however damaged."""
        if self.state is Heard.PART:
            return len(self._heard) - self._place >= len(self._head)
        return self._broken or self.answer is not None

    def _step_over_echo(self) -> bool:
        if self.echo_heard or not self._heard.startswith(self._echo):
            return False
        self.echo_heard = True
        self._place = len(self._echo)
        self._broken = False
        return True

    def _search(self) -> None:
        end = len(self._heard)
        while self._place < end:
            if self._may_begin(self._place):
                length = self._length_at(self._place)
                if end - self._place < length <= LONGEST_FRAME:
                    self.state, self.missing = Heard.PART, length - (end - self._place)
                    return
                if self._take(length):
                    return
                self._broken = True
            self._place += 1
        self.missing = self._usual
        self.state = Heard.DAMAGED if self._broken or self._rubbish >= _SHORTEST_FRAME else Heard.NOTHING

    @property
    def _rubbish(self) -> int:
        if self.echo_heard:
            return len(self._heard) - len(self._echo)
        return 0 if self._echo.startswith(self._heard) else len(self._heard)

    def _may_begin(self, place: int) -> bool:
        start = self._heard[place : place + len(self._head)]
        if self._head.startswith(start):
            return True
        return not self._broken and self._refusal.startswith(start[:2])

    def _length_at(self, place: int) -> int:
        """Length of the frame that begins there, or the least that it has as far as is known."""
        pdu = self._heard[place + 1 :]
        if not pdu or pdu[0] & 0x80:
            return _SHORTEST_FRAME
        if self._known_length is not None:
            return self._known_length + 3
        return answer_pdu_length(self._request, pdu) + 3

    def _take(self, length: int) -> bool:
        whole = bytes(self._heard[self._place : self._place + length])
        if length > LONGEST_FRAME or crc16(whole):
            return False
        self._end = self._place + length
        self.answer = decode_answer(self._request, whole[1:-2])
        self.state, self.missing = Heard.ANSWER, 0
        return True

"""One client of an event stream, as far as its connection goes.

It may be slow, but it must take something: when nothing has left for `stalled_s` it is dropped. What waits for it
is bounded by small buffers, for events are in the journal anyway.
"""

from __future__ import annotations

import socket

from aiohttp import web

from gateway.clock import Clock

__all__ = ["Stalled", "Subscriber"]

_BUFFER_BYTES = 32768
_LOOK_FIRST_S = 0.005  # how soon to look whether a full buffer has emptied; doubles up to the most
_LOOK_MOST_S = 0.5
_KERNEL_BUFFER_BYTES = 65536


class Stalled(Exception):
    """The client takes nothing."""


class Subscriber:
    """Writes to one prepared response."""

    def __init__(self, request: web.Request, response: web.StreamResponse, clock: Clock, stalled_s: float) -> None:
        self._response = response
        self._transport = request.transport
        self._clock = clock
        self._stalled_s = stalled_s
        self._written = 0
        self._taken = 0
        self._taken_at = clock.monotonic()
        self._bound_buffers()

    async def send(self, chunk: bytes) -> None:
        """Write one whole block. Raises Stalled, or ConnectionResetError when the client is gone."""
        try:
            async with self._clock.timeout(_LOOK_MOST_S):
                await self._response.write(chunk)
        except TimeoutError:
            pass  # the transport has all of it and can't pass it on as quickly
        self._written += len(chunk)
        self._check_taken()
        pause_s = _LOOK_FIRST_S
        while self._waiting() > _BUFFER_BYTES:
            await self._clock.sleep(pause_s)
            pause_s = min(2 * pause_s, _LOOK_MOST_S)
            self._check_taken()

    async def finish(self) -> None:
        """End the answer properly when all of it has left; otherwise just hang up."""
        if self._transport is None or self._transport.is_closing():
            return
        if self._waiting():
            self.drop()
        else:
            await self._response.write_eof()

    def drop(self) -> None:
        """Hang up at once, whatever has not left."""
        if self._transport is not None:
            self._transport.abort()

    def _check_taken(self) -> None:
        now = self._clock.monotonic()
        taken = self._written - self._waiting()
        if taken > self._taken or not self._waiting():
            self._taken, self._taken_at = taken, now
        elif now - self._taken_at >= self._stalled_s:
            raise Stalled

    def _waiting(self) -> int:
        return self._transport.get_write_buffer_size() if self._transport is not None else 0

    def _bound_buffers(self) -> None:
        if self._transport is None:
            return
        # both marks alike: when `send` is done the connection takes more. While it does not, the web server keeps what
        # the last write waited for, and after our time-out that is cancelled: the next write would end the stream.
        self._transport.set_write_buffer_limits(high=_BUFFER_BYTES, low=_BUFFER_BYTES)
        found = self._transport.get_extra_info("socket")
        if found is not None:
            found.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _KERNEL_BUFFER_BYTES)

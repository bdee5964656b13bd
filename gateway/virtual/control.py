"""Where command lines come from: standard input, and a Unix socket that several programs may use at once.

Each line is answered with one line. The socket is its owner's alone (mode 0600).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

from gateway.errors import SettingsFault

__all__ = ["command_socket", "stdin_commands"]

Run = Callable[[str], str]
_LONGEST_LINE = 4096


@contextlib.asynccontextmanager
async def command_socket(path: Path | None, run: Run) -> AsyncIterator[None]:
    """Serve commands at `path` while the body runs; None serves nothing. Raises SettingsFault when it can't."""
    if path is None:
        yield
        return
    _clear_stale(path)
    writers: set[asyncio.StreamWriter] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.add(writer)
        await _serve(reader, writer, run)
        writers.discard(writer)

    try:
        server = await asyncio.start_unix_server(
            lambda r, w: _serve(r, w, run), sock=_listen(path), limit=_LONGEST_LINE
        )
    except OSError as fault:
        raise SettingsFault(
            f"The control socket {path} can't be made: {fault.strerror or fault}.",
            remedy="Choose a path in a folder that you may write to, of less than 100 characters.",
        ) from fault
    try:
        yield
    finally:
        server.close()
        for writer in writers:
            writer.close()
        _remove(path)


async def _serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, run: Run) -> None:
    try:
        while line := await reader.readline():
            answer = run(line.decode("utf-8", "replace"))
            writer.write(answer.encode() + b"\n")
            await writer.drain()
    except (ConnectionError, ValueError):  # gone, or a line without an end
        pass
    finally:
        writer.close()


def _listen(path: Path) -> socket.socket:
    listener = socket.socket(socket.AF_UNIX)
    try:
        listener.bind(str(path))
        path.chmod(0o600)
    except OSError:
        listener.close()
        raise
    return listener


def _remove(path: Path) -> None:
    path.unlink(missing_ok=True)


def _clear_stale(path: Path) -> None:
    """Remove the socket of a process that is no more."""
    if not path.is_socket():
        return
    with socket.socket(socket.AF_UNIX) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            path.unlink(missing_ok=True)
            return
    raise SettingsFault(f"The control socket {path} is in use.", remedy="Choose another path for this one.")


@contextlib.contextmanager
def stdin_commands(wanted: bool, run: Run, say: Callable[[str], None], fd: int = 0) -> Iterator[None]:
    """Run the lines of standard input while the body runs and say each answer. Its end ends nothing else.

    A file instead of a pipe or terminal is read to its end at once.
    """
    if not wanted:
        yield
        return
    loop, lines = asyncio.get_running_loop(), _Lines(run, say)

    def readable() -> None:
        data = os.read(fd, _LONGEST_LINE)
        lines.take(data)
        if not data:
            loop.remove_reader(fd)

    try:
        loop.add_reader(fd, readable)
    except OSError:  # epoll takes no files; closed standard input is no source of commands either
        with contextlib.suppress(OSError):
            while data := os.read(fd, _LONGEST_LINE):
                lines.take(data)
            lines.take(b"")
    try:
        yield
    finally:
        loop.remove_reader(fd)


class _Lines:
    """Cuts what is read into lines; an empty read ends the last one."""

    def __init__(self, run: Run, say: Callable[[str], None]) -> None:
        self._run, self._say = run, say
        self._rest = b""

    def take(self, data: bytes) -> None:
        *whole, self._rest = (self._rest + (data or b"\n")).split(b"\n")
        for line in whole:
            answer = self._run(line.decode("utf-8", "replace"))
            if answer:
                self._say(answer)

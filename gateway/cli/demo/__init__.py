"""The demo: an invented boatyard with three virtual receivers on two paced lines, and the real daemon."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["demo"]


def demo(
    seconds: Annotated[
        float | None, typer.Option("--for", min=1, help="End by itself after this many seconds.")
    ] = None,
    listen: Annotated[str, typer.Option("--listen", help="Where the API listens.")] = "127.0.0.1:8470",
) -> None:
    """Play an invented boatyard: three virtual receivers on two lines, and the real daemon. Needs no hardware."""
    from gateway.cli.demo.play import play  # noqa: PLC0415 - other commands start without it

    play(seconds, listen)

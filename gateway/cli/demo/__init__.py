"""The demo: an invented boatyard with three virtual receivers on two paced lines, and the real daemon."""

from __future__ import annotations

from gateway.cli.demo.play import demo

__all__ = ["demo"]

"""`gatepost` and `python -m gateway`."""

from __future__ import annotations

from importlib import import_module

_INTERRUPTED = 130
"""What a shell reports of a command that was ended by Ctrl-C: 128 and the signal's number."""


def main() -> None:
    """Load the command line, which takes a moment on a small board, and run it."""
    try:
        cli = import_module("gateway.cli")
    except KeyboardInterrupt:
        raise SystemExit(_INTERRUPTED) from None
    cli.main()


if __name__ == "__main__":
    main()

"""The command line: reads arguments, asks the running daemon over its API, and speaks to people.

Commands never touch the daemon's files. Exit codes: 0 done, 1 refused or found wrong, 2 wrong usage or settings,
3 cannot reach.
"""

from __future__ import annotations

from gateway.cli.app import main

__all__ = ["main"]

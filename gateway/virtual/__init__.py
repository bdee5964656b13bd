"""A virtual receiver on a pseudo-terminal: memory, relays, radio, board, line pacing and faults.

It plays what docs/register-map.md demands of a receiver, for the demo, for tests and for people without hardware.
It knows nothing of drivers, mirrors or rosters. docs/virtual-receiver.md shows how to start and drive it.
"""

from __future__ import annotations

from gateway.virtual.options import VirtualOptions
from gateway.virtual.process import run_virtual

__all__ = ["VirtualOptions", "run_virtual"]

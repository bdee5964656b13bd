"""One serial line: its port, and a Modbus RTU master that many callers share.

Public: `Line` and what it takes and tells. The room knows ports, time and frames; it doesn't know what a
receiver is or what its registers mean.
"""

from __future__ import annotations

from gateway.line.config import LineConfig
from gateway.line.held import HeldLine
from gateway.line.line import Line
from gateway.line.state import ANSWER_BOUNDS_S, LineCounters, LineState, LineStateKind
from gateway.line.timing import Timing

__all__ = ["ANSWER_BOUNDS_S", "HeldLine", "Line", "LineConfig", "LineCounters", "LineState", "LineStateKind", "Timing"]

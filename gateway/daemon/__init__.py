"""The one place that builds every part, plugs the ports together and owns the task tree.

Read `parts` (what the settings ask for), `house` (how it is plugged), `running` (the tasks), in that order.
"""

from __future__ import annotations

from gateway.daemon.parts import Parts, plan_parts
from gateway.daemon.running import run_gateway

__all__ = ["Parts", "plan_parts", "run_gateway"]

"""Nothing operates an output by itself: a timetable, the roster, MQTT, a webhook or a script can't even ask (rule i).

Read from the source: who makes an order, who hands one over, and who sends the one request that moves a gate.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Set
from functools import cache
from pathlib import Path

import gateway
from gateway.api.routes import OPERATIONS
from gateway.api.scopes import Scope

_ROOT = Path(gateway.__file__).parent


@cache
def _callers() -> Mapping[str, Set[str]]:
    """Files by what they call, as a function or as a method."""
    found: dict[str, set[str]] = {}
    for path in _ROOT.rglob("*.py"):
        for word in re.findall(r"\b(\w+)\(", path.read_text("utf-8")):
            found.setdefault(word, set()).add(str(path.relative_to(_ROOT)))
    return found


def test_only_a_request_of_the_api_makes_an_order() -> None:
    """One handler; timetables, outlets, the roster and commands know no way to it but that request."""
    assert _callers()["OperationOrder"] == {"api/resources/operating.py"}
    told = {"ports/operating.py", "receivers/registermap.py", "cli/operating.py"}  # defines it; the driver; the command
    assert _callers()["operate"] - told == {"api/resources/operating.py", "watch/operating/desk.py"}


def test_only_one_operation_needs_the_scope_for_it() -> None:
    """And nothing else takes that scope for more than reading."""
    assert [each.id for each in OPERATIONS if each.scope is Scope.OPERATE] == ["operateOutput"]

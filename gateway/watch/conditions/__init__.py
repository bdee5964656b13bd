"""Conditions and gates: what follows from events and time, and whom it needs.

`state` is all that is remembered; `seeing` takes an event into it; `rules` say what holds; `engine` compares that with
what is open. All of these are pure. `service` is the one loop that feeds them from the journal and the clock, and
`board` answers where gates stand.
"""

from __future__ import annotations

from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.service import ConditionWatch

__all__ = ["ConditionWatch", "Premises"]

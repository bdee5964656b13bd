"""What is pending at each receiver, remembered: drafting a plan over a thousand slots is too much for every glance.

A draft stands as long as the mirror, the roster, the revocations and the clock's trust it was made from, and ten
minutes at most, for dates begin and end by themselves (our choice; the timetable doesn't wait for it).
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.api.services import Services
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan

__all__ = ["AgreementBook"]

_KEPT_S = 600.0


@dataclass(frozen=True, slots=True)
class _Kept:
    mirror: Mirror
    premises: tuple[object, ...]
    at_s: float
    plan: Plan


class AgreementBook:
    """Drafts by receiver."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._kept: dict[str, _Kept] = {}

    def pending(self, mirror: Mirror) -> Plan:
        """The plan from this mirror to the roster. Raises as `SyncRuns.draft`."""
        premises, now = self._premises(), self._services.clock.monotonic()
        kept = self._kept.get(mirror.receiver)
        if kept is not None and kept.mirror is mirror and kept.premises == premises and now < kept.at_s + _KEPT_S:
            return kept.plan
        plan = self._services.sync.draft(mirror)
        self._kept[mirror.receiver] = _Kept(mirror, premises, now, plan)
        return plan

    def _premises(self) -> tuple[object, ...]:
        services = self._services
        accepted = services.roster.state().accepted
        revoked = tuple((each.serial, each.time) for each in services.revocations.all())
        return accepted, revoked, services.trust.trusted

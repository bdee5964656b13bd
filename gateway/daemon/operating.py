"""Builds the desk at which outputs are operated from afar.

Here one can see that nothing else has it: the desk goes into the house, from there to the API's services, and nowhere
else. Timetable, roster, outlets and all that acts by itself are built without it.
"""

from __future__ import annotations

from gateway.daemon.ground import Ground
from gateway.daemon.syncing import Syncing
from gateway.daemon.watching import Watching, build_premises
from gateway.settings.gates import build_operables
from gateway.system.boot import read_boot_id
from gateway.watch.operating import OperatingDesk

__all__ = ["build_operating"]


def build_operating(ground: Ground, watching: Watching, syncing: Syncing) -> OperatingDesk:
    """Its `run` is a task of the daemon."""
    settings, store = ground.settings, ground.store
    gates = build_premises(settings, ground.parts).gates
    return OperatingDesk(
        build_operables(settings.gates, settings.receivers, gates),
        receivers=ground.parts.receivers,
        poll_rates_hz={name: receiver.polls_per_second for name, receiver in settings.receivers.items()},
        live=watching.watch.live,
        mirrors=store.mirrors,
        journal=store.journal,
        documents=store.documents,
        audit=store.audit,
        clock=ground.clock,
        boot_id=read_boot_id(),
        planning=syncing.runner.is_planning,
        names={fact.name: fact.outputs for fact in ground.parts.facts},
    )

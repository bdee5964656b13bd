"""The operations on outlets."""

from __future__ import annotations

from gateway.api.models import outlets
from gateway.api.operations import Operation
from gateway.api.resources import outlets as outlet_list
from gateway.api.scopes import Scope

__all__ = ["OUTLET_OPERATIONS"]

OUTLET_OPERATIONS = (
    Operation(
        id="listOutlets",
        method="GET",
        path="/api/v1/outlets",
        summary="Where events go, and how far each outlet has come",
        tag="outlets",
        scope=Scope.VIEW,
        handler=outlet_list.list_outlets,
        answer=outlets.OutletsAnswer,
    ),
    Operation(
        id="getOutlet",
        method="GET",
        path="/api/v1/outlets/{id}",
        summary="One outlet, with the events that it set aside",
        tag="outlets",
        scope=Scope.VIEW,
        handler=outlet_list.get_outlet,
        answer=outlets.OutletDetailAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="testOutlet",
        method="POST",
        path="/api/v1/outlets/{id}/tests",
        summary="Send each kind of event once as a test",
        tag="outlets",
        scope=Scope.ADMIN,
        handler=outlet_list.test_outlet,
        answer=outlets.TestsAnswer,
        problems=("not-found",),
        repeatable=True,
    ),
    Operation(
        id="replayOutlet",
        method="POST",
        path="/api/v1/outlets/{id}/replays",
        summary="Send again from an event on, or let a disabled outlet go on",
        tag="outlets",
        scope=Scope.ADMIN,
        handler=outlet_list.replay_outlet,
        body=outlets.ReplayBody,
        answer=outlets.OutletAnswer,
        problems=("not-found", "refused"),
        repeatable=True,
    ),
)

"""The operations on gates, on conditions, and the question why one does not open."""

from __future__ import annotations

from gateway.api.models import conditions, gates, whys
from gateway.api.operations import Operation
from gateway.api.resources import conditions as condition_list
from gateway.api.resources import gates as gate_list
from gateway.api.resources import whys as why_answers
from gateway.api.scopes import Scope

__all__ = ["GATE_OPERATIONS"]

GATE_OPERATIONS = (
    Operation(
        id="listGates",
        method="GET",
        path="/api/v1/gates",
        summary="Every gate: where it stands, since when, and whether it is healthy",
        tag="gates",
        scope=Scope.VIEW,
        handler=gate_list.list_gates,
        answer=gates.GatesAnswer,
        conditional=True,
    ),
    Operation(
        id="getGate",
        method="GET",
        path="/api/v1/gates/{id}",
        summary="One gate",
        tag="gates",
        scope=Scope.VIEW,
        handler=gate_list.get_gate,
        answer=gates.GateAnswer,
        problems=("not-found",),
        conditional=True,
    ),
    Operation(
        id="listConditions",
        method="GET",
        path="/api/v1/conditions",
        summary="What needs a person, newest first",
        tag="gates",
        scope=Scope.VIEW,
        handler=condition_list.list_conditions,
        query=conditions.ConditionsQuery,
        answer=conditions.ConditionsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="getCondition",
        method="GET",
        path="/api/v1/conditions/{id}",
        summary="One condition",
        tag="gates",
        scope=Scope.VIEW,
        handler=condition_list.get_condition,
        answer=conditions.ConditionAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="acknowledgeCondition",
        method="POST",
        path="/api/v1/conditions/{id}/acknowledgement",
        summary="Take note of a condition, with name and note",
        tag="gates",
        scope=Scope.ROSTER,
        handler=condition_list.acknowledge_condition,
        body=conditions.AcknowledgementBody,
        answer=conditions.ConditionAnswer,
        problems=("not-found", "condition-cleared", "acknowledged-already"),
        repeatable=True,
    ),
    Operation(
        id="getWhy",
        method="GET",
        path="/api/v1/why",
        summary="Why does it not open? By holder or serial",
        tag="gates",
        scope=Scope.ROSTER,
        handler=why_answers.get_why,
        query=whys.WhyQuery,
        answer=whys.WhyAnswer,
        problems=("not-found",),
    ),
)

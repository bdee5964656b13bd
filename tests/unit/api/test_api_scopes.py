"""What scopes contain."""

from __future__ import annotations

import pytest

from gateway.api.routes import OPERATIONS
from gateway.api.scopes import Scope, widen


@pytest.mark.parametrize(
    ("held", "contains"),
    [
        (["view"], {"view"}),
        (["roster"], {"roster", "view"}),
        (["operate"], {"operate", "view"}),
        (["admin"], {"view", "roster", "operate", "admin"}),
        (["roster", "operate"], {"view", "roster", "operate"}),
        ([], set()),
        (["owner", "VIEW"], set()),
    ],
)
def test_scopes_contain_what_they_say(held: list[str], contains: set[str]) -> None:
    """`roster` and `operate` also read, `admin` does everything, and unknown names give nothing."""
    assert widen(held) == {Scope(name) for name in contains}


#: What changes something, and what it takes: written down by hand, so that a slip in a file of resources shows.
_CHANGES = {
    "view": {"openSession", "endSession"},
    "operate": {"operateOutput"},
    "roster": {
        "acknowledgeCondition", "addPerson", "approvePlan", "approveWait", "cancelEnrolment", "changePerson",
        "checkRoster", "compareSnapshots", "completeEnrolment", "createPlan", "createRevocation",
        "createRevocationBatch", "decideDrift", "endVisit", "fetchRoster", "finishEnrolment", "importRoster",
        "importSnapshot", "liftRevocation", "previewRestore", "putGroup", "readFirstRoster", "refusePlan",
        "removeGroup", "removePerson", "setHoldings", "startEnrolment", "startRestore", "startVisit",
        "takeSnapshot", "tickLine", "untickLine", "withdrawOverride"
    },
    "admin": {
        "changeOutputNames", "changeSettings", "confirmReceiver", "createToken", "forgetPerson", "removeToken",
        "replayOutlet", "resetReceiver", "testOutlet"
    },
}  # fmt: skip
#: What is read and names people, or tells of tokens and of who did what.
_PERSONAL = {
    "roster": {
        "exportGroups", "exportOds", "exportRoster", "exportTimeline", "exportXlsx", "getAccess", "getAccessPage",
        "getAccessTable", "getEnrolment", "getHandover", "getHandoverPage", "getHandoverTable", "getHistory",
        "getPerson", "getRevocation", "getRevocationSelection", "getSnapshot", "getVisitSheet", "getWhy",
        "listDrift", "listEdits", "listEnrolments", "listOverrides", "listPeople", "listRevocations",
        "listRosterRevisions"
    },
    "admin": {
        "checkAudit", "listAudit", "listTokens"
    },
}  # fmt: skip


def test_what_an_operation_takes() -> None:
    """OWASP API5: who may only look changes nothing and sees nobody; each change has the scope that was agreed on."""
    changes: dict[str, set[str]] = {}
    reads: dict[str, set[str]] = {}
    for operation in OPERATIONS:
        if operation.scope is not None:
            kept = reads if operation.method == "GET" else changes
            kept.setdefault(operation.scope.value, set()).add(operation.id)
        else:
            assert operation.method == "GET"
    assert changes == _CHANGES
    assert {scope: ids for scope, ids in reads.items() if scope != "view"} == _PERSONAL

"""Plans: what would be written to a receiver, and how it went."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, Serial, Time, example

__all__ = [
    "ApplicationAnswer",
    "ChangeAnswer",
    "PlanAnswer",
    "PlanBody",
    "PlanSummary",
    "PlansAnswer",
    "PlansQuery",
    "ProgressAnswer",
    "RefusalBody",
]


class PlansQuery(Query):
    """Which plans; newest first."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=50, ge=1, le=500)
    receiver: str | None = None
    open: bool = Field(
        default=False, description="Only those that are not over: held, about to be written, being written. No pages."
    )


class PlanBody(Body):
    """Preview shows what would be written and keeps nothing; without it the plan is made and written."""

    model_config = ConfigDict(json_schema_extra=example(receiver="slip-gate", preview=True))

    receiver: str = Field(min_length=1)
    preview: bool = False


class RefusalBody(Body):
    """Why a plan that waits for approval is not to go ahead."""

    model_config = ConfigDict(json_schema_extra=example(reason="they all stay until the end of the season"))

    reason: str = Field(min_length=1, max_length=300)


class ChangeAnswer(Answer):
    """One slot's change. `words` is there with the scope `roster` alone."""

    kind: Literal["added", "changed", "removed"]
    slot: int
    serial: Serial
    before: dict[str, list[int]] | None = Field(description="Outputs by position before; null for an addition.")
    after: dict[str, list[int]] | None = Field(description="Outputs by position after; null for a removal.")
    revoked: bool
    guarded: bool = Field(description="It counts towards the guard of removals.")
    gains: dict[str, list[int]] = Field(
        description="Outputs by position that its holder has afterwards and not before."
    )
    loses: dict[str, list[int]] = Field(description="Outputs by position that its holder had before and has no more.")
    words: str | None = None


class ProgressAnswer(Answer):
    """How far it is."""

    done: int
    total: int
    words: str


class ApplicationAnswer(Answer):
    """How a plan's writing goes: cheap to ask for again and again. `words` names slots and holders: scope `roster`."""

    model_config = ConfigDict(
        json_schema_extra=example(plan="p-0007", state="applying", done=120, total=318, words="writing slot 121")
    )

    plan: str
    state: Literal["preview", "held", "pending", "applying", "applied", "failed", "refused", "superseded"]
    done: int
    total: int
    words: str


class PlanSummary(Answer):
    """A plan without its single changes."""

    id: str
    receiver: str
    created: Time
    state: Literal["preview", "held", "pending", "applying", "applied", "failed", "refused", "superseded"]
    reason: str
    added: int
    changed: int
    removed: int
    unchanged: int
    done: int
    gaining: int = Field(description="Transmitters that gain something.")
    losing: int = Field(description="Transmitters that lose something.")
    wire_s: float = Field(description="Estimated seconds on the wire.")
    by_hand: bool = Field(description="No line reaches it: it stands on the visit sheet and is never proven.")
    hold: str = Field(description="Why it waits for approval; empty when it does not.")
    outcome: str
    snapshot: str = Field(description="The snapshot that was taken before it; empty before that.")
    receipt: str = Field(description="The signed receipt of its proof; empty when there is none.")
    base_revision: int
    roster_digest: str
    progress: ProgressAnswer | None = Field(description="Null when it is not being applied.")


class PlanAnswer(PlanSummary):
    """A plan in full. `left_out` and the changes' `words` are there with the scope `roster` alone."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="p-0007",
            receiver="slip-gate",
            created="2026-03-02T08:00:00.000Z",
            state="applying",
            reason="roster",
            added=1,
            changed=0,
            removed=0,
            unchanged=317,
            done=0,
            gaining=1,
            losing=0,
            wire_s=0.4,
            by_hand=False,
            hold="",
            outcome="",
            snapshot="slip-gate-0003",
            receipt="",
            base_revision=412,
            roster_digest="9f2c",
            progress={"done": 0, "total": 1, "words": "writing slot 319"},
            changes=[
                {
                    "kind": "added",
                    "slot": 319,
                    "serial": "0048231911",
                    "before": None,
                    "after": {"1": [1]},
                    "revoked": False,
                    "guarded": False,
                    "gains": {"1": [1]},
                    "loses": {},
                    "words": "slot 319: Harbour office gets the gate on position 1",
                }
            ],
            left_out=[],
        )
    )

    changes: list[ChangeAnswer]
    left_out: list[str] | None = None


class PlansAnswer(Answer):
    """A page of plans. `next` is the next page's cursor, null on the last one."""

    plans: list[PlanSummary]
    next: str | None

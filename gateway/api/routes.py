"""Every operation of the API, in the order of its documentation.

A file of `resources` holds its handlers and, at its end, `OPERATIONS`: their methods, paths, scopes, models and
problems. Naming the file here is all that puts it into the router, the OpenAPI document, the checks of scopes and
the tests that walk through every operation.
"""

from __future__ import annotations

from gateway.api.operations import Operation
from gateway.api.resources import (
    agreements,
    audit,
    conditions,
    contact,
    drift,
    enrolments,
    events,
    forgetting,
    gates,
    gateway,
    groups,
    histories,
    operating,
    outlets,
    output_names,
    people,
    people_edits,
    plans,
    receipts,
    receivers,
    reports,
    restores,
    revocation_batches,
    revocations,
    roster,
    roster_files,
    sessions,
    settings,
    slots,
    snapshots,
    stream,
    timeline,
    tokens,
    visit_sheets,
    visits,
    whys,
)

__all__ = ["OPERATIONS"]

OPERATIONS: tuple[Operation, ...] = (
    *gateway.OPERATIONS,
    *contact.OPERATIONS,
    *receivers.OPERATIONS,
    *settings.OPERATIONS,
    *output_names.OPERATIONS,
    *slots.OPERATIONS,
    *agreements.OPERATIONS,
    *gates.OPERATIONS,
    *conditions.OPERATIONS,
    *operating.OPERATIONS,
    *whys.OPERATIONS,
    *people.OPERATIONS,
    *people_edits.OPERATIONS,
    *groups.OPERATIONS,
    *roster_files.OPERATIONS,
    *forgetting.OPERATIONS,
    *reports.OPERATIONS,
    *roster.OPERATIONS,
    *histories.OPERATIONS,
    *plans.OPERATIONS,
    *drift.OPERATIONS,
    *receipts.OPERATIONS,
    *enrolments.OPERATIONS,
    *revocations.OPERATIONS,
    *revocation_batches.OPERATIONS,
    *visit_sheets.OPERATIONS,
    *visits.OPERATIONS,
    *snapshots.OPERATIONS,
    *restores.OPERATIONS,
    *events.OPERATIONS,
    *stream.OPERATIONS,
    *timeline.OPERATIONS,
    *outlets.OPERATIONS,
    *tokens.OPERATIONS,
    *sessions.OPERATIONS,
    *audit.OPERATIONS,
)

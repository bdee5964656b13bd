"""A method for each operation of the API.

Written from the OpenAPI document by `make client`; a change made here is lost.
"""

# fmt: off
# ruff: noqa: E501 - written by a program, for programs

from __future__ import annotations

from typing import Any, Literal

from gateway.api.client import types
from gateway.api.client.calling import Calling, Tagged

__all__ = ["Operations"]


class Operations(Calling):
    """Methods named after the operations' ids, with their parameters."""

    async def get_health(self) -> types.HealthAnswer:
        """Whether the gateway does what it is there for; the same as /healthz/ready."""
        found: types.HealthAnswer = await self._call("GET", "/healthz", path={})
        return found

    async def get_live(self) -> types.HealthAnswer:
        """Whether every part makes progress; when not, a restart may help."""
        found: types.HealthAnswer = await self._call("GET", "/healthz/live", path={})
        return found

    async def get_ready(self) -> types.HealthAnswer:
        """Whether the gateway does what it is there for."""
        found: types.HealthAnswer = await self._call("GET", "/healthz/ready", path={})
        return found

    async def get_metrics(self) -> bytes:
        """Metrics in Prometheus' text format."""
        found: bytes = await self._download("GET", "/metrics", path={})
        return found

    async def get_openapi(self) -> dict[str, Any]:
        """This document."""
        found: dict[str, Any] = await self._call("GET", "/api/v1/openapi.json", path={})
        return found

    async def get_gateway(self) -> types.GatewayAnswer:
        """Version, clock, journal, next run and what a person should know."""
        found: types.GatewayAnswer = await self._call("GET", "/api/v1/gateway", path={})
        return found

    async def get_security_contact(self) -> bytes:
        """Whom to tell of a weakness (RFC 9116)."""
        found: bytes = await self._download("GET", "/.well-known/security.txt", path={})
        return found

    async def list_receivers(self, *, cursor: str | None = None, limit: int | None = None) -> types.ReceiversAnswer:
        """Every receiver and its link."""
        found: types.ReceiversAnswer = await self._call("GET", "/api/v1/receivers", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_receiver(self, id: str | int) -> types.ReceiverAnswer:
        """One receiver and its link."""
        found: types.ReceiverAnswer = await self._call("GET", "/api/v1/receivers/{id}", path={"id": id})
        return found

    async def get_status(self, id: str | int) -> types.StatusAnswer:
        """Inputs and outputs at the last poll, with its age."""
        found: types.StatusAnswer = await self._call("GET", "/api/v1/receivers/{id}/status", path={"id": id})
        return found

    async def confirm_receiver(self, id: str | int, body: types.ConfirmationBody | None = None) -> types.ReceiverAnswer:
        """Say that the receiver which answers now is the right one."""
        found: types.ReceiverAnswer = await self._call("POST", "/api/v1/receivers/{id}/confirmation", path={"id": id}, body=body)
        return found

    async def get_settings(self, id: str | int) -> Tagged[types.SettingsAnswer]:
        """On-times and local programming, read from the receiver."""
        found: Tagged[types.SettingsAnswer] = await self._call_tagged("GET", "/api/v1/receivers/{id}/settings", path={"id": id})
        return found

    async def change_settings(self, id: str | int, body: types.SettingsBody, *, if_match: str) -> types.SettingsChangeAnswer:
        """Change settings, read back from the receiver."""
        found: types.SettingsChangeAnswer = await self._call("PATCH", "/api/v1/receivers/{id}/settings", path={"id": id}, body=body, headers={"If-Match": if_match})
        return found

    async def get_output_names(self, id: str | int) -> Tagged[types.OutputNamesAnswer]:
        """What outputs are called in the settings file and in use."""
        found: Tagged[types.OutputNamesAnswer] = await self._call_tagged("GET", "/api/v1/receivers/{id}/output-names", path={"id": id})
        return found

    async def change_output_names(self, id: str | int, body: types.OutputNamesBody, *, if_match: str) -> types.OutputNamesChangeAnswer:
        """Call outputs otherwise; no receiver is changed."""
        found: types.OutputNamesChangeAnswer = await self._call("PATCH", "/api/v1/receivers/{id}/output-names", path={"id": id}, body=body, headers={"If-Match": if_match})
        return found

    async def list_slots(self, id: str | int, *, cursor: str | None = None, limit: int | None = None, q: str | None = None) -> types.SlotsAnswer:
        """What the receiver's memory holds, by page."""
        found: types.SlotsAnswer = await self._call("GET", "/api/v1/receivers/{id}/slots", path={"id": id}, query={"cursor": cursor, "limit": limit, "q": q})
        return found

    async def list_agreements(self, *, cursor: str | None = None, limit: int | None = None) -> types.AgreementsAnswer:
        """Whether each receiver holds what the roster says."""
        found: types.AgreementsAnswer = await self._call("GET", "/api/v1/agreements", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def list_gates(self, *, cursor: str | None = None, limit: int | None = None) -> types.GatesAnswer:
        """Every gate: where it stands, since when, and whether it is healthy."""
        found: types.GatesAnswer = await self._call("GET", "/api/v1/gates", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_gate(self, id: str | int) -> types.GateAnswer:
        """One gate."""
        found: types.GateAnswer = await self._call("GET", "/api/v1/gates/{id}", path={"id": id})
        return found

    async def list_conditions(self, *, cursor: str | None = None, limit: int | None = None, state: Literal['open', 'cleared', 'all'] | None = None, gate: str | None = None) -> types.ConditionsAnswer:
        """What needs a person, newest first."""
        found: types.ConditionsAnswer = await self._call("GET", "/api/v1/conditions", path={}, query={"cursor": cursor, "limit": limit, "state": state, "gate": gate})
        return found

    async def get_condition(self, id: str | int) -> types.ConditionAnswer:
        """One condition."""
        found: types.ConditionAnswer = await self._call("GET", "/api/v1/conditions/{id}", path={"id": id})
        return found

    async def acknowledge_condition(self, id: str | int, body: types.AcknowledgementBody, *, key: str | None = None) -> types.ConditionAnswer:
        """Take note of a condition, with name and note."""
        found: types.ConditionAnswer = await self._call("POST", "/api/v1/conditions/{id}/acknowledgement", path={"id": id}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_outputs(self, id: str | int) -> types.OutputsAnswer:
        """Outputs, and which of them may be operated from afar."""
        found: types.OutputsAnswer = await self._call("GET", "/api/v1/receivers/{id}/outputs", path={"id": id})
        return found

    async def list_operations(self, id: str | int, output: str | int, *, cursor: str | None = None, limit: int | None = None) -> types.OperationsAnswer:
        """The newest operations of an output."""
        found: types.OperationsAnswer = await self._call("GET", "/api/v1/receivers/{id}/outputs/{output}/operations", path={"id": id, "output": output}, query={"cursor": cursor, "limit": limit})
        return found

    async def operate_output(self, id: str | int, output: str | int, body: types.OperationBody, *, key: str | None = None) -> types.OperationAnswer:
        """Close an output once (201), after a warning where there is one (202)."""
        found: types.OperationAnswer = await self._call("POST", "/api/v1/receivers/{id}/outputs/{output}/operations", path={"id": id, "output": output}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_operation(self, id: str | int, output: str | int, operation: str | int) -> types.OperationAnswer:
        """One operation and how far it is."""
        found: types.OperationAnswer = await self._call("GET", "/api/v1/receivers/{id}/outputs/{output}/operations/{operation}", path={"id": id, "output": output, "operation": operation})
        return found

    async def get_why(self, *, holder: str) -> types.WhyAnswer:
        """Why does it not open? By holder or serial."""
        found: types.WhyAnswer = await self._call("GET", "/api/v1/why", path={}, query={"holder": holder})
        return found

    async def list_people(self, *, cursor: str | None = None, limit: int | None = None, q: str | None = None, group: str | None = None, receiver: str | None = None, standing: types.Standing | None = None, unnamed: bool | None = None, listed: bool | None = None, sort: types.PeopleOrder | None = None) -> types.PeopleAnswer:
        """Everybody by page, searched by holder or serial."""
        found: types.PeopleAnswer = await self._call("GET", "/api/v1/people", path={}, query={"cursor": cursor, "limit": limit, "q": q, "group": group, "receiver": receiver, "standing": standing, "unnamed": unnamed, "listed": listed, "sort": sort})
        return found

    async def add_person(self, body: types.PersonBody, *, preview: bool | None = None, key: str | None = None) -> types.EditAnswer:
        """Add a transmitter to a roster that this gateway keeps."""
        found: types.EditAnswer = await self._call("POST", "/api/v1/people", path={}, query={"preview": preview}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_person(self, serial: str | int) -> Tagged[types.PersonAnswer]:
        """The card of the person who carries a transmitter."""
        found: Tagged[types.PersonAnswer] = await self._call_tagged("GET", "/api/v1/people/{serial}", path={"serial": serial})
        return found

    async def change_person(self, serial: str | int, body: types.PersonChangeBody, *, preview: bool | None = None, if_match: str) -> types.EditAnswer:
        """Change a transmitter's row: holder, group, rights, dates, note."""
        found: types.EditAnswer = await self._call("PATCH", "/api/v1/people/{serial}", path={"serial": serial}, query={"preview": preview}, body=body, headers={"If-Match": if_match})
        return found

    async def remove_person(self, serial: str | int, *, preview: bool | None = None, if_match: str) -> types.EditAnswer:
        """Remove a transmitter from a roster that this gateway keeps."""
        found: types.EditAnswer = await self._call("DELETE", "/api/v1/people/{serial}", path={"serial": serial}, query={"preview": preview}, headers={"If-Match": if_match})
        return found

    async def list_groups(self, *, cursor: str | None = None, limit: int | None = None) -> types.GroupsAnswer:
        """Every group and its rights."""
        found: types.GroupsAnswer = await self._call("GET", "/api/v1/roster/groups", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_group(self, id: str | int) -> types.GroupAnswer:
        """One group."""
        found: types.GroupAnswer = await self._call("GET", "/api/v1/roster/groups/{id}", path={"id": id})
        return found

    async def put_group(self, id: str | int, body: types.GroupBody, *, preview: bool | None = None) -> types.EditAnswer:
        """Make, change or rename a group of a roster that this gateway keeps; If-Match where it exists."""
        found: types.EditAnswer = await self._call("PUT", "/api/v1/roster/groups/{id}", path={"id": id}, query={"preview": preview}, body=body)
        return found

    async def remove_group(self, id: str | int, *, preview: bool | None = None) -> types.EditAnswer:
        """Remove a group that nobody is in."""
        found: types.EditAnswer = await self._call("DELETE", "/api/v1/roster/groups/{id}", path={"id": id}, query={"preview": preview})
        return found

    async def list_edits(self, *, cursor: str | None = None, limit: int | None = None) -> types.RevisionsAnswer:
        """Edits of a roster that this gateway keeps: who, when, what."""
        found: types.RevisionsAnswer = await self._call("GET", "/api/v1/roster/edits", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def export_roster(self, *, revision: int | None = None) -> bytes:
        """The roster file that this gateway keeps."""
        found: bytes = await self._download("GET", "/api/v1/roster/files/roster.csv", path={}, query={"revision": revision})
        return found

    async def export_groups(self, *, revision: int | None = None) -> bytes:
        """The groups file that this gateway keeps."""
        found: bytes = await self._download("GET", "/api/v1/roster/files/groups.toml", path={}, query={"revision": revision})
        return found

    async def export_xlsx(self, *, revision: int | None = None) -> bytes:
        """The roster that this gateway keeps, with its groups, as an XLSX workbook."""
        found: bytes = await self._download("GET", "/api/v1/roster/files/roster.xlsx", path={}, query={"revision": revision})
        return found

    async def export_ods(self, *, revision: int | None = None) -> bytes:
        """The roster that this gateway keeps, with its groups, as an ODS document."""
        found: bytes = await self._download("GET", "/api/v1/roster/files/roster.ods", path={}, query={"revision": revision})
        return found

    async def import_roster(self, body: types.CheckBody, *, preview: bool | None = None) -> types.EditAnswer:
        """Replace the files of a roster that this gateway keeps; If-Match where there are some."""
        found: types.EditAnswer = await self._call("PUT", "/api/v1/roster/files", path={}, query={"preview": preview}, body=body)
        return found

    async def read_first_roster(self, body: types.FirstRosterBody | None = None) -> types.FirstRosterAnswer:
        """A roster of what the receivers hold; changes nothing on any of them."""
        found: types.FirstRosterAnswer = await self._call("POST", "/api/v1/roster/first-rosters", path={}, body=body)
        return found

    async def forget_person(self, body: types.ForgettingBody, *, preview: bool | None = None) -> types.ForgettingAnswer:
        """Take a person who has left out of everything that is kept here."""
        found: types.ForgettingAnswer = await self._call("POST", "/api/v1/forgettings", path={}, query={"preview": preview}, body=body)
        return found

    async def get_handover(self, *, named: bool | None = None) -> types.HandoverAnswer:
        """The handover document of the site, as data."""
        found: types.HandoverAnswer = await self._call("GET", "/api/v1/reports/handover", path={}, query={"named": named})
        return found

    async def get_handover_page(self, *, named: bool | None = None) -> bytes:
        """The handover document of the site, as a page that prints well."""
        found: bytes = await self._download("GET", "/api/v1/reports/handover.html", path={}, query={"named": named})
        return found

    async def get_handover_table(self, *, named: bool | None = None) -> bytes:
        """Who has what, as a table for a spreadsheet."""
        found: bytes = await self._download("GET", "/api/v1/reports/handover.csv", path={}, query={"named": named})
        return found

    async def get_access(self, *, named: bool | None = None, gate: str) -> types.AccessAnswer:
        """Who has access to one gate, as data."""
        found: types.AccessAnswer = await self._call("GET", "/api/v1/reports/access", path={}, query={"named": named, "gate": gate})
        return found

    async def get_access_page(self, *, named: bool | None = None, gate: str) -> bytes:
        """Who has access to one gate, as a page that prints well."""
        found: bytes = await self._download("GET", "/api/v1/reports/access.html", path={}, query={"named": named, "gate": gate})
        return found

    async def get_access_table(self, *, named: bool | None = None, gate: str) -> bytes:
        """Who has access to one gate, as a table for a spreadsheet."""
        found: bytes = await self._download("GET", "/api/v1/reports/access.csv", path={}, query={"named": named, "gate": gate})
        return found

    async def get_retention(self) -> types.RetentionAnswer:
        """What is kept about people, and for how long."""
        found: types.RetentionAnswer = await self._call("GET", "/api/v1/reports/retention", path={})
        return found

    async def get_roster(self) -> types.RosterAnswer:
        """The roster in force and what its source last said."""
        found: types.RosterAnswer = await self._call("GET", "/api/v1/roster", path={})
        return found

    async def fetch_roster(self) -> types.RosterAnswer:
        """Ask the source now."""
        found: types.RosterAnswer = await self._call("POST", "/api/v1/roster/fetches", path={})
        return found

    async def check_roster(self, body: types.CheckBody) -> types.CheckAnswer:
        """Check a roster file; changes nothing."""
        found: types.CheckAnswer = await self._call("POST", "/api/v1/roster/checks", path={}, body=body)
        return found

    async def list_roster_revisions(self, *, cursor: str | None = None, limit: int | None = None) -> types.RosterRevisionsAnswer:
        """Accepted rosters, newest first."""
        found: types.RosterRevisionsAnswer = await self._call("GET", "/api/v1/roster/revisions", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_history(self, *, on: str | None = None, serial: str | None = None, receiver: str | None = None, gate: str | None = None, cursor: str | None = None, limit: int | None = None) -> types.HistoryAnswer:
        """Who had access to what on a day, or one transmitter's story; the question is in the audit."""
        found: types.HistoryAnswer = await self._call("GET", "/api/v1/roster/history", path={}, query={"on": on, "serial": serial, "receiver": receiver, "gate": gate, "cursor": cursor, "limit": limit})
        return found

    async def list_plans(self, *, cursor: str | None = None, limit: int | None = None, receiver: str | None = None, open: bool | None = None) -> types.PlansAnswer:
        """Plans, newest first."""
        found: types.PlansAnswer = await self._call("GET", "/api/v1/plans", path={}, query={"cursor": cursor, "limit": limit, "receiver": receiver, "open": open})
        return found

    async def create_plan(self, body: types.PlanBody, *, key: str | None = None) -> types.PlanAnswer:
        """Preview a plan (200), or bring a receiver to the roster (202)."""
        found: types.PlanAnswer = await self._call("POST", "/api/v1/plans", path={}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_plan(self, id: str | int) -> types.PlanAnswer:
        """One plan with all of its changes and its progress."""
        found: types.PlanAnswer = await self._call("GET", "/api/v1/plans/{id}", path={"id": id})
        return found

    async def get_application(self, id: str | int) -> types.ApplicationAnswer:
        """How the writing of a plan goes."""
        found: types.ApplicationAnswer = await self._call("GET", "/api/v1/plans/{id}/application", path={"id": id})
        return found

    async def approve_plan(self, id: str | int, *, key: str | None = None) -> types.PlanAnswer:
        """Let a held plan go ahead."""
        found: types.PlanAnswer = await self._call("POST", "/api/v1/plans/{id}/application", path={"id": id}, headers={"Idempotency-Key": key})
        return found

    async def refuse_plan(self, id: str | int, body: types.RefusalBody, *, key: str | None = None) -> types.PlanAnswer:
        """Say no to a held plan."""
        found: types.PlanAnswer = await self._call("POST", "/api/v1/plans/{id}/refusal", path={"id": id}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_drift(self, *, cursor: str | None = None, limit: int | None = None, receiver: str | None = None) -> types.DriftListAnswer:
        """What other hands changed at receivers and is still open."""
        found: types.DriftListAnswer = await self._call("GET", "/api/v1/drift", path={}, query={"cursor": cursor, "limit": limit, "receiver": receiver})
        return found

    async def decide_drift(self, id: str | int, serial: str | int, body: types.DecisionBody, *, key: str | None = None) -> types.DecidedAnswer:
        """Say what becomes of one such change."""
        found: types.DecidedAnswer = await self._call("POST", "/api/v1/receivers/{id}/drift/{serial}/decision", path={"id": id, "serial": serial}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_receipts(self, *, cursor: str | None = None, limit: int | None = None, receiver: str | None = None) -> types.ReceiptsAnswer:
        """Signed receipts of what was proven, newest first."""
        found: types.ReceiptsAnswer = await self._call("GET", "/api/v1/receipts", path={}, query={"cursor": cursor, "limit": limit, "receiver": receiver})
        return found

    async def list_receipt_keys(self) -> types.ReceiptKeysAnswer:
        """The public keys that verify receipts."""
        found: types.ReceiptKeysAnswer = await self._call("GET", "/api/v1/receipts/keys", path={})
        return found

    async def get_receipt(self, id: str | int) -> types.ReceiptAnswer:
        """One receipt as it was signed."""
        found: types.ReceiptAnswer = await self._call("GET", "/api/v1/receipts/{id}", path={"id": id})
        return found

    async def start_enrolment(self, id: str | int, body: types.EnrolmentBody, *, key: str | None = None) -> types.EnrolmentAnswer:
        """Find out a transmitter's serial: typed, typed and pressed, two presses, or several in a row."""
        found: types.EnrolmentAnswer = await self._call("POST", "/api/v1/receivers/{id}/enrolments", path={"id": id}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_enrolments(self, id: str | int, *, cursor: str | None = None, limit: int | None = None) -> types.EnrolmentsAnswer:
        """A receiver's enrolments since the gateway's start, newest first."""
        found: types.EnrolmentsAnswer = await self._call("GET", "/api/v1/receivers/{id}/enrolments", path={"id": id}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_enrolment(self, id: str | int, enrolment: str | int) -> types.EnrolmentAnswer:
        """One enrolment and how far it is."""
        found: types.EnrolmentAnswer = await self._call("GET", "/api/v1/receivers/{id}/enrolments/{enrolment}", path={"id": id, "enrolment": enrolment})
        return found

    async def cancel_enrolment(self, id: str | int, enrolment: str | int) -> types.EnrolmentAnswer:
        """Stop listening and forget what was confirmed."""
        found: types.EnrolmentAnswer = await self._call("DELETE", "/api/v1/receivers/{id}/enrolments/{enrolment}", path={"id": id, "enrolment": enrolment})
        return found

    async def finish_enrolment(self, id: str | int, enrolment: str | int) -> types.EnrolmentAnswer:
        """Stop listening; what is confirmed stays so."""
        found: types.EnrolmentAnswer = await self._call("POST", "/api/v1/receivers/{id}/enrolments/{enrolment}/end", path={"id": id, "enrolment": enrolment})
        return found

    async def complete_enrolment(self, id: str | int, enrolment: str | int, body: types.CompletionBody, *, key: str | None = None) -> types.CompletionAnswer:
        """Say whose the transmitters are: rows for the roster, at work at once where it is asked for."""
        found: types.CompletionAnswer = await self._call("POST", "/api/v1/receivers/{id}/enrolments/{enrolment}/completion", path={"id": id, "enrolment": enrolment}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_overrides(self, *, cursor: str | None = None, limit: int | None = None) -> types.OverridesAnswer:
        """Transmitters that work here before the roster has them."""
        found: types.OverridesAnswer = await self._call("GET", "/api/v1/overrides", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def withdraw_override(self, serial: str | int) -> None:
        """Take an override back; the next run of the roster takes the transmitter out."""
        await self._call("DELETE", "/api/v1/overrides/{serial}", path={"serial": serial})

    async def list_revocations(self, *, cursor: str | None = None, limit: int | None = None) -> types.RevocationsAnswer:
        """Revocations in force, newest first."""
        found: types.RevocationsAnswer = await self._call("GET", "/api/v1/revocations", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def create_revocation(self, body: types.RevocationBody, *, key: str | None = None) -> types.RevocationAnswer:
        """A transmitter must not work, now."""
        found: types.RevocationAnswer = await self._call("POST", "/api/v1/revocations", path={}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_revocation(self, serial: str | int) -> types.RevocationAnswer:
        """One revocation and where it is proven."""
        found: types.RevocationAnswer = await self._call("GET", "/api/v1/revocations/{serial}", path={"serial": serial})
        return found

    async def lift_revocation(self, serial: str | int, *, reason: str) -> None:
        """Lift a revocation."""
        await self._call("DELETE", "/api/v1/revocations/{serial}", path={"serial": serial}, query={"reason": reason})

    async def get_revocation_selection(self, *, holder: str | None = None, group: str | None = None) -> types.SelectionAnswer:
        """Which transmitters a holder or a group has, before they are revoked."""
        found: types.SelectionAnswer = await self._call("GET", "/api/v1/revocation-selections", path={}, query={"holder": holder, "group": group})
        return found

    async def create_revocation_batch(self, body: types.BatchBody, *, key: str | None = None) -> types.BatchAnswer:
        """All transmitters of a holder or a group must not work, now."""
        found: types.BatchAnswer = await self._call("POST", "/api/v1/revocation-batches", path={}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_visit_sheet(self, id: str | int) -> types.VisitSheetAnswer:
        """What is to be done at a receiver that no line reaches."""
        found: types.VisitSheetAnswer = await self._call("GET", "/api/v1/receivers/{id}/visit-sheet", path={"id": id})
        return found

    async def tick_line(self, id: str | int, number: str | int, body: types.TickBody | None = None) -> types.SheetLineAnswer:
        """A line was done by hand; not proven."""
        found: types.SheetLineAnswer = await self._call("PUT", "/api/v1/receivers/{id}/visit-sheet/lines/{number}/tick", path={"id": id, "number": number}, body=body)
        return found

    async def untick_line(self, id: str | int, number: str | int) -> types.SheetLineAnswer:
        """A line was not done after all."""
        found: types.SheetLineAnswer = await self._call("DELETE", "/api/v1/receivers/{id}/visit-sheet/lines/{number}/tick", path={"id": id, "number": number})
        return found

    async def set_holdings(self, id: str | int, body: types.HoldingsBody) -> types.VisitSheetAnswer:
        """Say what a receiver that no line reaches holds."""
        found: types.VisitSheetAnswer = await self._call("PUT", "/api/v1/receivers/{id}/holdings", path={"id": id}, body=body)
        return found

    async def list_visits(self, *, cursor: str | None = None, limit: int | None = None) -> types.VisitsAnswer:
        """Work in progress, running and past."""
        found: types.VisitsAnswer = await self._call("GET", "/api/v1/visits", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def start_visit(self, body: types.VisitBody, *, key: str | None = None) -> types.VisitAnswer:
        """Set a site, gate or receiver to work in progress."""
        found: types.VisitAnswer = await self._call("POST", "/api/v1/visits", path={}, body=body, headers={"Idempotency-Key": key})
        return found

    async def get_visit(self, id: str | int) -> types.VisitAnswer:
        """One visit, and what changed meanwhile."""
        found: types.VisitAnswer = await self._call("GET", "/api/v1/visits/{id}", path={"id": id})
        return found

    async def end_visit(self, id: str | int) -> types.VisitAnswer:
        """End a visit: lock again and list what changed."""
        found: types.VisitAnswer = await self._call("POST", "/api/v1/visits/{id}/end", path={"id": id})
        return found

    async def list_snapshots(self, *, cursor: str | None = None, limit: int | None = None, receiver: str | None = None) -> types.SnapshotsAnswer:
        """Snapshots, newest first."""
        found: types.SnapshotsAnswer = await self._call("GET", "/api/v1/snapshots", path={}, query={"cursor": cursor, "limit": limit, "receiver": receiver})
        return found

    async def import_snapshot(self, body: types.SnapshotDocument) -> types.SnapshotAnswer:
        """Keep a snapshot's file that comes from another site."""
        found: types.SnapshotAnswer = await self._call("POST", "/api/v1/snapshots", path={}, body=body)
        return found

    async def get_snapshot(self, id: str | int) -> dict[str, Any]:
        """A snapshot's file, whole."""
        found: dict[str, Any] = await self._call("GET", "/api/v1/snapshots/{id}", path={"id": id})
        return found

    async def take_snapshot(self, id: str | int, *, key: str | None = None) -> types.SnapshotAnswer:
        """Archive what a receiver holds now."""
        found: types.SnapshotAnswer = await self._call("POST", "/api/v1/receivers/{id}/snapshots", path={"id": id}, headers={"Idempotency-Key": key})
        return found

    async def list_receiver_snapshots(self, id: str | int, *, cursor: str | None = None, limit: int | None = None) -> types.SnapshotsAnswer:
        """A receiver's snapshots, newest first."""
        found: types.SnapshotsAnswer = await self._call("GET", "/api/v1/receivers/{id}/snapshots", path={"id": id}, query={"cursor": cursor, "limit": limit})
        return found

    async def compare_snapshots(self, body: types.ComparisonBody) -> types.ComparisonAnswer:
        """What differs between two snapshots, or a snapshot and a receiver."""
        found: types.ComparisonAnswer = await self._call("POST", "/api/v1/comparisons", path={}, body=body)
        return found

    async def preview_restore(self, id: str | int, body: types.RestoreBody) -> types.RestorePreviewAnswer:
        """What a restore or clone would write, and what to do first."""
        found: types.RestorePreviewAnswer = await self._call("POST", "/api/v1/receivers/{id}/restore-previews", path={"id": id}, body=body)
        return found

    async def start_restore(self, id: str | int, body: types.RestoreBody, *, key: str | None = None) -> types.PlanAnswer:
        """Bring a receiver to a snapshot; the roster waits from then on."""
        found: types.PlanAnswer = await self._call("POST", "/api/v1/receivers/{id}/restores", path={"id": id}, body=body, headers={"Idempotency-Key": key})
        return found

    async def approve_wait(self, id: str | int, body: types.ApprovalBody) -> types.ReceiverAnswer:
        """Say whether the roster or what the receiver holds is right, where the roster waits."""
        found: types.ReceiverAnswer = await self._call("POST", "/api/v1/receivers/{id}/approvals", path={"id": id}, body=body)
        return found

    async def reset_receiver(self, id: str | int, body: types.ResetBody) -> types.SnapshotAnswer:
        """Clear a receiver for its removal; over the unix socket on the board alone."""
        found: types.SnapshotAnswer = await self._call("POST", "/api/v1/receivers/{id}/reset", path={"id": id}, body=body)
        return found

    async def list_events(self, *, cursor: str | None = None, after: str | None = None, limit: int | None = None, name: list[types.EventName] | None = None, receiver: list[str] | None = None) -> types.EventsAnswer:
        """Events by page, newest first or behind an id."""
        found: types.EventsAnswer = await self._call("GET", "/api/v1/events", path={}, query={"cursor": cursor, "after": after, "limit": limit, "name": name, "receiver": receiver})
        return found

    async def list_timeline(self, *, gate: str | None = None, kind: list[types.StoryKind] | None = None, who: str | None = None, from_day: str | None = None, to_day: str | None = None, cursor: str | None = None, limit: int | None = None) -> types.TimelineAnswer:
        """What happened, in sentences, newest first."""
        found: types.TimelineAnswer = await self._call("GET", "/api/v1/timeline", path={}, query={"gate": gate, "kind": kind, "who": who, "from_day": from_day, "to_day": to_day, "cursor": cursor, "limit": limit})
        return found

    async def export_timeline(self, *, gate: str | None = None, kind: list[types.StoryKind] | None = None, who: str | None = None, from_day: str | None = None, to_day: str | None = None) -> bytes:
        """What happened, as a CSV file for a spreadsheet."""
        found: bytes = await self._download("GET", "/api/v1/timeline/export", path={}, query={"gate": gate, "kind": kind, "who": who, "from_day": from_day, "to_day": to_day})
        return found

    async def count_use(self, *, gate: str | None = None, from_day: str | None = None, to_day: str | None = None) -> types.UseAnswer:
        """How often gates are used, by day and by hour."""
        found: types.UseAnswer = await self._call("GET", "/api/v1/use", path={}, query={"gate": gate, "from_day": from_day, "to_day": to_day})
        return found

    async def list_outlets(self, *, cursor: str | None = None, limit: int | None = None) -> types.OutletsAnswer:
        """Where events go, and how far each outlet has come."""
        found: types.OutletsAnswer = await self._call("GET", "/api/v1/outlets", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def get_outlet(self, id: str | int) -> types.OutletDetailAnswer:
        """One outlet, with the events that it set aside."""
        found: types.OutletDetailAnswer = await self._call("GET", "/api/v1/outlets/{id}", path={"id": id})
        return found

    async def test_outlet(self, id: str | int, *, key: str | None = None) -> types.TestsAnswer:
        """Send each kind of event once as a test."""
        found: types.TestsAnswer = await self._call("POST", "/api/v1/outlets/{id}/tests", path={"id": id}, headers={"Idempotency-Key": key})
        return found

    async def replay_outlet(self, id: str | int, body: types.ReplayBody, *, key: str | None = None) -> types.OutletAnswer:
        """Send again from an event on, or let a disabled outlet go on."""
        found: types.OutletAnswer = await self._call("POST", "/api/v1/outlets/{id}/replays", path={"id": id}, body=body, headers={"Idempotency-Key": key})
        return found

    async def list_tokens(self, *, cursor: str | None = None, limit: int | None = None) -> types.TokensAnswer:
        """Access tokens, without their secrets."""
        found: types.TokensAnswer = await self._call("GET", "/api/v1/tokens", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def create_token(self, body: types.TokenBody) -> types.NewTokenAnswer:
        """A new access token; its secret is shown this once."""
        found: types.NewTokenAnswer = await self._call("POST", "/api/v1/tokens", path={}, body=body)
        return found

    async def remove_token(self, id: str | int) -> None:
        """Remove an access token."""
        await self._call("DELETE", "/api/v1/tokens/{id}", path={"id": id})

    async def open_session(self) -> types.SessionAnswer:
        """Sign in at the page: a token for a cookie."""
        found: types.SessionAnswer = await self._call("POST", "/api/v1/session", path={})
        return found

    async def get_session(self) -> types.SessionAnswer:
        """Who asks, and what they may do."""
        found: types.SessionAnswer = await self._call("GET", "/api/v1/session", path={})
        return found

    async def end_session(self) -> None:
        """Sign out."""
        await self._call("DELETE", "/api/v1/session", path={})

    async def list_audit(self, *, cursor: str | None = None, limit: int | None = None) -> types.AuditAnswer:
        """Who changed or asked for what, newest first."""
        found: types.AuditAnswer = await self._call("GET", "/api/v1/audit", path={}, query={"cursor": cursor, "limit": limit})
        return found

    async def check_audit(self) -> types.AuditCheckAnswer:
        """Whether the audit is whole, and its newest hash."""
        found: types.AuditCheckAnswer = await self._call("GET", "/api/v1/audit/verification", path={})
        return found

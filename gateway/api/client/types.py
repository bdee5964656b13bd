"""Bodies and answers of the API, as they are in JSON.

Written from the OpenAPI document by `make client`; a change made here is lost.
"""

# fmt: off
# ruff: noqa: E501 - written by a program, for programs

from __future__ import annotations

from typing import Any, Literal, NotRequired, TypedDict

__all__ = [
    "AcceptanceAnswer",
    "AccessAnswer",
    "AccessRightAnswer",
    "AccessRowAnswer",
    "AcknowledgementAnswer",
    "AcknowledgementBody",
    "AgreementAnswer",
    "AgreementsAnswer",
    "ApplicationAnswer",
    "ApprovalBody",
    "AuditAnswer",
    "AuditCheckAnswer",
    "AuditRowAnswer",
    "BatchAnswer",
    "BatchBody",
    "BroughtAnswer",
    "CardAnswer",
    "ChangeAnswer",
    "ChapterAnswer",
    "CheckAnswer",
    "CheckBody",
    "ClockAnswer",
    "Closing",
    "ComparisonAnswer",
    "ComparisonBody",
    "CompletionAnswer",
    "CompletionBody",
    "ConditionAnswer",
    "ConditionKind",
    "ConditionsAnswer",
    "ConfirmationBody",
    "ContactAnswer",
    "DateChangeAnswer",
    "DayUse",
    "DecidedAnswer",
    "DecisionBody",
    "DifferenceAnswer",
    "DriftAnswer",
    "DriftListAnswer",
    "EditAnswer",
    "Ending",
    "EnrolmentAnswer",
    "EnrolmentBody",
    "EnrolmentsAnswer",
    "EventAnswer",
    "EventName",
    "EventsAnswer",
    "FaultAnswer",
    "FindingAnswer",
    "FirstRosterAnswer",
    "FirstRosterBody",
    "ForgettingAnswer",
    "ForgettingBody",
    "GapAnswer",
    "GateAnswer",
    "GateKind",
    "GateOutputAnswer",
    "GatePaperAnswer",
    "GatePosition",
    "GatesAnswer",
    "GatewayAnswer",
    "GroupAnswer",
    "GroupBody",
    "GroupPaperAnswer",
    "GroupsAnswer",
    "HandoverAnswer",
    "HeadingAnswer",
    "HealthAnswer",
    "HeardAnswer",
    "HeldTransmitter",
    "HistoryAnswer",
    "HolderBody",
    "HoldingsBody",
    "HourUse",
    "IdentityAnswer",
    "InputAnswer",
    "InputPaperAnswer",
    "InputRole",
    "JournalAnswer",
    "LateAnswer",
    "LimitsAnswer",
    "MomentAnswer",
    "NamedOutputAnswer",
    "NewTokenAnswer",
    "NoticeAnswer",
    "OperationAnswer",
    "OperationBody",
    "OperationState",
    "OperationsAnswer",
    "OutletAnswer",
    "OutletDetailAnswer",
    "OutletsAnswer",
    "OutputAnswer",
    "OutputNamesAnswer",
    "OutputNamesBody",
    "OutputNamesChangeAnswer",
    "OutputPaperAnswer",
    "OutputsAnswer",
    "OverrideAnswer",
    "OverridesAnswer",
    "PaperRowAnswer",
    "PeopleAnswer",
    "PeopleOrder",
    "PersonAnswer",
    "PersonBody",
    "PersonChangeBody",
    "PlaceAnswer",
    "PlaceState",
    "PlanAnswer",
    "PlanBody",
    "PlanSummary",
    "PlansAnswer",
    "PressAnswer",
    "ProblemAnswer",
    "ProgressAnswer",
    "ReadingAnswer",
    "Reason",
    "ReceiptAnswer",
    "ReceiptKeyAnswer",
    "ReceiptKeysAnswer",
    "ReceiptRow",
    "ReceiptsAnswer",
    "ReceiverAnswer",
    "ReceiverDayAnswer",
    "ReceiverPaperAnswer",
    "ReceiversAnswer",
    "RefusalBody",
    "ReplayBody",
    "ResetBody",
    "RestoreBody",
    "RestorePreviewAnswer",
    "RetentionAnswer",
    "RetentionRowAnswer",
    "RevisionAnswer",
    "RevisionsAnswer",
    "RevocationAnswer",
    "RevocationBody",
    "RevocationsAnswer",
    "RevokedPaperAnswer",
    "RosterAnswer",
    "RosterRevisionAnswer",
    "RosterRevisionsAnswer",
    "SampleAnswer",
    "Scope",
    "SealAnswer",
    "SelectedAnswer",
    "SelectionAnswer",
    "SessionAnswer",
    "SetAsideAnswer",
    "SettingOutputAnswer",
    "SettingsAnswer",
    "SettingsBody",
    "SettingsChangeAnswer",
    "SheetLineAnswer",
    "SlotAnswer",
    "SlotsAnswer",
    "SnapshotAnswer",
    "SnapshotDocument",
    "SnapshotsAnswer",
    "Standing",
    "StateOfHealthAnswer",
    "StatusAnswer",
    "StoryAnswer",
    "StoryKind",
    "TestsAnswer",
    "TickAnswer",
    "TickBody",
    "TimelineAnswer",
    "TimelineRow",
    "TokenAnswer",
    "TokenBody",
    "TokensAnswer",
    "TransmitterPaperAnswer",
    "TransmitterWhyAnswer",
    "UseAnswer",
    "VisitAnswer",
    "VisitBody",
    "VisitChangeAnswer",
    "VisitScope",
    "VisitSheetAnswer",
    "VisitSheetStateAnswer",
    "VisitState",
    "VisitsAnswer",
    "WaitAnswer",
    "WarningAnswer",
    "Weight",
    "WhyAnswer",
    "WrongPlaceAnswer",
]


class AcceptanceAnswer(TypedDict):
    """Which roster was accepted last, and when."""

    digest: str
    time: str
    revision: int | None


class AccessAnswer(TypedDict):
    """Who has access to one gate."""

    heading: HeadingAnswer
    gate: str
    title: str
    rows: list[PaperRowAnswer]


class AccessRightAnswer(TypedDict):
    """A position and the outputs that it works."""

    position: str
    outputs: list[str]


class AccessRowAnswer(TypedDict):
    """One transmitter at one receiver. `memory` was read there; `by-hand` written down; `roster` only wanted."""

    receiver: str
    serial: str
    holder: str
    slot: int | None
    rights: list[AccessRightAnswer]
    basis: Literal['memory', 'by-hand', 'roster']
    certain: bool
    first: MomentAnswer
    last: MomentAnswer | None
    words: str


class AcknowledgementAnswer(TypedDict):
    """Who took note. Name and note are left out without the scope `roster`."""

    time: str
    name: NotRequired[str | None]
    note: NotRequired[str | None]


class AcknowledgementBody(TypedDict):
    """Who takes note, and what they did or found."""

    name: str
    note: str


class AgreementAnswer(TypedDict):
    """One receiver against the roster in force. `equal` is proven: its memory was read at the revision that it states now, and the roster wants nothing else."""

    receiver: str
    state: Literal['equal', 'differs', 'waits', 'unknown']
    sentence: str
    added: int
    changed: int
    removed: int
    slots_used: int | None
    revision: int | None


class AgreementsAnswer(TypedDict):
    """Every receiver that has a memory for transmitters."""

    agreements: list[AgreementAnswer]
    next: str | None


class ApplicationAnswer(TypedDict):
    """How a plan's writing goes: cheap to ask for again and again. `words` names slots and holders: scope `roster`."""

    plan: str
    state: Literal['preview', 'held', 'pending', 'applying', 'applied', 'failed', 'refused', 'superseded']
    done: int
    total: int
    words: str


class ApprovalBody(TypedDict):
    """What is right at a receiver where the roster waits. `roster`: it goes on from the next run. `snapshot`: what the receiver holds stays until another roster is accepted."""

    approve: Literal['roster', 'snapshot']


class AuditAnswer(TypedDict):
    """A page of the audit. `next` is the next page's cursor, null on the last one."""

    rows: list[AuditRowAnswer]
    next: str | None


class AuditCheckAnswer(TypedDict):
    """The whole chain, computed anew. Keep `head` elsewhere: whoever may write the whole file can write a new chain."""

    rows: int
    head: str
    whole: bool
    broken: int | None
    problem: str


class AuditRowAnswer(TypedDict):
    """One row. `hash` binds it to the one before; `detail` is null once its personal part was erased."""

    number: int
    time: str
    who: str
    what: str
    outcome: str
    detail: dict[str, Any] | None
    hash: str


class BatchAnswer(TypedDict):
    """One revocation for each transmitter."""

    revocations: list[RevocationAnswer]


class BatchBody(TypedDict):
    """Either `holder` or `group`. With `serials` nothing is done unless exactly these are selected still."""

    holder: NotRequired[str | None]
    group: NotRequired[str | None]
    reason: str
    serials: NotRequired[list[str] | None]


class BroughtAnswer(TypedDict):
    """What became of it at one receiver: a plan, or why there is none yet."""

    receiver: str
    plan: str | None
    state: Literal['preview', 'held', 'pending', 'applying', 'applied', 'failed', 'refused', 'superseded'] | None
    problem: str
    remedy: str


class CardAnswer(TypedDict):
    """One transmitter. `standing` and `sentence` are its state as a whole."""

    serial: str
    holder: str
    listed: bool
    unnamed: bool
    kind: str
    group: str
    rights: list[str]
    sites: list[str]
    valid_from: str | None
    valid_until: str | None
    note: str
    standing: Standing
    sentence: str
    places: list[PlaceAnswer]
    last_heard: PressAnswer | None
    kept_names: dict[str, str]


class ChangeAnswer(TypedDict):
    """One slot's change. `words` is there with the scope `roster` alone."""

    kind: Literal['added', 'changed', 'removed']
    slot: int
    serial: str
    before: dict[str, list[int]] | None
    after: dict[str, list[int]] | None
    revoked: bool
    guarded: bool
    gains: dict[str, list[int]]
    loses: dict[str, list[int]]
    words: NotRequired[str | None]


class ChapterAnswer(TypedDict):
    """One thing that happened. `basis` says how it is known: `roster` and `order` are what somebody wanted, `memory` was read and proven, `by-hand` written down, `board` found changed, `radio` heard."""

    moment: MomentAnswer
    basis: Literal['roster', 'order', 'memory', 'by-hand', 'board', 'radio']
    receiver: str
    words: str


class CheckAnswer(TypedDict):
    """What the check of a whole file found. Nothing was changed."""

    ok: bool
    transmitters: int
    holders: int
    faults: list[FaultAnswer]
    warnings: list[FaultAnswer]


class CheckBody(TypedDict):
    """A roster file, and its group file, as text."""

    roster: str
    groups: NotRequired[str | None]


class ClockAnswer(TypedDict):
    """Wall time and whether it is known to be right."""

    now: str
    trusted: bool


class ComparisonAnswer(TypedDict):
    """What the right side has otherwise. What no restore can set stands in `modes`, `limits` and `notes`."""

    left: str
    right: str
    alike: bool
    slots: list[DifferenceAnswer]
    settings: list[str]
    modes: list[str]
    limits: list[str]
    notes: list[str]


class ComparisonBody(TypedDict):
    """Two sides, each the id of a snapshot, or the name of a receiver for what it holds now."""

    left: str
    right: str


class CompletionAnswer(TypedDict):
    """Rows as text of a roster file, below `header`; `csv` is all of it. `added`: they stand in the gateway's own roster. `overrides` are the serials that work at once. `left_out` are sentences about what was not done."""

    header: str
    rows: list[str]
    csv: str
    added: bool
    overrides: list[str]
    brought: list[BroughtAnswer]
    left_out: list[str]


class CompletionBody(TypedDict):
    """Make rows of what was confirmed."""

    transmitters: list[HolderBody]
    in_force: NotRequired[bool]
    add: NotRequired[bool]


class ConditionAnswer(TypedDict):
    """One condition, from raised to cleared."""

    id: str
    condition: ConditionKind
    weight: Weight
    ending: Ending
    sentence: str
    since: str
    raised: str
    cleared: str | None
    receiver: str | None
    gate: str | None
    line: str | None
    input: int | None
    output: int | None
    serial: str | None
    count: int | None
    visit: bool
    acknowledged: AcknowledgementAnswer | None


class ConditionsAnswer(TypedDict):
    """A page of conditions, newest first. `next` is the next page's cursor, null on the last one."""

    conditions: list[ConditionAnswer]
    next: str | None


class ConfirmationBody(TypedDict):
    """Says that the receiver which answers now is the right one. Nothing has to be sent."""

    serial: NotRequired[str | None]


class ContactAnswer(TypedDict):
    """One input that watches the gate. `state` is `unknown` while its receiver can't be read."""

    receiver: str
    input: int
    name: str
    role: InputRole
    state: Literal['normal', 'violated', 'unknown']


class DateChangeAnswer(TypedDict):
    """An instant at which rows begin or end by date, and how many; it is brought to the receivers then."""

    time: str
    begin: int
    end: int


class DayUse(TypedDict):
    """Presses that worked a gate on one day of the site."""

    day: str
    presses: int


class DecidedAnswer(TypedDict):
    """What came of a decision. `drift` is null when nothing is left; `plan` is null when none was started."""

    drift: DriftAnswer | None
    plan: str | None
    words: str


class DecisionBody(TypedDict):
    """`adopt`: what was added stays. `remove`: it goes. `restore`: what was taken comes back. `revoke`: revoked."""

    decision: Literal['adopt', 'remove', 'restore', 'revoke']


class DifferenceAnswer(TypedDict):
    """One transmitter that differs. `added` is only on the right side, `missing` only on the left one."""

    kind: Literal['added', 'missing', 'changed']
    serial: str
    slot: int
    words: str


class DriftAnswer(TypedDict):
    """One transmitter at one receiver. `state`: `open` stays until somebody decides, `going` is put right by the next plan, `adopted` stays until the roster has it, `stands` was taken away and stays away. `since` is null for what was there before Gatepost."""

    receiver: str
    serial: str
    holder: str
    kind: Literal['extra', 'missing', 'changed']
    state: Literal['open', 'going', 'adopted', 'stands']
    origin: Literal['radio', 'line', 'board'] | None
    since: str | None
    words: str
    next_step: str
    gained: list[str]
    lost: list[str]
    todo: str
    rights: str
    decisions: list[Literal['adopt', 'remove', 'restore', 'revoke']]
    decided_by: str


class DriftListAnswer(TypedDict):
    """What is open, by receiver and serial. `next` is the next page's cursor, null on the last one."""

    drift: list[DriftAnswer]
    next: str | None


class EditAnswer(TypedDict):
    """What became of an edit. Without `revision` nothing was to change."""

    revision: RevisionAnswer | None
    words: list[str]
    warnings: list[FaultAnswer]
    in_force: bool
    problem: str


class EnrolmentAnswer(TypedDict):
    """An enrolment at this moment; every step is an event `enrolment.changed` too. `heard` are the transmitters of the window that is open or was the last, `confirmed` those that are certain."""

    id: str
    receiver: str
    way: Literal['typed', 'typed-and-pressed', 'two-presses', 'several']
    state: Literal['listening', 'heard', 'confirmed', 'conflict', 'ended', 'cancelled', 'failed', 'completed']
    words: str
    caution: str
    started: str
    ends: str | None
    asked_by: str
    typed: str | None
    heard: list[HeardAnswer]
    confirmed: list[HeardAnswer]
    problem: str
    remedy: str


class EnrolmentBody(TypedDict):
    """How the serial becomes certain. `serial` is needed where it is typed, and ignored elsewhere."""

    way: Literal['typed', 'typed-and-pressed', 'two-presses', 'several']
    serial: NotRequired[str | None]
    seconds: NotRequired[int]


class EnrolmentsAnswer(TypedDict):
    """A page of a receiver's enrolments, newest first. `next` is the next page's cursor, null on the last one."""

    enrolments: list[EnrolmentAnswer]
    next: str | None


class EventAnswer(TypedDict):
    """A CloudEvents 1.0 object. `time` is absent while the gateway's clock was not known to be right."""

    specversion: Literal['1.0']
    id: str
    source: str
    type: str
    time: NotRequired[str | None]
    subject: NotRequired[str | None]
    datacontenttype: Literal['application/json']
    data: dict[str, Any]


class EventsAnswer(TypedDict):
    """A page of events. `next` is the next page's cursor, null when there is nothing more now."""

    events: list[EventAnswer]
    next: str | None


class FaultAnswer(TypedDict):
    """One fault or doubt. `row` is the number that a spreadsheet shows, header 1; 0 for the file as a whole."""

    file: str
    row: int
    column: str
    found: str
    remedy: str


class FindingAnswer(TypedDict):
    """One thing that was found. `time` is null for what is so now."""

    reason: Reason
    sentence: str
    remedy: str
    receiver: str | None
    gate: str | None
    time: str | None


class FirstRosterAnswer(TypedDict):
    """A roster that wants exactly what the receivers hold. Nothing was written to any of them."""

    roster: str
    groups: str
    transmitters: int
    holders: int
    unnamed: int
    group_names: list[str]
    notes: list[str]
    edit: EditAnswer | None


class FirstRosterBody(TypedDict):
    """Which receivers to read (none named: all), and whether to keep the result as this gateway's own roster."""

    receivers: NotRequired[list[str]]
    keep: NotRequired[bool]


class ForgettingAnswer(TypedDict):
    """What was taken out, without the name. In a preview nothing was, and only the transmitters are told."""

    serials: list[str]
    revoked: list[str]
    presses: int
    events: int
    plans: int
    history: int
    ledger: int
    snapshots: int
    audit: int
    files: int


class ForgettingBody(TypedDict):
    """Who is to be forgotten: all transmitters that a roster ever had under a holder's name, or one transmitter."""

    holder: NotRequired[str]
    serial: NotRequired[str | None]


class GapAnswer(TypedDict):
    """A time in which nobody watched; `until` null: it went on."""

    since: str
    until: str | None
    why: str


class GateAnswer(TypedDict):
    """One gate. Its position comes from its contacts alone; an older value never stands in for one that is unknown."""

    id: str
    title: str
    kind: GateKind
    receiver: str
    outputs: list[GateOutputAnswer]
    contacts: list[ContactAnswer]
    position: GatePosition
    since: str | None
    sentence: str
    reason: str
    healthy: bool
    conditions: list[str]
    travel_s: float
    stay_open_limit_s: float | None
    closing: Closing
    cycles: int
    service_cycles: int | None


class GateOutputAnswer(TypedDict):
    """One output that moves the gate."""

    number: int
    name: str


class GatePaperAnswer(TypedDict):
    """One gate."""

    name: str
    title: str
    kind: str
    receiver: str
    outputs: list[str]
    contacts: list[str]
    travel_s: float
    stay_open_limit_s: float | None
    service_cycles: int | None
    cycles: int


class GatesAnswer(TypedDict):
    """Every gate of this gateway, in the order of the settings."""

    gates: list[GateAnswer]
    next: str | None


class GatewayAnswer(TypedDict):
    """The gateway's own state."""

    id: str
    version: str
    supported_until: str
    uptime_s: int
    clock: ClockAnswer
    journal: JournalAnswer
    audit: SealAnswer | None
    next_run: str | None
    health: StateOfHealthAnswer
    notices: list[NoticeAnswer]


class GroupAnswer(TypedDict):
    """A named set of rights, and how many transmitters are in it."""

    name: str
    rights: dict[str, dict[str, list[str]]]
    members: int


class GroupBody(TypedDict):
    """A group as it is to be. With another `name` it is renamed, for all who are in it."""

    rights: NotRequired[dict[str, dict[str, list[str]]] | None]
    name: NotRequired[str | None]


class GroupPaperAnswer(TypedDict):
    """A set of rights, and how many transmitters have it."""

    name: str
    rights: list[str]
    transmitters: int


class GroupsAnswer(TypedDict):
    """Every group of the roster in force, and the kinds of transmitters that it knows."""

    groups: list[GroupAnswer]
    next: str | None
    kinds: dict[str, list[str]]
    editable: bool


class HandoverAnswer(TypedDict):
    """A whole site."""

    heading: HeadingAnswer
    receivers: list[ReceiverPaperAnswer]
    gates: list[GatePaperAnswer]
    groups: list[GroupPaperAnswer]
    transmitters: list[TransmitterPaperAnswer]
    revoked: list[RevokedPaperAnswer]


class HeadingAnswer(TypedDict):
    """Which site, and when the paper was written."""

    site: str
    written: str
    clock_trusted: bool
    zone: str
    roster: str
    roster_time: str | None


class HealthAnswer(TypedDict):
    """`ok`, or `not ok` with the status 503."""

    status: str


class HeardAnswer(TypedDict):
    """A transmitter that was pressed or typed. `holder` is who has it by the roster in force, null when nobody has."""

    serial: str
    presses: int
    position: str
    holder: str | None


class HeldTransmitter(TypedDict):
    """One transmitter that the receiver holds: names or numbers of outputs, by number of the position."""

    serial: str
    outputs: dict[str, Any]
    name: NotRequired[str]


class HistoryAnswer(TypedDict):
    """A day (`access`, `receivers`) or a `story`; what was not asked for is null. Every question is in the audit."""

    on: str | None
    zone: str
    begin: str | None
    end: str | None
    rosters_since: MomentAnswer | None
    receivers: list[ReceiverDayAnswer] | None
    access: list[AccessRowAnswer] | None
    story: StoryAnswer | None
    next: str | None


class HolderBody(TypedDict):
    """Whose a confirmed transmitter is, and by exactly one of `group`, `rights` and `like` what it may work."""

    serial: str
    holder: str
    kind: NotRequired[str]
    group: NotRequired[str]
    rights: NotRequired[str]
    like: NotRequired[str]
    note: NotRequired[str]


class HoldingsBody(TypedDict):
    """What a receiver holds. Exactly one of the three; a list as CSV is sent as `text/csv` or as a form."""

    empty: NotRequired[Literal[True] | None]
    snapshot: NotRequired[str | None]
    transmitters: NotRequired[list[HeldTransmitter] | None]


class HourUse(TypedDict):
    """Presses in one hour of the day, over all days asked for."""

    hour: int
    presses: int


class IdentityAnswer(TypedDict):
    """Who answers on the line."""

    maker: str
    product: str
    version: str
    serial: str
    map_name: str
    map_version: int


class InputAnswer(TypedDict):
    """One monitored contact. `name` is the settings' one, empty when they have none."""

    number: int
    name: str
    state: Literal['normal', 'violated']


class InputPaperAnswer(TypedDict):
    """One monitored contact."""

    number: int
    name: str
    role: str


class JournalAnswer(TypedDict):
    """The journal: which life it is in, what is kept, whether it can be written."""

    epoch: str
    newest: str
    oldest: str | None
    available: bool


class LateAnswer(TypedDict):
    """Read after a gap: it happened between these times."""

    earliest: str
    latest: str


class LimitsAnswer(TypedDict):
    """What the receiver has room for; 0 where it has none of it."""

    outputs: int
    inputs: int
    slots: int
    positions: int
    on_time_min_s: int
    on_time_max_s: int
    name_bytes: int


class MomentAnswer(TypedDict):
    """When. `at` is null while a clock that was not right leaves it open; `earliest` and `latest` then bound it."""

    at: str | None
    earliest: str | None
    latest: str | None
    clock: str
    clock_trusted: bool


class NamedOutputAnswer(TypedDict):
    """One output."""

    number: int
    in_settings: str
    in_use: str
    former: list[str]


class NewTokenAnswer(TypedDict):
    """A new token with its secret, which is shown this once and kept nowhere."""

    id: str
    name: str
    scopes: list[str]
    created: str
    secret: str


class NoticeAnswer(TypedDict):
    """Something that a person should know."""

    code: str
    text: str
    remedy: str


class OperationAnswer(TypedDict):
    """One operation. `warning` and `sending` are under way, all other states are final."""

    id: str
    receiver: str
    output: int
    name: str
    state: OperationState
    seconds: float | None
    reason: str
    asked_by: str
    asked: str
    ended: str | None
    code: str
    sentence: str
    remedy: str
    cautions: list[str]


class OperationBody(TypedDict):
    """One closure of one output. There is no hold, no repeat and no sequence."""

    reason: NotRequired[str]
    seconds: NotRequired[float | None]


class OperationsAnswer(TypedDict):
    """The newest operations of an output, newest first."""

    operations: list[OperationAnswer]
    cautions: list[str]
    next: str | None


class OutletAnswer(TypedDict):
    """One outlet. `next_event` is the id of the first event that it is not done with."""

    id: str
    kind: Literal['webhook', 'mqtt', 'alarm', 'mail']
    place: str
    state: Literal['idle', 'sending', 'held', 'retrying', 'failing', 'disabled']
    next_event: str
    lag: int
    waiting_since: str | None
    failures: int
    next_try: str | None
    failing_since: str | None
    problem: str
    remedy: str
    done: int
    set_aside: int
    lost: int


class OutletDetailAnswer(TypedDict):
    """One outlet with the newest hundred of the events set aside, newest first."""

    id: str
    kind: Literal['webhook', 'mqtt', 'alarm', 'mail']
    place: str
    state: Literal['idle', 'sending', 'held', 'retrying', 'failing', 'disabled']
    next_event: str
    lag: int
    waiting_since: str | None
    failures: int
    next_try: str | None
    failing_since: str | None
    problem: str
    remedy: str
    done: int
    set_aside: int
    lost: int
    set_aside_events: list[SetAsideAnswer]


class OutletsAnswer(TypedDict):
    """Every outlet, in the order of the settings."""

    outlets: list[OutletAnswer]
    next: str | None


class OutputAnswer(TypedDict):
    """One output. `mode` is set on the board; null where the map does not tell."""

    number: int
    name: str
    closed: bool
    mode: Literal['latching', 'timed', 'momentary'] | None


class OutputNamesAnswer(TypedDict):
    """Every output of a receiver, by number. The names are the gateway's own; no receiver keeps any."""

    outputs: list[NamedOutputAnswer]


class OutputNamesBody(TypedDict):
    """New names by the output's number; outputs that are left out stay as they are called."""

    names: dict[str, str]


class OutputNamesChangeAnswer(TypedDict):
    """Before and after."""

    before: OutputNamesAnswer
    after: OutputNamesAnswer


class OutputPaperAnswer(TypedDict):
    """One relay."""

    number: int
    name: str
    mode: str
    on_time_s: int | None


class OutputsAnswer(TypedDict):
    """The outputs of a receiver that have a name, called as they are now."""

    outputs: list[SettingOutputAnswer]
    cautions: list[str]


class OverrideAnswer(TypedDict):
    """A transmitter that works here though the roster does not have it yet. `row` is the row to add."""

    serial: str
    holder: str
    row: str
    asked_by: str
    time: str


class OverridesAnswer(TypedDict):
    """A page of the overrides in force, oldest first; `header` is the header of their rows. `next` is the next page's cursor, null on the last one."""

    header: str
    overrides: list[OverrideAnswer]
    next: str | None


class PaperRowAnswer(TypedDict):
    """One transmitter that works the gate."""

    holder: str
    serial: str
    positions: list[str]
    outputs: list[str]
    valid_from: str
    valid_until: str
    state: str


class PeopleAnswer(TypedDict):
    """A page of people. `next` is the next page's cursor, null on the last one."""

    total: int
    people: list[PersonAnswer]
    editable: bool
    next: str | None


class PersonAnswer(TypedDict):
    """A holder with every transmitter; `id` is one of their serials."""

    id: str
    holder: str
    transmitters: list[CardAnswer]


class PersonBody(TypedDict):
    """A new transmitter and who carries it. Its rights are a group's, its own, or a copy of another's as they are now. Dates are as in a roster file: `2026-10-31`, or a time with offset."""

    serial: str
    holder: str
    kind: NotRequired[str]
    group: NotRequired[str]
    rights: NotRequired[list[str]]
    copy_of: NotRequired[str | None]
    sites: NotRequired[list[str]]
    valid_from: NotRequired[str]
    valid_until: NotRequired[str]
    note: NotRequired[str]


class PersonChangeBody(TypedDict):
    """What is to be different; what is left out stays as it is. An empty text empties the field. `everywhere` gives a new holder's name to all transmitters of this person, not to this one alone."""

    holder: NotRequired[str | None]
    everywhere: NotRequired[bool]
    kind: NotRequired[str | None]
    group: NotRequired[str | None]
    rights: NotRequired[list[str] | None]
    copy_of: NotRequired[str | None]
    sites: NotRequired[list[str] | None]
    valid_from: NotRequired[str | None]
    valid_until: NotRequired[str | None]
    note: NotRequired[str | None]


class PlaceAnswer(TypedDict):
    """One position at one receiver."""

    receiver: str
    position: str
    outputs: list[int]
    output_names: list[str]
    state: PlaceState
    sentence: str
    since: str | None


class PlanAnswer(TypedDict):
    """A plan in full. `left_out` and the changes' `words` are there with the scope `roster` alone."""

    id: str
    receiver: str
    created: str
    state: Literal['preview', 'held', 'pending', 'applying', 'applied', 'failed', 'refused', 'superseded']
    reason: str
    added: int
    changed: int
    removed: int
    unchanged: int
    done: int
    gaining: int
    losing: int
    wire_s: float
    by_hand: bool
    hold: str
    outcome: str
    snapshot: str
    receipt: str
    base_revision: int
    roster_digest: str
    progress: ProgressAnswer | None
    changes: list[ChangeAnswer]
    left_out: NotRequired[list[str] | None]


class PlanBody(TypedDict):
    """Preview shows what would be written and keeps nothing; without it the plan is made and written."""

    receiver: str
    preview: NotRequired[bool]


class PlanSummary(TypedDict):
    """A plan without its single changes."""

    id: str
    receiver: str
    created: str
    state: Literal['preview', 'held', 'pending', 'applying', 'applied', 'failed', 'refused', 'superseded']
    reason: str
    added: int
    changed: int
    removed: int
    unchanged: int
    done: int
    gaining: int
    losing: int
    wire_s: float
    by_hand: bool
    hold: str
    outcome: str
    snapshot: str
    receipt: str
    base_revision: int
    roster_digest: str
    progress: ProgressAnswer | None


class PlansAnswer(TypedDict):
    """A page of plans. `next` is the next page's cursor, null on the last one."""

    plans: list[PlanSummary]
    next: str | None


class PressAnswer(TypedDict):
    """The newest press that is kept."""

    time: str
    receiver: str
    position: str
    known: bool
    sentence: str


class ProblemAnswer(TypedDict):
    """What went wrong and what to do next."""

    type: str
    title: str
    status: int
    detail: str
    remedy: NotRequired[str | None]
    errors: NotRequired[list[WrongPlaceAnswer] | None]


class ProgressAnswer(TypedDict):
    """How far it is."""

    done: int
    total: int
    words: str


class ReadingAnswer(TypedDict):
    """A memory that is being read: `done` of `total` slots of those blocks that differ from what is known."""

    done: int
    total: int


class ReceiptAnswer(TypedDict):
    """The receipt itself, as it was signed; docs/receipts.md says how anybody verifies it."""

    receipt: dict[str, Any]
    signature: str


class ReceiptKeyAnswer(TypedDict):
    """A public key of this gateway."""

    id: str
    algorithm: str
    current: bool
    pem: str


class ReceiptKeysAnswer(TypedDict):
    """The key in use first, then those before it."""

    keys: list[ReceiptKeyAnswer]


class ReceiptRow(TypedDict):
    """A receipt in short. All but `id`, `number`, `receiver` and `fault` are null when its file is damaged."""

    id: str
    number: int
    receiver: str
    done: NotRequired[Literal['sync', 'revocation', 'restore', 'clone', 'enrolment'] | None]
    time: NotRequired[str | None]
    clock_trusted: NotRequired[bool | None]
    serial: NotRequired[str | None]
    revision: NotRequired[int | None]
    transmitters: NotRequired[int | None]
    roster_digest: NotRequired[str | None]
    roster_revision: NotRequired[int | None]
    equal: NotRequired[bool | None]
    snapshot: NotRequired[str | None]
    revoked: NotRequired[int | None]
    plan: NotRequired[str | None]
    written: NotRequired[int | None]
    not_done: NotRequired[int | None]
    key: NotRequired[str | None]
    fault: str


class ReceiptsAnswer(TypedDict):
    """A page of receipts. `next` is the next page's cursor, null on the last one."""

    receipts: list[ReceiptRow]
    next: str | None


class ReceiverAnswer(TypedDict):
    """One receiver."""

    id: str
    link: Literal['connecting', 'online', 'silent', 'port-lost', 'port-busy', 'password-refused', 'wrong-receiver', 'by-hand']
    since: str
    problem: str
    remedy: str
    identity: IdentityAnswer | None
    limits: LimitsAnswer | None
    capabilities: list[str]
    poll_rate_hz: float
    mirror_revision: int | None
    confirmed: bool
    slots_used: int | None
    reading: ReadingAnswer | None
    waiting: WaitAnswer | None
    visit: VisitSheetStateAnswer | None


class ReceiverDayAnswer(TypedDict):
    """How good the record of one receiver is for that day."""

    receiver: str
    recorded: bool
    recorded_since: MomentAnswer | None
    gaps: list[GapAnswer]
    receipt: str
    receipt_time: str | None


class ReceiverPaperAnswer(TypedDict):
    """One receiver; what was never read is null or empty."""

    name: str
    maker: str
    product: str
    version: str
    serial: str
    link: str
    proven: str
    slots_used: int | None
    slots: int | None
    local_programming: bool | None
    password_set: bool | None
    outputs: list[OutputPaperAnswer]
    inputs: list[InputPaperAnswer]


class ReceiversAnswer(TypedDict):
    """Every receiver of this gateway."""

    receivers: list[ReceiverAnswer]
    next: str | None


class RefusalBody(TypedDict):
    """Why a plan that waits for approval is not to go ahead."""

    reason: str


class ReplayBody(TypedDict):
    """Send again from an event on; naming the event behind the last one goes on there and leaves out the rest."""

    first: str


class ResetBody(TypedDict):
    """The receiver's name once more, typed by hand."""

    name: str


class RestoreBody(TypedDict):
    """Which snapshot, and how it goes into the receiver. `restore` brings it back to its own snapshot. `replace` makes it hold another one's; `merge` adds what it lacks and lists conflicts. `settings` and `replacement` need the scope `admin`."""

    snapshot: str
    way: NotRequired[Literal['restore', 'replace', 'merge']]
    settings: NotRequired[bool]
    replacement: NotRequired[str | None]


class RestorePreviewAnswer(TypedDict):
    """What would be written, and what a person has to do and to know first. Nothing was written."""

    plan: PlanAnswer
    board: list[str]
    notes: list[str]
    settings: list[str]
    answers: IdentityAnswer
    taken_from: IdentityAnswer
    unconfirmed: bool


class RetentionAnswer(TypedDict):
    """What is kept about people at this site, and for how long; docs/privacy.md."""

    heading: HeadingAnswer
    rows: list[RetentionRowAnswer]


class RetentionRowAnswer(TypedDict):
    """One kind of thing that is kept."""

    what: str
    holds: str
    kept: str
    setting: str


class RevisionAnswer(TypedDict):
    """One edit that was kept. `how` is `edited`, `imported`, `from-receiver` or `mended` (after damage)."""

    number: int
    time: str
    who: str
    how: str
    words: list[str]
    digest: str


class RevisionsAnswer(TypedDict):
    """Edits, newest first."""

    edits: list[RevisionAnswer]
    next: str | None


class RevocationAnswer(TypedDict):
    """One revocation. `states` is by receiver: `proven` when its memory was read and lacks the serial. Where no line reaches the receiver it is `owed` at the next visit, or `by-hand`: by what was entered and ticked there it lacks the serial, and nobody can prove it."""

    serial: str
    asked_by: str
    reason: str
    time: str
    states: dict[str, Literal['pending', 'proven', 'owed', 'by-hand']]
    proven: bool


class RevocationBody(TypedDict):
    """Revoke a transmitter now."""

    serial: str
    reason: str


class RevocationsAnswer(TypedDict):
    """Revocations in force, newest first. `next` is the next page's cursor, null on the last one."""

    revocations: list[RevocationAnswer]
    next: str | None


class RevokedPaperAnswer(TypedDict):
    """A revocation in force."""

    serial: str
    time: str
    reason: str
    proven: bool


class RosterAnswer(TypedDict):
    """The roster in force and what its source last said. `faults` and `warnings` need the scope `roster`."""

    place: str
    transmitters: int | None
    accepted: AcceptanceAnswer | None
    last_fetch: str | None
    last_good: str | None
    problem: str
    remedy: str
    unreachable: bool
    fault_count: int
    warning_count: int
    faults: NotRequired[list[FaultAnswer] | None]
    warnings: NotRequired[list[FaultAnswer] | None]
    next_run: str | None
    next_change: DateChangeAnswer | None


class RosterRevisionAnswer(TypedDict):
    """A roster that was accepted, and what it changed against the one before."""

    number: int
    digest: str
    revision: int | None
    accepted: MomentAnswer
    transmitters: int
    holders: int
    added: int
    changed: int
    removed: int


class RosterRevisionsAnswer(TypedDict):
    """A page of revisions. `next` is the next page's cursor, null on the last one."""

    revisions: list[RosterRevisionAnswer]
    next: str | None


class SampleAnswer(TypedDict):
    """One event of a test. `answer` is what the other side said, or what went wrong and what to do."""

    words: str
    event: str
    outcome: Literal['delivered', 'failed', 'rejected', 'not-tried']
    answer: str
    took_s: float


class SealAnswer(TypedDict):
    """The audit's newest row. Kept elsewhere, its hash shows whether somebody wrote the whole audit anew."""

    number: int
    hash: str


class SelectedAnswer(TypedDict):
    """One transmitter. `listed`: the roster has it; `receivers` hold it; `revoked`: it is revoked already."""

    serial: str
    holder: str
    group: str
    listed: bool
    receivers: list[str]
    revoked: bool
    words: str


class SelectionAnswer(TypedDict):
    """All transmitters of the holder or the group."""

    transmitters: list[SelectedAnswer]


class SessionAnswer(TypedDict):
    """Who asks, and what they may do."""

    name: str
    scopes: list[str]
    gateway: str
    time_zone: str
    callers: dict[str, str]
    expires: str | None


class SetAsideAnswer(TypedDict):
    """An event that was refused three times."""

    event: str
    name: str
    receiver: str
    problem: str
    time: str


class SettingOutputAnswer(TypedDict):
    """One output that has a name. `allowed` says whether the settings allow operating it from afar."""

    number: int
    name: str
    gate: str | None
    allowed: bool
    warning: WarningAnswer | None


class SettingsAnswer(TypedDict):
    """What the receiver holds. The link password is never shown."""

    on_times_s: dict[str, int]
    local_programming: bool
    password_set: bool


class SettingsBody(TypedDict):
    """What to change; what is left out stays. `password` \"\" switches the link password off."""

    on_times_s: NotRequired[dict[str, int] | None]
    local_programming: NotRequired[bool | None]
    password: NotRequired[str | None]


class SettingsChangeAnswer(TypedDict):
    """Before and after, both read from the receiver."""

    before: SettingsAnswer
    after: SettingsAnswer


class SheetLineAnswer(TypedDict):
    """One thing to do at the board. Its number is never given again at this receiver."""

    number: int
    state: Literal['open', 'ticked', 'withdrawn']
    work: Literal['remove', 'unlearn', 'learn']
    serial: str
    position: int | None
    output: int | None
    output_name: str
    holder: str
    revoked: bool
    words: str
    tick: TickAnswer | None


class SlotAnswer(TypedDict):
    """One slot. `name` and `holder` are there with the scope `roster` alone."""

    number: int
    serial: str
    kind: int
    outputs: dict[str, list[int]]
    flags: int
    name: NotRequired[str | None]
    holder: NotRequired[str | None]
    revoked: bool


class SlotsAnswer(TypedDict):
    """A page of slots, by number. `next` is the next page's cursor, null on the last one."""

    receiver: str
    revision: int
    total: int
    slots: list[SlotAnswer]
    next: str | None


class SnapshotAnswer(TypedDict):
    """A snapshot without its slots."""

    id: str
    receiver: str
    taken: str
    clock_trusted: bool
    reason: str
    serial: str
    revision: int
    slots: int


class SnapshotDocument(TypedDict):
    """A snapshot's file as it was exported. docs/snapshots.md and its JSON Schema describe every field."""

    format: Literal['gatepost-snapshot']
    version: Literal[1]
    id: str
    receiver: str
    taken: str
    clock_trusted: bool
    reason: str
    identity: dict[str, Any]
    limits: dict[str, Any]
    revision: int
    slots: list[dict[str, Any]]
    block_crcs: list[int]
    settings: dict[str, Any] | None
    output_modes: list[str] | None
    sha256: str


class SnapshotsAnswer(TypedDict):
    """A page of snapshots. `next` is the next page's cursor, null on the last one."""

    snapshots: list[SnapshotAnswer]
    next: str | None


class StateOfHealthAnswer(TypedDict):
    """Whether everything works, and what does not."""

    live: bool
    ready: bool
    stuck: list[str]
    lacking: list[str]


class StatusAnswer(TypedDict):
    """The last good poll. `current` is False when the receiver can't be reached: the values are then old. What the receiver's map does not have is null."""

    receiver: str
    link: Literal['connecting', 'online', 'silent', 'port-lost', 'port-busy', 'password-refused', 'wrong-receiver', 'by-hand']
    current: bool
    age_s: float | None
    inputs: list[InputAnswer]
    outputs: list[OutputAnswer]
    revision: int | None
    boot_count: int | None
    uptime_s: int | None
    newest_event: int | None
    oldest_event: int | None
    local_programming: bool | None
    password_set: bool | None
    unlocked_s: int | None
    enrolment: Literal['idle', 'listening'] | None
    enrolment_left_s: int | None
    busy: bool
    last_refusal: str | None


class StoryAnswer(TypedDict):
    """A transmitter's story, oldest first."""

    serial: str
    holder: str
    chapters: list[ChapterAnswer]
    now: list[str]
    limits: list[str]


class TestsAnswer(TypedDict):
    """A test: each kind of event that the outlet sends, once."""

    outlet: str
    passed: bool
    time: str
    results: list[SampleAnswer]


class TickAnswer(TypedDict):
    """Done by hand, not proven: who did it by their own word, who entered it, when."""

    done_by: str
    asked_by: str
    time: str
    clock_trusted: bool
    proven: Literal[False]


class TickBody(TypedDict):
    """Who did it, when that is somebody else than who enters it."""

    done_by: NotRequired[str]


class TimelineAnswer(TypedDict):
    """A page. `next` is the next page's cursor, null when there is no more. A page may hold fewer rows than asked for, even none, and still have a `next`: then it was long looked for."""

    rows: list[TimelineRow]
    next: str | None


class TimelineRow(TypedDict):
    """One happening. `holder` is left out without the scope `roster`."""

    id: str
    time: str | None
    late: LateAnswer | None
    name: EventName
    kind: StoryKind
    receiver: str | None
    gates: list[str]
    serial: str | None
    holder: NotRequired[str | None]
    weight: str | None
    sentence: str


class TokenAnswer(TypedDict):
    """A token as it is kept."""

    id: str
    name: str
    scopes: list[str]
    created: str


class TokenBody(TypedDict):
    """A new token."""

    name: str
    scopes: list[Scope]


class TokensAnswer(TypedDict):
    """Every token."""

    tokens: list[TokenAnswer]
    next: str | None


class TransmitterPaperAnswer(TypedDict):
    """Who has what."""

    holder: str
    serial: str
    kind: str
    group: str
    valid_from: str
    valid_until: str
    places: list[str]
    state: str


class TransmitterWhyAnswer(TypedDict):
    """One transmitter. `answer` is the likeliest of the findings."""

    holder: str
    serial: str
    answer: FindingAnswer
    findings: list[FindingAnswer]
    last_heard: str | None


class UseAnswer(TypedDict):
    """Every day asked for, and every hour of a day; those without a press have 0."""

    days: list[DayUse]
    hours: list[HourUse]


class VisitAnswer(TypedDict):
    """One visit. `changes` are listed when it is over."""

    id: str
    scope: VisitScope
    name: str
    receivers: list[str]
    state: VisitState
    minutes: int
    reason: str
    asked_by: str
    started: str
    until: str
    ended: str | None
    ended_by: str
    unlocked: list[str]
    problems: dict[str, str]
    unread: list[str]
    changes: list[VisitChangeAnswer]


class VisitBody(TypedDict):
    """Who works where, for how long, and why. Name one gate or one receiver, or none for the whole site."""

    receiver: NotRequired[str | None]
    gate: NotRequired[str | None]
    minutes: int
    reason: NotRequired[str]
    unlock: NotRequired[bool]


class VisitChangeAnswer(TypedDict):
    """One thing that changed meanwhile."""

    receiver: str
    event: str
    time: str
    sentence: str


class VisitSheetAnswer(TypedDict):
    """The sheet of one receiver: lines in the order of the work, withdrawn ones last."""

    receiver: str
    site: str
    printed: str
    began: str | None
    counts: VisitSheetStateAnswer
    plan: str
    held: str
    lines: list[SheetLineAnswer]
    left_out: list[str]
    problem: str
    remedy: str


class VisitSheetStateAnswer(TypedDict):
    """How a visit sheet stands."""

    holdings_known: bool
    open: int
    ticked: int
    owed: int


class VisitsAnswer(TypedDict):
    """A page of visits, newest first. `next` is the next page's cursor, null on the last one."""

    visits: list[VisitAnswer]
    next: str | None


class WaitAnswer(TypedDict):
    """The roster waits at this receiver until somebody approves."""

    reason: str
    since: str
    asked_by: str
    snapshot: str
    plan: str
    snapshot_approved: bool


class WarningAnswer(TypedDict):
    """The output that warns first, and for how long."""

    output: int
    name: str
    seconds: float


class WhyAnswer(TypedDict):
    """Every transmitter of the holder."""

    transmitters: list[TransmitterWhyAnswer]


class WrongPlaceAnswer(TypedDict):
    """One wrong place: in the body (a JSON Pointer as a URI fragment), among the parameters or in the header."""

    pointer: NotRequired[str | None]
    parameter: NotRequired[str | None]
    header: NotRequired[str | None]
    detail: str

Closing = Literal['by-command', 'by-itself']
ConditionKind = Literal['left-open', 'did-not-open', 'did-not-close', 'opened-without-command', 'contacts-contradict', 'chatter', 'tamper', 'safety-violated', 'power-lost', 'receiver-silent', 'line-noisy', 'unknown-repeated', 'revoked-used', 'transmitter-unused', 'battery-low', 'service-due', 'board-reset', 'drift-open', 'clock-untrusted']
Ending = Literal['by-itself', 'acknowledged']
EventName = Literal['input.changed', 'output.changed', 'transmitter.heard', 'link.lost', 'link.restored', 'receiver.restarted', 'ring.overrun', 'output.mode_changed', 'settings.changed', 'slot.changed', 'receiver.replaced', 'roster.fetched', 'roster.refused', 'roster.unreachable', 'roster.paused', 'roster.resumed', 'plan.held', 'plan.refused', 'plan.applied', 'plan.failed', 'drift.found', 'drift.decided', 'drift.settled', 'revocation.pending', 'revocation.applied', 'revocation.lifted', 'enrolment.changed', 'output.operated', 'snapshot.taken', 'journal.restarted', 'condition.raised', 'condition.cleared', 'condition.acknowledged', 'clock.untrusted', 'clock.trusted', 'outlet.failing', 'outlet.recovered', 'outlet.set_aside', 'visit.started', 'visit.ended', 'audit.sealed', 'journal.resumed', 'gateway.started', 'gateway.stopped']
GateKind = Literal['gate', 'barrier', 'shutter']
GatePosition = Literal['shut', 'open', 'moving', 'unknown']
InputRole = Literal['closed', 'open', 'tamper', 'safety', 'exit', 'command', 'power', 'other']
OperationState = Literal['warning', 'sending', 'done', 'unknown', 'refused', 'interrupted']
PeopleOrder = Literal['holder', 'serial', 'heard', 'ending']
PlaceState = Literal['works', 'coming', 'going', 'unknown']
Reason = Literal['revoked', 'ended', 'not-yet', 'no-rights', 'not-held', 'not-reached', 'not-heard', 'heard-unknown', 'output-idle', 'did-not-move', 'battery-low', 'safety-active', 'worked']
Scope = Literal['view', 'roster', 'operate', 'admin']
Standing = Literal['works', 'pending', 'unknown', 'not-yet', 'ended', 'revoked', 'no-rights', 'unlisted']
StoryKind = Literal['use', 'movement', 'attention', 'access', 'equipment', 'gateway']
VisitScope = Literal['site', 'gate', 'receiver']
VisitState = Literal['running', 'locking', 'ended']
Weight = Literal['alarm', 'trouble', 'notice']

"""The past: accepted rosters, who had access to what on a day, one transmitter's story.

Who asks who had access is written down before the answer leaves, each page of it.
"""

from __future__ import annotations

from typing import Any

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.faults import Place, RequestFault
from gateway.api.models.histories import (
    AccessRightAnswer,
    AccessRowAnswer,
    ChapterAnswer,
    GapAnswer,
    HistoryAnswer,
    HistoryQuery,
    MomentAnswer,
    ReceiverDayAnswer,
    RosterRevisionAnswer,
    RosterRevisionsAnswer,
    RosterRevisionsQuery,
    StoryAnswer,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.history import AccessDay, AccessRow, Moment, ReceiverDay, RosterRevision, Story
from gateway.domain.transmitter import write_serial

__all__ = ["OPERATIONS", "get_history", "list_revisions"]


async def list_revisions(request: web.Request) -> web.StreamResponse:
    """A page of accepted rosters, newest first."""
    query = read_query(request, RosterRevisionsQuery)
    before = read_number("revisions", query.cursor) if query.cursor else 0
    found = await context_of(request).services.history.revisions(limit=query.limit + 1, before=before)
    page = found[: query.limit]
    more = write_cursor("revisions", page[-1].number) if len(found) > len(page) else None
    return reply(RosterRevisionsAnswer(revisions=list(map(_revision, page)), next=more))


async def get_history(request: web.Request) -> web.StreamResponse:
    """A day or a transmitter."""
    services = context_of(request).services
    query = read_query(request, HistoryQuery)
    if (query.on is None) == (query.serial is None):
        raise _one_of_two()
    asked = query.model_dump(mode="json", exclude_none=True, exclude={"limit"})
    await services.audit.record(caller_of(request).name, "history.read", asked)
    if query.serial is not None:
        return reply(await _story(services, query.serial))
    return reply(await _day(services, query))


async def _story(services: Services, serial: str) -> HistoryAnswer:
    story = _story_answer(await services.histories.story(int(serial)))
    return HistoryAnswer(
        on=None, zone=services.zone.key, begin=None, end=None, rosters_since=None, receivers=None, access=None,
        story=story, next=None,
    )  # fmt: skip


async def _day(services: Services, query: HistoryQuery) -> HistoryAnswer:
    assert query.on is not None
    day = await services.histories.on(query.on, receiver=query.receiver, gate=query.gate)
    begin = read_number("history", query.cursor) if query.cursor else 0
    page = day.rows[begin : begin + query.limit]
    after = begin + len(page)
    return HistoryAnswer(
        on=query.on.isoformat(),
        zone=day.zone,
        begin=day.begin,
        end=day.end,
        rosters_since=_moment(day.rosters_since),
        receivers=_receivers(day),
        access=list(map(_row, page)),
        story=None,
        next=write_cursor("history", after) if after < len(day.rows) else None,
    )


def _receivers(day: AccessDay) -> list[ReceiverDayAnswer]:
    return list(map(_receiver, day.receivers))


def _receiver(found: ReceiverDay) -> ReceiverDayAnswer:
    return ReceiverDayAnswer(
        receiver=found.receiver,
        recorded=found.recorded,
        recorded_since=_moment(found.recorded_since),
        gaps=[GapAnswer(since=gap.since, until=gap.until, why=gap.why) for gap in found.gaps],
        receipt=found.receipt,
        receipt_time=found.receipt_time,
    )


def _row(row: AccessRow) -> AccessRowAnswer:
    shown: dict[str, Any] = {"basis": row.basis}
    return AccessRowAnswer(
        receiver=row.receiver,
        serial=write_serial(row.serial),
        holder=row.holder,
        slot=row.slot,
        rights=[AccessRightAnswer(position=right.position, outputs=list(right.outputs)) for right in row.rights],
        certain=row.certain,
        first=_known(row.first),
        last=_moment(row.last),
        words=row.words,
        **shown,
    )


def _revision(revision: RosterRevision) -> RosterRevisionAnswer:
    return RosterRevisionAnswer(
        number=revision.number,
        digest=revision.digest,
        revision=revision.revision,
        accepted=_known(revision.accepted),
        transmitters=revision.transmitters,
        holders=revision.holders,
        added=revision.added,
        changed=revision.changed,
        removed=revision.removed,
    )


def _story_answer(story: Story) -> StoryAnswer:
    chapters: list[dict[str, Any]] = [
        {"moment": _known(chapter.moment), "basis": chapter.basis, "receiver": chapter.receiver, "words": chapter.words}
        for chapter in story.chapters
    ]
    return StoryAnswer(
        serial=write_serial(story.serial),
        holder=story.holder,
        chapters=[ChapterAnswer(**chapter) for chapter in chapters],
        now=list(story.now),
        limits=list(story.limits),
    )


def _moment(moment: Moment | None) -> MomentAnswer | None:
    return None if moment is None else _known(moment)


def _known(moment: Moment) -> MomentAnswer:
    return MomentAnswer(
        at=moment.at,
        earliest=moment.earliest,
        latest=moment.latest,
        clock=moment.clock,
        clock_trusted=moment.trusted,
    )


def _one_of_two() -> RequestFault:
    return RequestFault(
        "query-invalid",
        "Ask either for a day (on) or for a transmitter (serial).",
        remedy="Send on=YYYY-MM-DD, with receiver or gate to narrow it, or serial with ten digits.",
        places=[Place("write either on or serial", parameter="on")],
    )


OPERATIONS = (
    Operation(
        id="listRosterRevisions",
        method="GET",
        path="/api/v1/roster/revisions",
        summary="Accepted rosters, newest first",
        tag="roster",
        scope=Scope.ROSTER,
        handler=list_revisions,
        query=RosterRevisionsQuery,
        answer=RosterRevisionsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="getHistory",
        method="GET",
        path="/api/v1/roster/history",
        summary="Who had access to what on a day, or one transmitter's story; the question is in the audit",
        tag="roster",
        scope=Scope.ROSTER,
        handler=get_history,
        query=HistoryQuery,
        answer=HistoryAnswer,
        problems=("not-found", "refused", "cursor-invalid", "query-invalid"),
    ),
)

"""Names of outputs: read, and changed only from what stands there now. No receiver is asked, whatever its kind."""

from __future__ import annotations

from collections.abc import Sequence

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.etags import make_tag, require_match
from gateway.api.models.output_names import (
    NamedOutputAnswer,
    OutputNamesAnswer,
    OutputNamesBody,
    OutputNamesChangeAnswer,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply, reply_tagged
from gateway.api.scopes import Scope
from gateway.ports import NamedOutput

__all__ = ["OPERATIONS", "change_output_names", "get_output_names"]

_AUDITED = 64  # characters of a name that somebody asked for; a good one has half as many at most


async def get_output_names(request: web.Request) -> web.StreamResponse:
    """The settings file's names and those in use, with the ETag that a change must name."""
    services, receiver = context_of(request).services, request.match_info["id"]
    found = services.names.names(receiver)
    return reply_tagged(request, _answer(found), _tag(receiver, found))


async def change_output_names(request: web.Request) -> web.StreamResponse:
    """Before and after; in force everywhere at once. Refused with 412 when somebody was faster."""
    services, receiver = context_of(request).services, request.match_info["id"]
    services.names.names(receiver)
    body = await read_body(request, OutputNamesBody)

    def unchanged(found: Sequence[NamedOutput]) -> None:
        require_match(request.headers.get("If-Match"), _tag(receiver, found))

    unchanged(services.names.names(receiver))
    names = {str(number): name[:_AUDITED] for number, name in sorted(body.names.items())}
    detail = {"receiver": receiver, "names": names}
    async with audited(request, "settings.changed", detail):
        before, after = await services.names.rename(
            receiver, body.names, asked_by=caller_of(request).name, basis=unchanged
        )
    answer = OutputNamesChangeAnswer(before=_answer(before), after=_answer(after))
    return reply(answer, headers={"ETag": _tag(receiver, after)})


def _answer(found: Sequence[NamedOutput]) -> OutputNamesAnswer:
    return OutputNamesAnswer(
        outputs=[
            NamedOutputAnswer(
                number=each.number, in_settings=each.in_settings, in_use=each.in_use, former=list(each.former)
            )
            for each in found
        ]
    )


def _tag(receiver: str, found: Sequence[NamedOutput]) -> str:
    return make_tag("output-names", receiver, *found)


OPERATIONS = (
    Operation(
        id="getOutputNames",
        method="GET",
        path="/api/v1/receivers/{id}/output-names",
        summary="What outputs are called in the settings file and in use",
        tag="receivers",
        scope=Scope.VIEW,
        handler=get_output_names,
        answer=OutputNamesAnswer,
        problems=("not-found",),
        conditional=True,
    ),
    Operation(
        id="changeOutputNames",
        method="PATCH",
        path="/api/v1/receivers/{id}/output-names",
        summary="Call outputs otherwise; no receiver is changed",
        tag="receivers",
        scope=Scope.ADMIN,
        handler=change_output_names,
        body=OutputNamesBody,
        answer=OutputNamesChangeAnswer,
        problems=("not-found", "no-such-output", "output-name-unfit", "output-name-taken", "output-name-in-roster"),
        guarded=True,
    ),
)

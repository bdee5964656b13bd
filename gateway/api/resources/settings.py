"""Settings of a receiver: read from it, and changed only from what stands there now."""

from __future__ import annotations

from typing import Any

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.etags import make_tag, require_match
from gateway.api.models.receivers import SettingsAnswer, SettingsBody, SettingsChangeAnswer
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.replies import reply, reply_tagged
from gateway.api.resources.receivers import require_capability
from gateway.api.scopes import Scope
from gateway.domain.receiver import Capability, ReceiverSettings

__all__ = ["OPERATIONS", "change_settings", "get_settings"]


async def get_settings(request: web.Request) -> web.StreamResponse:
    """What the receiver holds, with the ETag that a change must name."""
    services, receiver = context_of(request).services, request.match_info["id"]
    require_capability(services, receiver, Capability.SETTINGS)
    settings = await services.settings.read(receiver)
    return reply_tagged(request, _answer(settings), _tag(receiver, settings))


async def change_settings(request: web.Request) -> web.StreamResponse:
    """Before and after. Refused with 412 when somebody was faster."""
    services, receiver = context_of(request).services, request.match_info["id"]
    require_capability(services, receiver, Capability.SETTINGS)
    body = await read_body(request, SettingsBody)
    if body.password is not None:
        require_capability(services, receiver, Capability.PASSWORD)

    def unchanged(now: ReceiverSettings) -> None:
        require_match(request.headers.get("If-Match"), _tag(receiver, now))

    unchanged(await services.settings.read(receiver))
    async with audited(request, "settings.changed", _detail(receiver, body)):
        before, after = await services.settings.change(
            receiver,
            on_times_s=body.on_times_s,
            local_programming=body.local_programming,
            password=body.password.get_secret_value() if body.password is not None else None,
            asked_by=caller_of(request).name,
            basis=unchanged,
        )
    answer = SettingsChangeAnswer(before=_answer(before), after=_answer(after))
    return reply(answer, headers={"ETag": _tag(receiver, after)})


def _answer(settings: ReceiverSettings) -> SettingsAnswer:
    return SettingsAnswer(
        on_times_s=dict(enumerate(settings.on_times_s, 1)),
        local_programming=settings.local_programming,
        password_set=settings.password_set,
    )


def _tag(receiver: str, settings: ReceiverSettings) -> str:
    return make_tag("settings", receiver, settings.on_times_s, settings.local_programming, settings.password_set)


def _detail(receiver: str, body: SettingsBody) -> dict[str, Any]:
    """What was asked for, without the password itself."""
    detail: dict[str, Any] = {"receiver": receiver}
    if body.on_times_s:
        detail["on_times_s"] = {str(output): seconds for output, seconds in body.on_times_s.items()}
    if body.local_programming is not None:
        detail["local_programming"] = body.local_programming
    if body.password is not None:
        detail["password"] = "set" if body.password.get_secret_value() else "off"
    return detail


OPERATIONS = (
    Operation(
        id="getSettings",
        method="GET",
        path="/api/v1/receivers/{id}/settings",
        summary="On-times and local programming, read from the receiver",
        tag="receivers",
        scope=Scope.VIEW,
        handler=get_settings,
        answer=SettingsAnswer,
        problems=("not-found", "unsupported", *LINE_PROBLEMS),
        conditional=True,
    ),
    Operation(
        id="changeSettings",
        method="PATCH",
        path="/api/v1/receivers/{id}/settings",
        summary="Change settings, read back from the receiver",
        tag="receivers",
        scope=Scope.ADMIN,
        handler=change_settings,
        body=SettingsBody,
        answer=SettingsChangeAnswer,
        problems=("not-found", "unsupported", "refused", "on-time-out-of-range", "not-proven", *LINE_PROBLEMS),
        guarded=True,
    ),
)

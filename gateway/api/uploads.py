"""A roster file sent for checking: as JSON, as CSV, or as a form with the files in it.

`application/json` has `roster` and `groups` as text; `text/csv` is the roster alone; `multipart/form-data` has parts
of those names, whose bytes are taken as they are, so that a file's encoding is judged too.
"""

from __future__ import annotations

from dataclasses import dataclass

from aiohttp import BodyPartReader, web
from aiohttp.http_exceptions import HttpProcessingError
from pydantic import ValidationError

from gateway.api.bodies import body_fault, in_time, read_bytes, refuse_packed, too_large
from gateway.api.context import context_of
from gateway.api.faults import Place, RequestFault
from gateway.api.models.roster import CheckBody

__all__ = ["UPLOAD_TYPES", "Upload", "read_upload"]

UPLOAD_TYPES = ("application/json", "text/csv", "multipart/form-data")


@dataclass(frozen=True, slots=True)
class Upload:
    """The bytes of a roster file and of its group file."""

    roster: bytes
    groups: bytes | None = None


async def read_upload(request: web.Request) -> Upload:
    """Raises RequestFault when there is no roster in it, it is too large, or of another type."""
    kind = request.content_type
    if kind not in UPLOAD_TYPES:
        raise RequestFault(
            "body-type-unsupported",
            "A roster is checked as JSON, CSV or a form.",
            remedy=f"Send it as one of {', '.join(UPLOAD_TYPES)}.",
            headers={"Accept": ", ".join(UPLOAD_TYPES)},
        )
    refuse_packed(request)
    limit = context_of(request).limits.roster_bytes
    if (request.content_length or 0) > limit:
        raise too_large(limit)
    if kind == "multipart/form-data":
        return await _from_form(request, limit)
    raw = await read_bytes(request, limit)
    return Upload(raw) if kind == "text/csv" else _from_json(raw)


def _from_json(raw: bytes) -> Upload:
    try:
        body = CheckBody.model_validate_json(raw or b"{}")
    except ValidationError as error:
        raise body_fault(error, CheckBody) from None
    return Upload(body.roster.encode(), body.groups.encode() if body.groups is not None else None)


async def _from_form(request: web.Request, limit: int) -> Upload:
    parts: dict[str, bytes] = {}
    try:
        async with in_time(request):
            reader = await request.multipart()
            while (part := await reader.next()) is not None:
                if not isinstance(part, BodyPartReader) or part.name not in ("roster", "groups") or part.name in parts:
                    raise _wrong_form()
                parts[part.name] = await _read_part(part, limit - sum(map(len, parts.values())), limit)
    except (ValueError, AssertionError, RuntimeError, HttpProcessingError, web.HTTPException) as error:
        raise RequestFault(
            "body-malformed", "The form can't be read.", remedy="Send it as multipart/form-data with a boundary."
        ) from error
    if "roster" not in parts:
        raise _wrong_form()
    return Upload(parts["roster"], parts.get("groups"))


async def _read_part(part: BodyPartReader, room: int, limit: int) -> bytes:
    found = bytearray()
    while chunk := await part.read_chunk():
        found += chunk
        if len(found) > room:
            raise too_large(limit)
    return bytes(found)


def _wrong_form() -> RequestFault:
    return RequestFault(
        "body-invalid",
        "The form needs one part named roster and may have one named groups.",
        remedy="Name the parts roster and groups, each once.",
        places=[Place("this part is needed once", pointer="#/roster")],
    )
